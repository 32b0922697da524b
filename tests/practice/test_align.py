"""When each moment of the guide mix was heard: onsets made up in bands, held against numpy.

Where the guide lies in the take is known here, since it was put there a millisecond at a time.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice import align
from liveaid.practice.align import ALIGN_QUIET_S, HeardMoment, align_within, sampled, sound_of
from liveaid.practice.recorded_sound import FINE_HOP_S

BANDS = 4
MOMENTS_S = [0.5, 1.0, 1.5, 2.0, 2.5]


def onsets(seconds, seed):
    """Onset bands of a sound that begins after the silence: a few strong ones, soft ones beside."""
    rng = np.random.default_rng(seed)
    bands = rng.random((round((seconds + 2 * ALIGN_QUIET_S) / FINE_HOP_S), BANDS)) ** 12
    bands[::50] += 5 * rng.random((len(bands[::50]), BANDS))
    return np.stack([np.convolve(band, np.hanning(9), "same") for band in bands.T], axis=1)


def put(guide, *pieces):
    """A take: stretches (from, to) of the guide, each at another second; nothing between them."""
    take = np.zeros((round(5.0 / FINE_HOP_S), BANDS))
    for from_s, to_s, at_s in pieces:
        first, last, at = (round((s + ALIGN_QUIET_S) * 1000) for s in (from_s, to_s, at_s))
        take[at : at + last - first] = guide[first:last]
    return take


@pytest.fixture(scope="module")
def guide():
    return onsets(3.0, 5)


@pytest.mark.parametrize("off_s", [0.0, 0.035, -0.100])
def test_a_stretch_moved_as_a_whole_is_heard_there_to_the_millisecond(guide, off_s):
    """It lies a second later, and is looked for `off_s` beside that."""
    take = put(guide, (0.0, 3.0, 1.0))
    found = align_within(guide, take, MOMENTS_S, [0.0, 3.0], [1.0 + off_s, 4.0 + off_s])
    assert [one.guide_s for one in found] == pytest.approx(MOMENTS_S)
    assert [one.take_s for one in found] == pytest.approx([1.0 + s for s in MOMENTS_S], abs=2e-4)
    assert min(one.likeness for one in found) > 0.999
    assert all(one.sure for one in found)


def test_each_moment_is_heard_where_it_alone_was_moved(guide):
    """Half a second each: 20 ms late, on time, 30 ms early, 10 ms late, on time."""
    late_s = [0.020, 0.0, -0.030, 0.010, 0.0]
    moved = [(s - 0.2, s + 0.2, s + 0.8 + late) for s, late in zip(MOMENTS_S, late_s, strict=True)]
    found = align_within(guide, put(guide, *moved), MOMENTS_S, [0.0, 3.0], [1.0, 4.0])
    heard = [one.take_s - one.guide_s - 1.0 for one in found]
    assert heard == pytest.approx(late_s, abs=1e-3)


def test_likeness_is_a_weighted_correlation_of_all_bands(guide):
    """By numpy.cov with weights, 50 ms either way, a bell half as wide; summed over the bands."""
    take = put(guide, (0.0, 3.0, 1.0))
    noisy = take + 0.4 * onsets(4.4, 6)[: len(take)]
    (one,) = align_within(guide, noisy, [1.5], [0.0, 3.0], [1.0, 4.0])
    grid = np.arange(-50, 51)
    weight = np.exp(-((grid / 25) ** 2))
    here = guide[round((1.5 + ALIGN_QUIET_S) * 1000) + grid]
    there = noisy[round((2.5 + ALIGN_QUIET_S) * 1000) + grid]
    of_bands = [np.cov(a, b, aweights=weight) for a, b in zip(here.T, there.T, strict=True)]
    both, own, other = (sum(cov[k] for cov in of_bands) for k in ((0, 1), (0, 0), (1, 1)))
    assert one.take_s == pytest.approx(2.5, abs=1e-3)
    assert one.likeness == pytest.approx(both / np.sqrt(own * other), rel=1e-6)
    assert 0.5 < one.likeness < 0.99


def test_what_is_not_heard_goes_along_with_its_neighbours(guide):
    """The third moment's stretch is silent: between neighbours 20 ms late it is 20 ms late."""
    take = put(guide, (0.0, 1.2, 1.02), (1.8, 3.0, 2.82))
    found = align_within(guide, take, MOMENTS_S, [0.0, 3.0], [1.0, 4.0])
    assert [one.sure for one in found] == [True, True, False, True, True]
    assert found[2].take_s == pytest.approx(2.52, abs=2e-3)


