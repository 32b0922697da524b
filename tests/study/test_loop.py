"""Loops by hand: what each rule asks at its bound, with the grids put in their place."""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import loop
from liveaid.study.grid import Grid
from liveaid.study.loop import find_loop
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, GROUPS


def onsets(times_s, strength=1.0):
    strengths = np.broadcast_to(np.float32(strength), len(times_s)).astype(np.float32)
    return Onsets(np.asarray(times_s, float), strengths, np.tile(strengths[:, None], GROUPS))


def grid(period_s=0.5, *, parts=4, excess=9.0):
    return Grid(period_s, 0.0, parts, 0.9, excess, 0.0)


def test_loops_are_mostly_cut_to_powers_of_two():
    """Common practice, no source: logs of how often, 4 and its doubles most of all."""
    told = {beats: loop._habit(beats) for beats in (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 20, 32)}
    assert told == {
        1: -2.0, 2: -0.3, 3: -1.0, 4: 0.0, 5: -2.0, 6: -1.0, 7: -2.0, 8: 0.0, 10: -1.2, 12: -0.7,
        16: 0.0, 20: -0.7, 32: 0.0,
    }  # fmt: skip


def test_a_loop_goes_on_and_on_without_its_own_return():
    """Six frames at either end count a half at most; ten times round."""
    curve = np.linspace(0.4, 1.0, 20)
    once = curve.copy()
    once[:6], once[-6:] = np.minimum(once[:6], 0.5), 0.5
    assert loop._endless(curve).tolist() == np.tile(once, 10).tolist()
    assert loop._endless(np.array([0.4, 0.9, 0.3])).tolist() == [0.4, 0.5, 0.3] * 10


def test_a_loops_spectrum_ends_where_it_does():
    spectrum = SimpleNamespace(rise=np.arange(900))
    assert len(loop._whole(spectrum, 2.0)) == round(2 * FRAMES_HZ) == 401
    assert len(loop._whole(spectrum, 0.001)) == 1


def test_a_loop_goes_round_four_times_for_its_accents():
    told = loop._rounds(onsets([0.0, 0.7], [1.0, 2.0]), 1.5)
    assert told.times_s == pytest.approx([0.0, 0.7, 1.5, 2.2, 3.0, 3.7, 4.5, 5.2])
    assert told.strength.tolist() == [1.0, 2.0] * 4
    assert told.groups[:, 0].tolist() == [1.0, 2.0] * 4


@pytest.mark.parametrize(
    ("nearest_s", "phase_s"), [(0.0199, 0.0199), (0.03, 0.02), (-0.0199, -0.0199), (-0.03, -0.02)]
)
def test_a_loops_beat_lies_within_twenty_milliseconds_of_its_begin(monkeypatch, nearest_s, phase_s):
    asked = []

    def near(heard, step_s):
        asked.append(step_s)
        return nearest_s

    def held(heard, *, period_s, phase_s, parts):
        return Grid(period_s, phase_s, parts, 0.9, {4: 5.0, 3: 6.0}[parts], 0.0)

    monkeypatch.setattr(loop, "nearest_phase_s", near)
    monkeypatch.setattr(loop, "judged", held)
    found = loop._grid(onsets([]), 0.6, 4, 3)
    assert (found.parts, found.phase_s, found.period_s) == (3, phase_s, 0.6)
    assert asked == pytest.approx([0.15, 0.2])
    assert loop._grid(onsets([]), 0.6, 4).parts == 4


@pytest.fixture
def found(monkeypatch):
    """found(...): the loop of a file of 4 s, where the rooms say what a test lets them say."""

    def of(
        *, first_s=0.0, duration_s=4.0, scores=None, excess=9.0, counted_s=None, free=None,
        may=True, agrees=True, recounted=0.5, count=8,
    ):  # fmt: skip
        asked = SimpleNamespace(periods=[], grids=[])

        def scored(curve, periods):
            asked.periods = periods
            by_count = {8: 0.0} if scores is None else scores
            return np.array([by_count.get(round(duration_s / one), -9.0) for one in periods]), None

        def made(heard, period_s, *parts):
            asked.grids.append((round(period_s, 4), parts))
            return grid(period_s, parts=parts[0], excess=excess)

        pulse = SimpleNamespace(
            scores=scored, autocorrelation=lambda rise, *, circular: rise[circular - 1 :],
            SLOWEST_BPM=45.0, FASTEST_BPM=200.0,
        )  # fmt: skip
        monkeypatch.setattr(loop, "pulse", pulse)
        monkeypatch.setattr(loop, "metronome_s", lambda heard: counted_s)
        monkeypatch.setattr(loop, "_grid", made)
        monkeypatch.setattr(loop, "by_accents", lambda heard, at: grid(recounted, parts=3))
        monkeypatch.setattr(loop, "_may_end_on_a_beat", lambda grid, duration_s: may)
        monkeypatch.setattr(loop, "_agrees", lambda *heard: agrees)
        spectrum = SimpleNamespace(rise=np.zeros(900))
        heard = onsets(first_s + np.arange(count) * 0.5) if count else onsets([])
        told = find_loop(spectrum, heard, duration_s, free)
        return (told and (told.beats, told.score, told.grid.period_s)), asked

    return of


@pytest.mark.parametrize(
    ("how", "beats"),
    [
        ({}, 8),
        # It sounds from its first beat on, to 50 ms, and is no track of more than 130 s.
        ({"first_s": 0.0499}, 8),
        ({"first_s": 0.0501}, None),
        ({"duration_s": 130.0, "scores": {256: 0.0}, "recounted": 130 / 256}, 256),
        ({"duration_s": 130.1, "scores": {256: 0.0}}, None),
        ({"count": 0}, None),
        # It comes round well enough, to -.3, or is a bare count; its grid holds by 2.2.
        ({"scores": {8: -0.29}}, 8),
        ({"scores": {8: -0.31}}, None),
        ({"scores": {8: -0.31}, "counted_s": 0.5}, 8),
        ({"excess": 2.2}, 8),
        ({"excess": 2.19}, None),
        ({"excess": 2.19, "counted_s": 0.5}, None),
        # Habit counts with it: ten beats by 1.2 less.
        ({"scores": {8: 0.0, 10: 1.1}}, 8),
        ({"scores": {8: 0.0, 10: 1.3}, "recounted": 0.4}, 10),
        # Accents may tell its beats otherwise.
        ({"recounted": 2 / 3}, 6),
        # A grid that was found without all that may speak against it.
        ({"may": False}, 8),
        ({"agrees": False}, 8),
        ({"free": grid(), "may": False}, None),
        ({"free": grid(), "agrees": False}, None),
        ({"free": grid()}, 8),
    ],
)
def test_a_file_is_a_loop_where_all_agrees(found, how, beats):
    told, asked = found(**how)
    assert (told and told[0]) == beats
    if told:
        duration_s = how.get("duration_s", 4.0)
        assert told[2] == pytest.approx(duration_s / beats)
        assert asked.grids[0][1] == (4, 3)
        assert asked.grids[1] == (round(duration_s / beats, 4), (3,))


def test_beats_are_counted_from_the_slowest_to_the_fastest_there_are(found):
    """4 s at 45 a minute are 3 beats, at 200 13; of a bare count only what is counted."""
    _, asked = found()
    assert (4.0 / asked.periods).tolist() == pytest.approx(list(range(3, 14)))
    _, asked = found(counted_s=0.4)
    assert asked.periods.tolist() == [0.4]
    told, _ = found(duration_s=0.25, scores={})
    assert told is None
