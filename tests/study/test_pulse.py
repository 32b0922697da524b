"""The pulse: its autocorrelation against plain sums, and what each multiple of a period is worth.

Source of the sums: the autocorrelation's definition.
"""

import numpy as np
import pytest
import scipy.ndimage

from liveaid.study.pulse import (
    Pulse,
    _bend,
    autocorrelation,
    find_pulses,
    peak_near,
    preference,
    scores,
    sharpened_s,
)
from liveaid.study.spectrum import FRAMES_HZ, GROUPS


def test_the_tempo_people_tap_most_readily_is_124():
    """A bell over log tempo, .8 octaves wide: -1/2 at one width on either side, -2 at two."""
    assert preference(124.0) == 0.0
    wide = 124.0 * 2.0 ** np.array([0.8, -0.8, 1.6])
    assert preference(wide) == pytest.approx([-0.5, -0.5, -2.0])


def plainly(rise, lags, *, circular):
    """Each group smoothed by two frames, the mean of a second about it taken off, and the mean
    product of what lies so many frames apart, 1 at none; the mean over the groups."""
    mode = "wrap" if circular else "nearest"
    total = np.zeros(lags)
    for group in rise.T:
        smooth = scipy.ndimage.gaussian_filter1d(group.astype(float), 2.0, mode=mode)
        smooth = smooth - scipy.ndimage.uniform_filter1d(smooth, 200, mode=mode)
        if circular:
            curve = np.array([np.mean(smooth * np.roll(smooth, lag)) for lag in range(lags)])
        else:
            curve = np.array(
                [np.mean(smooth[lag:] * smooth[: len(smooth) - lag]) for lag in range(lags)]
            )
        if curve[0] > 1e-9:
            total += curve / curve[0]
    return total / GROUPS


def rises(frames, seed=1):
    """Chance strokes in all groups but the last, which is silent."""
    rng = np.random.default_rng(seed)
    rise = (rng.random((frames, GROUPS)) < 0.05) * rng.random((frames, GROUPS))
    rise[:, -1] = 0.0
    return rise.astype(np.float32)


@pytest.mark.parametrize(
    ("frames", "circular", "lags"),
    [(1001, False, 701), (1001, True, 1001), (5000, False, round(16 * FRAMES_HZ))],
)
def test_autocorrelation_is_the_mean_product_by_distance(frames, circular, lags):
    """Over seven tenths of the sound, 16 s at most; in a loop over all of it, round its end."""
    rise = rises(frames)
    found = autocorrelation(rise, circular=circular)
    assert found.shape == (lags,)
    few = min(lags, 900)
    assert found[:few] == pytest.approx(plainly(rise, few, circular=circular), abs=1e-9)