def test_from_a_likeness_of_45_hundredths_on_a_moment_is_heard():
    assert [HeardMoment(0.0, 0.0, likeness).sure for likeness in (0.449, 0.45)] == [False, True]


def test_bands_are_read_to_the_nearest_millisecond_and_are_nothing_beyond_their_ends():
    bands = np.array([[1.0, 10.0], [2.0, 20.0], [3.0, 30.0]])
    asked = np.array([-0.0006, -0.0004, 0.0, 0.0012, 0.0018, 0.002, 0.0026])
    assert sampled(bands, asked)[:, 0].tolist() == [0.0, 1.0, 1.0, 2.0, 3.0, 3.0, 0.0]
    assert sampled(bands, asked)[4].tolist() == [3.0, 30.0]


def test_a_sound_has_three_tenths_of_a_second_of_silence_about_it():
    """At 24 kHz 7,200 samples."""
    sound = sound_of(np.ones((240, 2)), 24000)
    assert len(sound) == 240 + 2 * 7200
    assert np.abs(sound[:7200]).max() == np.abs(sound[-7200:]).max() == 0.0
    assert sound[7200:-7200] == pytest.approx(1.0)


def test_time_runs_on_evenly_beyond_what_is_mapped():
    """Guide seconds 1, 2 and 4 answer 11, 13 and 14."""
    knots, drawn = np.array([1.0, 2.0, 4.0]), np.array([11.0, 13.0, 14.0])
    asked = np.array([0.0, 1.0, 1.5, 3.0, 4.0, 5.5])
    assert align._local_map(knots, drawn, asked).tolist() == [10.0, 11.0, 12.0, 13.5, 14.0, 15.5]


def test_anchors_are_clear_onsets_away_from_moments_and_from_stronger_ones():
    """The mean over 1 s is .038: onsets of .07 are not clear. Within 90 ms the strongest stays."""
    strength = np.zeros(1000)
    laid = {100: 8.0, 185: 6.0, 200: 5.0, 400: 9.0, 495: 4.0, 600: 4.0, 700: 0.07, 800: 2.0}
    for frame, height in laid.items():
        strength[frame] = height
    fine = np.stack([strength, strength], axis=1)
    found = align._anchors(fine, np.array([0.0, 0.695]))
    assert found.tolist() == pytest.approx([0.4, 0.1, 0.2, 0.495, 0.6, 0.8])
    assert align._anchors(fine, np.array([0.6])).tolist() == pytest.approx(
        [0.4, 0.1, 0.2, 0.495, 0.8]
    )


@pytest.mark.parametrize(
    ("values", "best", "off"),
    [
        # The parabola through 2 4 3 peaks at 1/6 on, through 3 4 2 as much before.
        ([2.0, 4.0, 3.0], 1, 1 / 6), ([3.0, 4.0, 2.0], 1, -1 / 6), ([1.0, 4.0, 1.0], 1, 0.0),
        ([4.0, 3.0, 2.0], 0, 0.0), ([2.0, 3.0, 4.0], 2, 0.0), ([4.0, 4.0, 4.0], 1, 0.0),
    ],
)  # fmt: skip
def test_where_between_the_steps_the_peak_is(values, best, off):
    assert align._vertex(np.array(values), best) == pytest.approx(off)


SURE, FAINT = 0.45, 0.44


def steadied(knots, moved, before, likeness):
    return align._steadied(*(np.array(each, float) for each in (knots, moved, before, likeness)))


def test_one_moment_heard_moves_nothing():
    before = [10.0, 11.0, 12.0]
    assert steadied([0, 1, 2], [10.5, 11.5, 12.5], before, [SURE, FAINT, FAINT]).tolist() == before


def test_a_faint_moment_between_heard_ones_lies_straight_between_them():
    """Two of those around it within 1.5 s are too few to lead there: it is moved as they were."""
    before = [10.0, 11.0, 12.1, 13.0, 14.0]
    moved = [10.1, 11.1, 15.0, 13.3, 14.3]
    faint = [SURE, SURE, FAINT, SURE, SURE]
    assert steadied([0, 1, 2, 3, 4], moved, before, faint).tolist() == pytest.approx(
        [10.1, 11.1, 12.3, 13.3, 14.3]
    )
    assert steadied([0, 0.7, 1.5, 2.5, 4], moved, before, faint)[2] == pytest.approx(
        11.1 + 2.2 * 0.8 / 1.8
    )
    # Three within 1.5 s of it, at 0, .7 and 2.5: from 11.1 to 13.3 in 1.8 s.


