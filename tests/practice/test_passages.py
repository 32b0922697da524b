"""Which chunks a recording holds: what they cost and gain, by hand, and where random onsets lie.

The bounds are the module's own, tuned on mixes; the cases lie just within and just beyond them.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice import passages
from liveaid.practice.passages import SPEEDS, Chunk, Found, chunks_of, found_in
from liveaid.routine.load import read_routine
from liveaid.routine.timeline import lead_in_s

STEP_S = 0.02


def routine(*bars):
    pieces = "".join(
        f"  - {{name: P{k}, bars: {count}, tempo: 120, count: left, left: {{hand: runs, at: 2}}}}\n"
        for k, count in enumerate(bars)
    )
    return read_routine(f"title: T\nmetre: 4\npieces:\n{pieces}".encode())


def test_chunks_are_two_bars_and_the_last_three_where_one_would_be_left():
    """A bar is 2 s. Of 4.5 bars half a one would be left."""
    asked = routine(4, 5, 1, 4.5, 3)
    assert lead_in_s(asked) == 0.0
    assert chunks_of(asked) == [
        Chunk(0, 0.0, 4.0, True), Chunk(0, 4.0, 8.0, False),
        Chunk(1, 8.0, 12.0, True), Chunk(1, 12.0, 18.0, False),
        Chunk(2, 18.0, 20.0, True),
        Chunk(3, 20.0, 24.0, True), Chunk(3, 24.0, 29.0, False),
        Chunk(4, 29.0, 35.0, True),
    ]  # fmt: skip


def told(*laid, firsts=(True,), speed=1.0, lasts_s=1.0):
    """The story of chunks each alike so much at one second, and not at all anywhere else."""
    chunks = [Chunk(0, k * lasts_s, (k + 1) * lasts_s, k < len(firsts) and firsts[k])
              for k in range(len(laid))]  # fmt: skip
    curves = np.zeros((len(laid), 600))
    for k, (at_s, likeness) in enumerate(laid):
        curves[k, round(at_s / STEP_S)] = likeness
    found = passages._story(curves, np.full(curves.shape, speed), chunks)
    for one in found:
        at_s, likeness = laid[one.chunk]
        assert one == Found(one.chunk, pytest.approx(at_s), speed, pytest.approx(likeness))
    return [one.chunk for one in found]


def row(count, likeness):
    return [(1.0 + k, likeness) for k in range(count)]


@pytest.mark.parametrize(
    ("laid", "firsts", "found"),
    [
        # What is gained is likeness above .36, and .2 a chunk that goes on; begun, a set piece
        # costs .45: 2 * .13 + .2 is more, 2 * .12 + .2 is less.
        (row(2, 0.49), (True,), 2), (row(2, 0.48), (True,), 0),
        # Elsewhere .9: 2 * .36 + .2 is more, 2 * .34 + .2 is less.
        (row(2, 0.72), (), 2), (row(2, 0.70), (), 0),
        # One chunk at .42, or 1.4 above .16 together: five at .41 are 1.25, six 1.5.
        (row(5, 0.43), (True,), 5), (row(5, 0.41), (True,), 0), (row(6, 0.41), (True,), 6),
        # The next begins within two tenths of the end of the one before.
        ([(1.0, 0.5), (2.2, 0.5)], (True,), 2), ([(1.0, 0.5), (1.8, 0.5)], (True,), 2),
        ([(1.0, 0.5), (2.3, 0.5)], (True,), 0), ([(1.0, 0.5), (1.7, 0.5)], (True,), 0),
    ],
)  # fmt: skip
def test_what_a_story_is_worth(laid, firsts, found):
    assert told(*laid, firsts=firsts) == list(range(found))


def test_a_chunk_a_quarter_faster_ends_so_much_sooner():
    """1 s of guide is over in .8 s: the next begins within two tenths of that, not at 1.1 s."""
    assert told((1.0, 0.5), (1.8, 0.5), speed=1.25) == [0, 1]
    assert told((1.0, 0.5), (2.1, 0.5), speed=1.25) == []


def test_leaving_the_order_is_paid_each_time():
    """Chunks 0 1, then chunk 3 after other music: .9, or .45 where a set piece begins with it."""
    begun = [(1.0, 0.8), (2.0, 0.8), (9.0, 0.0), (5.0, 0.82)]
    assert told(*begun, firsts=(True, False, False, True)) == [0, 1, 3]
    assert told(*begun[:3], (5.0, 0.80), firsts=(True, False, False, True)) == [0, 1]
    assert told(*begun[:3], (5.0, 1.27), firsts=(True,)) == [0, 1, 3]
    assert told(*begun[:3], (5.0, 1.25), firsts=(True,)) == [0, 1]


@pytest.mark.parametrize(
    ("likeness", "stays"),
    [
        ([0.8, 0.8, 0.8], [0, 1, 2]),
        # Fainter than half the usual .8 at an end; the mean from that end on counts.
        ([0.39, 0.8, 0.8, 0.8], [1, 2, 3]), ([0.41, 0.8, 0.8, 0.8], [0, 1, 2, 3]),
        ([0.8, 0.8, 0.8, 0.39], [0, 1, 2]), ([0.8, 0.8, 0.8, 0.41], [0, 1, 2, 3]),
        ([0.1, 0.65, 0.8, 0.8, 0.8, 0.8], [2, 3, 4, 5]),
        ([0.1, 0.75, 0.8, 0.8, 0.8, 0.8], [1, 2, 3, 4, 5]),
        # Within it: a fifth of the usual.
        ([0.8, 0.8, 0.17, 0.8, 0.8], [0, 1, 2, 3, 4]), ([0.8, 0.8, 0.15, 0.8, 0.8], [0, 1, 3, 4]),
        ([0.42, 0.3], [0, 1]), ([0.41, 0.41], []), ([0.41] * 5, []),
        ([0.4] * 6, [0, 1, 2, 3, 4, 5]), ([0.39] * 6, []),
    ],
)  # fmt: skip
def test_what_is_other_music_within_a_stretch(likeness, stays):
    """Together .24 * 6 = 1.44 above .16, or .23 * 6 = 1.38 where 1.4 is asked for."""
    run = [Found(k, float(k), 1.0, each) for k, each in enumerate(likeness)]
    assert [one.chunk for one in passages._clear_of_others(run)] == stays


def test_a_run_ends_where_the_next_chunk_does_not_follow():
    """Chunks of 1 s at half speed take 2 s; .24 s either way they still go on."""
    chunks = [Chunk(0, float(k), k + 1.0, k == 0) for k in range(4)]

    def runs(*laid):
        found = [Found(chunk, at_s, 0.5, 0.8) for chunk, at_s in laid]
        return [[one.chunk for one in run] for run in passages._runs(found, chunks)]

    assert runs((0, 1.0), (1, 3.0), (2, 5.23), (3, 7.0)) == [[0, 1, 2, 3]]
    assert runs((0, 1.0), (1, 3.25), (2, 5.0)) == [[0], [1], [2]]
    assert runs((1, 1.0), (1, 3.0), (3, 5.0)) == [[1], [1], [3]]
    assert runs() == []


@pytest.fixture(scope="module")
def onsets():
    """Twelve bands of sparse random onsets, 16 s at a step of 20 ms."""
    rng = np.random.default_rng(11)
    return rng.random((800, 12)) ** 6 * 8


def faster(bands, speed):
    """The same at another speed, by numpy's own interpolation."""
    at = np.linspace(0, len(bands) - 1, round(len(bands) / speed))
    return np.stack([np.interp(at, np.arange(len(bands)), band) for band in bands.T], axis=1)


