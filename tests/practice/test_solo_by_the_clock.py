"""A solo that no record counts is held against the tempo of the record before it."""

import numpy as np
import pytest

from liveaid.practice.assess import assess
from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Visit
from liveaid.routine import Routine

SPEED = 1.03
"""The first set piece's record runs 3 % fast, and the hand goes on so."""
BEAT_S = 0.5 / SPEED
SOLO_S = 100.0 + 8 * BEAT_S


def routine(acts: dict[str, str]) -> Routine:
    """Eight beats at 120 BPM on the left record, then eight by hand, counted by nobody."""
    return Routine.model_validate({"title": "Quay", "pieces": [
        {"name": "Steps", "bars": 2, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": 10.0}, "right": {"hand": "rests"}},
        {"name": "Bell", "bars": 2, "tempo": 120, "count": "clock", "left": {"hand": "rests"},
         "right": {"hand": "works", "from": 20.0, "to": 20.6, "cue": 20.0, "acts": acts}},
    ]})  # fmt: skip


def smooth(part: np.ndarray) -> np.ndarray:
    """From rest to rest, the speed half a sine."""
    return (1.0 - np.cos(np.pi * np.clip(part, 0.0, 1.0))) / 2.0


def moved(t: np.ndarray, moves: list[tuple[float, float, float]]) -> np.ndarray:
    """A record moved so far from so many beats of the solo on, for so many."""
    place = np.full(len(t), 20.0)
    for beat, beats, way_s in moves:
        place += way_s * smooth((t - SOLO_S - beat * BEAT_S) / (beats * BEAT_S))
    return place


def errors_ms(acts: dict[str, str], moves: list[tuple[float, float, float]]) -> dict[float, float]:
    t = np.arange(98.0, SOLO_S + 9 * BEAT_S, 0.005)
    left = np.interp(t, [100.0, SOLO_S], [10.0, 14.0])
    trace = {"left": DeckTrace(t, left), "right": DeckTrace(t, moved(t, moves))}
    visits = [Visit(0, 0.0, 8.0, 100.0, SOLO_S), Visit(1, 0.0, 8.0, SOLO_S, SOLO_S + 8 * BEAT_S)]
    solo = assess(routine(acts), trace, visits, counted_in_s=100.0)[1]
    assert {act.outcome for act in solo.acts} == {"heard"}
    return {act.beat: 1000 * act.error_s for act in solo.acts}


def test_strokes_on_the_beats_of_the_record_before_are_in_time():
    """At the map's own tempo the last would be 3 % of 3.5 s, 100 ms, early."""
    babies = [(beat / 2, 0.5, 0.4 if beat % 2 == 0 else -0.4) for beat in range(16)]
    found = errors_ms({"0": "baby over 0.4 s x8"}, babies)
    assert list(found) == [beat / 2 for beat in range(16)]
    assert list(found.values()) == pytest.approx([0.0] * 16, abs=6.0)


def test_a_slow_push_tells_no_tempo():
    """Its middle goes at .92 of a record's speed: 8 % slow, were it a record let run."""
    moves = [(0, 0.5, 0.4), (0.5, 0.5, -0.4), (4, 2, 0.57), (6, 1, -0.57)]
    acts = {"0": "baby over 0.4 s", "4": "push for 2 over 0.57 s", "6": "pull for 1 over 0.57 s"}
    assert list(errors_ms(acts, moves).values()) == pytest.approx([0.0] * 4, abs=8.0)