def test_a_faint_moment_beyond_the_last_lies_on_their_line():
    """Heard at 0, 1 and 1.5: 10.2, 11.2 and 11.7 lead to 12.2 at 2; far from them it is moved."""
    knots, before = [0.0, 1.0, 1.5, 2.0], [10.0, 11.0, 11.5, 12.1]
    heard = [10.2, 11.2, 11.7, 0.0]
    likeness = [SURE, SURE, SURE, FAINT]
    near = [0.6, 1.0, 1.5, 2.0]
    assert steadied(knots, heard, before, likeness)[3] == pytest.approx(12.3)  # two within 1.5 s
    assert steadied(near, [10.8, 11.2, 11.7, 0.0], [10.6, 11.0, 11.5, 12.1], likeness)[
        3
    ] == pytest.approx(12.2)


def test_a_line_that_is_no_tempo_leads_nowhere():
    """Heard at 0, .1 and .2: over .07 s, slope .35, or .52 s, slope 2.6; then it is moved along."""
    for steep, follows in ((0.35, False), (0.45, True), (2.4, True), (2.6, False)):
        moved = [10.0, 10.0 + 0.1 * steep, 10.0 + 0.2 * steep, 0.0]
        before = [10.0, 10.1, 10.2, 10.3]
        found = steadied([0, 0.1, 0.2, 0.3], moved, before, [SURE, SURE, SURE, FAINT])
        along = 10.3 + 0.2 * steep - 0.2
        assert found[3] == pytest.approx(10.0 + 0.3 * steep if follows else max(along, moved[2]))


def test_no_moment_comes_before_the_one_before():
    assert steadied([0, 1, 2], [10.0, 9.0, 12.0], [10.0, 11.0, 12.0], [SURE] * 3).tolist() == [
        10.0, 10.0, 12.0,
    ]  # fmt: skip


@pytest.mark.parametrize("off_ms", [-120, -119, -60, 60, 118, 120])
def test_a_moment_is_looked_for_as_far_as_the_reach_goes(guide, off_ms):
    """120 ms either way, the last of them too."""
    take = put(guide, (0.0, 3.0, 1.0))
    knots = np.array([1.5 + ALIGN_QUIET_S])
    shift, likeness = align._shifts(guide, take, knots, knots + 1.0 - off_ms / 1000, 0.3, 0.12)
    assert shift == pytest.approx([off_ms / 1000], abs=1e-4)
    assert likeness[0] > 0.999


def test_two_moments_heard_move_what_lies_beyond_them_along():
    before = [10.0, 11.0, 12.0]
    assert steadied([0, 1, 2], [10.5, 11.3, 0.0], before, [SURE, SURE, FAINT]).tolist() == (
        pytest.approx([10.5, 11.3, 12.3])
    )


def test_an_onset_is_clear_from_twice_the_mean_on():
    """One of 8 and one of .02 in 1000 frames: the mean is .00802, twice it .01604; of .016 not.
    The first of two frames as loud is the peak, and none stands at either end."""
    for soft, found in ((0.02, [0.4, 0.7]), (0.016, [0.4])):
        strength = np.zeros(1000)
        strength[[400, 401, 700, 0, 999]] = 4.0, 4.0, soft, 1e-9, 1e-9
        told = align._anchors(np.stack([strength, strength], axis=1), np.array([]))
        assert told.tolist() == pytest.approx(found)


def test_only_onsets_within_the_stretch_are_laid(guide, monkeypatch):
    """A stretch of half a second: its moments and what is clear between its ends, in order."""
    laid = []
    monkeypatch.setattr(align, "_laid", lambda *how: laid.append(how[3]) or [])
    align_within(guide, put(guide, (0.0, 3.0, 1.0)), [1.0], [0.8, 1.3], [1.8, 2.3])
    (knots,) = laid
    assert len(knots) > 2
    assert knots.min() > 0.8 + ALIGN_QUIET_S
    assert knots.max() < 1.3 + ALIGN_QUIET_S
    assert (np.diff(knots) > 0).all()