@pytest.mark.parametrize("speed", [0.95, 1.0, 1.06])
def test_a_stretch_is_found_where_it_lies_and_as_fast_as_it_is(onsets, speed):
    """Its middle 8 s after 3 s of other onsets; four chunks, of which those two are heard."""
    rng = np.random.default_rng(12)
    other = rng.random((150, 12)) ** 6 * 8
    take = np.concatenate([other, faster(onsets[200:600], speed), other])
    chunks = [Chunk(0, 4.0 * k, 4.0 * (k + 1), k == 0) for k in range(4)]
    found = found_in(onsets, take, STEP_S, chunks)
    assert [one.chunk for one in found] == [1, 2]
    assert [one.at_s for one in found] == pytest.approx([3.0, 3.0 + 4.0 / speed], abs=0.021)
    assert [one.speed for one in found] == [speed, speed]
    assert min(one.likeness for one in found) > 0.85


def test_likeness_is_the_correlation_of_all_bands_each_about_its_own_mean(onsets):
    """By numpy: both stretches less their bands' means, laid out as one row, correlated."""
    take, pattern = onsets[:90, :3], onsets[300:340, :3]
    found = passages._Laid(take).likeness(pattern)
    wanted = [
        np.corrcoef((pattern - pattern.mean(0)).ravel(), (part - part.mean(0)).ravel())[0, 1]
        for part in (take[k : k + 40] for k in range(51))
    ]
    assert found == pytest.approx([*wanted, *[0.0] * 39])
    assert passages._Laid(take).likeness(onsets[:90, :3]).tolist() == [0.0] * 90
    assert passages._Laid(take).likeness(onsets[:89, :3])[0] == pytest.approx(1.0)


def test_onsets_are_looked_at_by_their_root_smoothed_and_by_where_they_stand_out():
    """One onset of 4 in the first of three bands: its root 2, over seven steps 1 2 3 3 3 2 1 of
    15; of all bands a third of it is common, which counts sqrt(.3 * 3) times."""
    bands = np.zeros((9, 3))
    bands[4, 0] = 4.0
    smooth = 2.0 * np.array([0, 1, 2, 3, 3, 3, 2, 1, 0]) / 15.0
    shaped = passages._shape(bands)
    assert shaped[:, 0] == pytest.approx(smooth * 2 / 3)
    assert shaped[:, 1] == pytest.approx(-smooth / 3)
    assert shaped[:, 3] == pytest.approx(smooth / 3 * np.sqrt(0.9))
    assert passages._thinned(np.arange(14.0).reshape(7, 2), 3).tolist() == [[2.0, 3.0], [8.0, 9.0]]


def test_speeds_are_a_faders_eight_per_cent_either_way():
    assert SPEEDS.tolist() == [round(0.92 + 0.01 * k, 2) for k in range(17)]
    bands = np.array([[0.0], [1.0], [2.0], [3.0], [4.0], [5.0]])
    assert passages._at_speed(bands, 0.6)[:, 0] == pytest.approx([5 * k / 9 for k in range(10)])
    assert passages._at_speed(bands, 6.0)[:, 0] == pytest.approx([0, 5 / 3, 10 / 3, 5])
