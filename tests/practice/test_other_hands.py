"""Written acts played by hands that the simulator knows nothing of, scored from their positions.

Each hand moves the record by a law of its own: a half sine, a steady speed between two short ramps,
a push that is quicker at its begin than at its end. Every stroke's begin is put in by hand, early
or late; some strokes are left out, some are made that none asked for.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from liveaid.practice.assess import assess
from liveaid.practice.attempt import deck_acts
from liveaid.practice.hand_acts import held_acts
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine import Routine
from liveaid.routine.acts import acts_of

BEAT_S = 0.6
PLACES = {"yes": {"from": 10.0, "to": 10.3}, "no": {"from": 10.6, "to": 10.85}}
ACTS = {
    "0": "baby yes x4", "5": "forward no x2", "8": "baby yes", "10": "baby no x4",
    "15": "baby yes", "18": "forward yes x3", "24": "baby no x3", "28": "baby yes x3",
}  # fmt: skip
Law = Callable[[np.ndarray], np.ndarray]


def half_sine(u: np.ndarray) -> np.ndarray:
    return 0.5 * (1.0 - np.cos(np.pi * u))


def ramped(u: np.ndarray) -> np.ndarray:
    """Speed rising over the first tenth, falling over the last; the way is the area under it."""
    share = 0.1
    top = 1.0 / (1.0 - share)
    middle = top * (u - share / 2.0)
    rising, falling = 0.5 * top * u**2 / share, 1.0 - 0.5 * top * (1.0 - u) ** 2 / share
    return np.where(u < share, rising, np.where(u > 1.0 - share, falling, middle))


def quick_first(u: np.ndarray) -> np.ndarray:
    """Speed 30 u (1 - u)^4: most at a fifth of the way through, none at either end."""
    return 1.0 - (1.0 - u) ** 5 * (1.0 + 5.0 * u)


def scratch() -> Routine:
    right = {"hand": "works", "from": 10.0, "to": 10.85, "acts": ACTS, "places": PLACES}
    piece = {
        "name": "P", "bars": 8, "tempo": 100, "count": "left", "right": right,
        "left": {"hand": "runs", "at": 2.0},
    }  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": [piece]})


class Played:
    """The acts as one hand plays them, and what was put in."""

    def __init__(self, law: Law, seed: int, longer: float = 1.0) -> None:
        rng = np.random.default_rng(seed)
        self.acts = acts_of(scratch(), 0, "right")
        self.begun: dict[float, float] = {}
        self.missed: list[float] = []
        self.added: list[float] = []
        ways: list[tuple[float, float, float, float]] = []
        late, gone_until = 0.0, -1.0
        for place, act in enumerate(self.acts):
            late = 0.5 * late + 0.85 * 0.012 * rng.standard_normal()
            if act.beat < gone_until - 1e-6:
                continue  # the way back of a push left out
            back = self.acts[place + 1] if place + 1 < len(self.acts) else None
            returns = back is not None and abs(back.to_s - act.from_s) < 1e-6
            if act.kind == "push" and returns and rng.random() < 0.12:
                self.missed.append(act.beat)
                gone_until = back.end_beat
                continue
            begins = act.beat * BEAT_S + late
            ends = act.end_beat * BEAT_S + late * 0.5
            if not act.written:
                ends = begins + 0.8 * (ends - begins)  # there a little before it is needed
            if act.way_s and act.kind == "push":
                reached = act.from_s + longer * act.way_s
                ways.append((begins, ends, act.from_s, reached))
            elif act.way_s:
                ways.append((begins, ends, act.to_s - longer * act.way_s, act.to_s))
            if act.written and act.kind in ("push", "pull"):
                self.begun[round(act.beat, 4)] = begins
            after = self.acts[place + 1].beat if place + 1 < len(self.acts) else 32.0
            if (after - act.end_beat) * BEAT_S > 0.55 and rng.random() < 0.7:
                at = ends + 0.15
                self.added.append(at)
                ways += [(at, at + 0.12, act.to_s, act.to_s + 0.2)]
                ways += [(at + 0.14, at + 0.3, act.to_s + 0.2, act.to_s)]
        times = np.arange(-1.0, 32.0 * BEAT_S + 1.0, 0.005)
        places = np.full(len(times), self.acts[0].from_s)
        for begins, ends, from_s, to_s in sorted(ways):
            share = np.clip((times - begins) / (ends - begins), 0.0, 1.0)
            moving = times >= begins
            places[moving] = (from_s + (to_s - from_s) * law(share))[moving]
        # Messages some 5 ms apart, jittered, of a sender that rounds to 0.1 ms.
        sent = times + rng.uniform(0.0, 0.002, len(times))
        self.messages = [
            (t, "right", x) for t, x in zip(sent, np.round(places, 4), strict=True)
        ] + [(t, "left", 2.0 + t) for t in times]


@pytest.mark.parametrize(
    ("law", "bias_ms", "within_ms"),
    [(half_sine, 4.0, 5.0), (quick_first, 1.0, 2.0), (ramped, 8.0, 10.0)],
)
def test_every_act_is_found_what_was_left_out_and_what_was_too_many(law, bias_ms, within_ms):
    """Begins within 5 ms for hands that start from rest as hands do; a motor's ramps, at full speed
    within a tenth of the way, are read early, and within 10 ms."""
    off, missed, added = [], 0, 0
    for seed in range(3):
        played = Played(law, seed)
        deck = deck_acts(trace_of(sorted(played.messages)), scratch())["right"]
        scores = held_acts(
            played.acts, deck, lambda beat: BEAT_S * beat, start_s=0.0, end_s=32 * BEAT_S
        )
        gone = [
            one.act.beat for one in scores if one.outcome == "missed" and one.act.kind == "push"
        ]
        more = [one.at_s for one in scores if one.outcome == "added"]
        assert sorted(gone) == pytest.approx(played.missed), seed
        assert sorted(more) == pytest.approx(played.added, abs=0.02), seed
        heard = {round(one.act.beat, 4): one.at_s for one in scores if one.outcome == "heard"}
        assert set(played.begun) == set(heard), seed
        off += [heard[beat] - at for beat, at in played.begun.items()]
        missed, added = missed + len(gone), added + len(more)
    assert min(missed, added) >= 3
    bias = float(np.median(off))
    assert abs(bias) < bias_ms / 1000.0
    assert np.percentile(np.abs(np.array(off) - bias), 95) < within_ms / 1000.0


def test_a_way_a_tenth_too_long_is_told_as_ten_per_cent():
    played = Played(half_sine, 1, longer=1.1)
    trace = trace_of(sorted(played.messages))
    (found,) = assess(scratch(), trace, [Visit(0, 0.0, 32.0, 0.0, 32 * BEAT_S)])
    ways = [
        act.longer_percent / 100
        for act in found.acts
        if act.outcome == "heard" and act.way_turns is not None
    ]
    assert len(ways) > 20
    assert np.median(ways) == pytest.approx(0.1, abs=0.01)