def test_long_sounds_are_heard_in_stretches_of_three_minutes():
    """Four and a half are more than one and a half: two, each by itself."""
    rise = rises(round(4.6 * 60 * FRAMES_HZ))
    half = -(-len(rise) // 2)
    two = [autocorrelation(part) for part in (rise[:half], rise[half:])]
    assert autocorrelation(rise) == pytest.approx((two[0] + two[1]) / 2)
    whole = rise[: round(4.4 * 60 * FRAMES_HZ)]
    assert autocorrelation(whole)[:50] == pytest.approx(plainly(whole, 50, circular=False))


def test_silence_has_no_autocorrelation():
    assert not autocorrelation(np.zeros((500, GROUPS), np.float32)).any()
    assert autocorrelation(np.zeros((1, GROUPS), np.float32)).tolist() == [0.0]


def spikes(length, **at):
    """Nothing but at so many frames: _200=0.5 is .5 at frame 200."""
    curve = np.zeros(length)
    for place, value in at.items():
        curve[int(place[1:])] = value
    return curve


@pytest.mark.parametrize(
    ("lag", "curve", "peak"),
    [
        # 1.2 % of 200 are 2.4 frames, two; at 50 one frame all the same.
        (200.0, spikes(400, _202=0.7, _203=0.9), 0.7),
        (200.0, spikes(400, _198=0.7, _197=0.9), 0.7),
        (50.0, spikes(400, _51=0.7, _52=0.9), 0.7),
        (50.0, spikes(400, _49=0.7, _48=0.9), 0.7),
        (50.6, spikes(400, _50=0.7, _49=0.9), 0.7),
        (0.0, spikes(400, _1=0.7, _399=0.9), 0.7),
        # Nothing is known beyond the end, nor of what reaches beyond it.
        (200.0, spikes(203, _200=0.7), 0.7),
        (200.0, spikes(202, _200=0.7), 0.0),
        (300.0, spikes(202, _200=0.7), 0.0),
        (200.0, np.full(400, -0.5), -0.5),
    ],
)
def test_a_peak_is_looked_for_beside_its_lag(lag, curve, peak):
    # Another, wider one beside it changes nothing.
    assert peak_near(curve, np.array([lag, 20_000.0]))[0] == peak


@pytest.mark.parametrize(
    ("multiple", "weight"),
    [
        (2.0, 1.0), (4.0, 1.5), (0.5, 0.6), (0.25, 0.6), (3.0, -1.2), (1 / 3, -0.3), (1.5, 0.5),
        (2 / 3, -0.8),
    ],
)  # fmt: skip
def test_a_period_is_worth_what_its_multiples_and_parts_repeat(multiple, weight):
    """One beat a second: 60 BPM. Its own repeat is worth 1, half as good a one of the multiple half
    of its weight; the log of the sum, and how readily 60 is tapped."""
    curve = spikes(1000)
    curve[round(FRAMES_HZ)] = 0.9
    curve[round(FRAMES_HZ * multiple)] = 0.5
    score, agreement = scores(curve, np.array([1.0]))
    tapped = -0.5 * (np.log2(60 / 124) / 0.8) ** 2
    assert score[0] == pytest.approx(np.log(0.9 + 0.5 * weight) + tapped)
    assert agreement[0] == 0.9


def test_a_period_that_does_not_repeat_scores_a_thousandth():
    score, agreement = scores(spikes(1000), np.array([60.0 / 124.0]))
    assert (score[0], agreement[0]) == (pytest.approx(np.log(1e-3)), 0.0)


def repeating(period_s, length_s=16.0):
    """A curve with a peak at every multiple of a period, wide by a tenth of a second."""
    at_s = np.arange(round(length_s * FRAMES_HZ)) / FRAMES_HZ
    away_s = (at_s + period_s / 2) % period_s - period_s / 2
    return np.exp(-0.5 * (away_s / 0.03) ** 2)


def test_the_likeliest_pulses_of_a_steady_repeat():
    """Every .6 s, 100 BPM: itself first, told to a ten-thousandth. Seconds are 60 / BPM; all its
    own multiples repeat wholly, no half or third does."""
    found = find_pulses(repeating(0.6))
    worth = np.log(1.0 + 1.0 + 1.5 - 1.2) - 0.5 * (np.log2(100 / 124) / 0.8) ** 2
    assert found[0] == Pulse(
        pytest.approx(0.6, abs=1e-4), pytest.approx(worth, abs=0.02), pytest.approx(1.0, abs=0.01)
    )
    assert len(found) <= 6
    assert [one.score for one in found] == sorted((one.score for one in found), reverse=True)
    assert all(60 / 220 - 0.01 <= one.period_s <= 60 / 45 + 0.04 for one in found)
    assert find_pulses(repeating(0.6), most=2) == found[:2]
    assert len(find_pulses(np.random.default_rng(1).normal(0, 0.2, 3000))) == 6


def test_a_period_is_looked_for_where_the_curve_holds_it():
    """220 BPM are .2727 s, 54.7 frames, and 2 % more 55.8: of 55 frames nothing can be told."""
    assert find_pulses(repeating(0.2727)[:55]) == []
    assert find_pulses(repeating(0.2727)[:57])[0].agreement > 0.9
    assert find_pulses(np.zeros(0)) == []


def test_a_period_is_sharpened_by_ever_longer_multiples():
    """Ten frames off at first; sixteen periods of .9 s tell it to a hundredth of a frame."""
    assert sharpened_s(repeating(0.9), 0.91) == pytest.approx(0.9, abs=5e-6)
    # At eight times the period nothing repeats as much as .3 any more: four times it is enough.
    faint = repeating(0.9)
    faint[round(6 * 0.9 * FRAMES_HZ) :] *= 0.29
    misled = np.roll(faint[round(6 * 0.9 * FRAMES_HZ) :], 3)
    faint[round(6 * 0.9 * FRAMES_HZ) :] = misled
    assert sharpened_s(faint, 0.91) == pytest.approx(0.9, abs=5e-5)
    loud = np.concatenate([faint[: round(6 * 0.9 * FRAMES_HZ)], misled * 0.31 / 0.29])
    assert sharpened_s(loud, 0.91) == pytest.approx(0.9 + 3 / FRAMES_HZ / 16, abs=1e-3)
    assert sharpened_s(loud, 0.91) != pytest.approx(0.9, abs=5e-5)
    # Too short a curve leaves it as it is.
    assert sharpened_s(repeating(0.9)[:180], 0.91) == 0.91


@pytest.mark.parametrize(
    ("three", "top"),
    [
        ((0.0, 1.0, 0.5), 1 / 6),  # .5 (0 - .5) / (0 - 2 + .5)
        ((0.5, 1.0, 0.0), -1 / 6),
        ((0.0, 1.0, 0.0), 0.0),
        ((0.0, 1.0, 3.0), 0.0),  # no top at all
        ((1.0, 1.0, 1.0), 0.0),
        ((0.0, 1.0, 1.9), 0.5),  # half a place at most
        ((1.9, 1.0, 0.0), -0.5),
    ],
)
def test_the_top_of_a_parabola_through_three(three, top):
    assert _bend(np.array(three)) == pytest.approx(top)
