"""The imprint of spectra written down by hand, its values worked out beside them.

Source of the cosine transform: a flat row has no cepstrum but its mean's; `ortho` scales a row of
one cosine of its own by the root of half its length. Level over time: formulas by hand.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study.imprint import (
    FADER_SPEEDS,
    FARTHEST,
    SPREAD,
    USUAL_VALUES,
    Imprint,
    _at_speed,
    overlaid,
    take_imprint,
)
from liveaid.study.spectrum import BANDS, FRAMES_HZ

SHARES = np.repeat([13.0, 13.0, 5.0, 2.0], (13, 13, 5, 2)) ** -0.5
"""Each of the four looks at timbre counts alike, however many values it has."""


def taken(bands, level_db, *, centroid_hz=999.0, low_share=0.2):
    """The timbre's values in their own units again: cepstra in dB, logs of seconds, logs."""
    spectrum = SimpleNamespace(
        bands=np.asarray(bands), level_db=np.asarray(level_db, dtype=np.float32),
        centroid_hz=centroid_hz, low_share=low_share,
    )  # fmt: skip
    found = take_imprint(spectrum)
    assert found is not None
    return found.timbre.astype(np.float64) / SHARES * np.array(SPREAD) + np.array(USUAL_VALUES)


def flat(frames):
    return np.full((frames, BANDS), 1.0 / BANDS), np.zeros(frames)


def test_an_even_sound_has_no_colour_and_lasts_as_long_as_it_is():
    """Ten seconds: the peak at once, ln(.01); within 6, 15 and 30 dB all of it; its middle half
    a frame before 5 s; the centre ln(999 + 1), a fifth of bass ln(.2 + .001)."""
    frames = round(10 * FRAMES_HZ)
    values = taken(*flat(frames))
    # Values are kept in half precision: a thousandth of a few deviations.
    assert values[:26] == pytest.approx(np.zeros(26), abs=0.03)
    long_s = frames / FRAMES_HZ
    course = [
        0.01,
        long_s + 0.005,
        long_s + 0.01,
        long_s + 0.01,
        (frames - 1) / 2 / FRAMES_HZ + 0.01,
    ]
    assert values[26:31] == pytest.approx(np.log(course), abs=0.01)
    assert values[31:] == pytest.approx(np.log([1000.0, 0.201]), abs=0.01)


def test_a_colour_is_the_cosine_of_its_bands():
    """Bands by a cosine of 10 dB over the whole row: the first cepstrum is 10 times the root of
    half the bands, all others nothing; the same throughout, so that nothing spreads."""
    bands, level_db = flat(40)
    cosine_db = 10.0 * np.cos(np.pi * (np.arange(BANDS) + 0.5) / BANDS)
    values = taken(bands * 10.0 ** (cosine_db / 10.0), level_db)
    assert values[0] == pytest.approx(10.0 * (BANDS / 2) ** 0.5, abs=0.1)
    assert values[1:26] == pytest.approx(np.zeros(25), abs=0.03)


def test_what_is_loud_counts_by_the_root_of_its_power():
    """A frame of a colour c and one of none, of a quarter the power: 2 / 3 and 1 / 3 by weight, so
    the mean is 2 / 3 c and the spread c times the root of 2 / 9."""
    bands, level_db = flat(40)
    cosine_db = 3.0 * np.cos(np.pi * (np.arange(BANDS) + 0.5) / BANDS)
    bands[::2] *= 10.0 ** (cosine_db / 10.0)
    bands[::2] /= bands[::2].sum(axis=1, keepdims=True)
    bands[1::2] /= 4.0
    values = taken(bands, level_db)
    colour_db = 3.0 * (BANDS / 2) ** 0.5
    assert values[0] == pytest.approx(2 / 3 * colour_db, abs=0.1)
    assert values[13] == pytest.approx((2 / 9) ** 0.5 * colour_db, abs=0.1)


@pytest.mark.parametrize(("below_db", "stays"), [(5.0, 3), (10.0, 2), (20.0, 1), (40.0, 0)])
def test_how_long_it_stays_is_counted_within_6_15_and_30_db_of_the_peak(below_db, stays):
    """A second of ten quieter by so much: of the three counts, the last so many hold all ten."""
    bands, _ = flat(round(10 * FRAMES_HZ))
    level_db = np.full(len(bands), -below_db)
    level_db[: round(FRAMES_HZ)] = 0.0
    seconds = np.exp(taken(bands, level_db)[27:30])
    assert (seconds > 5.0).tolist() == [n > 3 - stays for n in (1, 2, 3)]


def test_the_way_to_the_peak_begins_25_db_below_it():
    """Two seconds at -30 dB, one at -20 dB, then the peak: a second's way."""
    second = round(FRAMES_HZ)
    level_db = np.repeat([-30.0, -20.0, 0.0], (2 * second, second, second))
    bands, _ = flat(len(level_db))
    assert np.exp(taken(bands, level_db)[26]) == pytest.approx(second / FRAMES_HZ + 0.01, rel=0.01)


def test_nothing_lies_farther_than_six_deviations():
    """A centre of a billion hertz: (ln 1e9 - 7.28) / 1.02 is 13."""
    values = taken(*flat(40), centroid_hz=1e9)
    assert values[31] == pytest.approx(USUAL_VALUES[31] + FARTHEST * SPREAD[31], abs=0.01)


def test_silence_has_no_imprint():
    silent = SimpleNamespace(bands=np.zeros((40, BANDS)))
    assert take_imprint(silent) is None
    assert take_imprint(SimpleNamespace(bands=np.zeros((0, BANDS)))) is None


def imprint_of(bands):
    """The imprint of a sound with these band powers, its level what they add up to."""
    bands = np.asarray(bands, dtype=np.float64)
    level_db = 10.0 * np.log10(np.maximum(bands.sum(axis=1), 1e-12))
    return take_imprint(
        SimpleNamespace(bands=bands, level_db=level_db, centroid_hz=999.0, low_share=0.2)
    )


@pytest.mark.parametrize("frames", [10, 11, 40])
def test_the_cepstra_are_those_of_the_bands_within_50_db_of_the_loud(frames):
    """The cosine transform written out (ortho: the root of 2 / n before each sum), frames weighed
    by the root of their power. The loud is the upper tenth's level where there are more than ten
    frames, and a quarter of the peak at least; one frame is far louder than all others."""
    bands = 10.0 ** np.random.default_rng(frames).uniform(-9.0, 0.0, (frames, BANDS))
    bands[frames // 2] *= 8.0
    power = bands.sum(axis=1)
    loud = max(power) / 4
    if frames > 10:
        place = 0.9 * (frames - 1)
        below, above = np.sort(power)[int(place)], np.sort(power)[int(place) + 1]
        loud = max(loud, below + (place - int(place)) * (above - below))
    db = 10.0 * np.log10(np.maximum(bands * BANDS / loud, 1e-5))
    turns = np.outer(np.arange(1, 14), np.arange(BANDS) + 0.5) * np.pi / BANDS
    cepstra = db @ (np.cos(turns) * np.sqrt(2.0 / BANDS)).T
    weight = np.sqrt(power) / np.sqrt(power).sum()
    mean = (weight[:, None] * cepstra).sum(axis=0)
    spread = np.sqrt((weight[:, None] * (cepstra - mean) ** 2).sum(axis=0))
    values = taken(bands, 10.0 * np.log10(power))
    limit = FARTHEST * np.array(SPREAD)[:26]
    wanted = np.clip([*mean, *spread], USUAL_VALUES[:26] - limit, USUAL_VALUES[:26] + limit)
    assert values[:26] == pytest.approx(wanted, abs=0.15)


def test_a_picture_begins_with_the_first_sound_and_lasts_256_frames():
    """Steps of 2 / 3 dB. What is 40 dB below the peak, or less, is no beginning and no softer than
    that. A band pair of the whole frame's power is 15 times an even share, 11.76 dB; with 14 pairs
    at -40 dB the mean is -36.55: +72.47 and -5.18 steps."""
    one = np.zeros(BANDS)
    one[4:6] = 0.5
    whole = np.concatenate([np.outer([1e-5, 1e-4], one), np.tile(one, (300, 1))])
    picture = imprint_of(whole).picture
    expected = np.full(15, -5)
    expected[2] = 72
    assert picture.shape == (256, 15)
    assert (picture == expected).all()


def test_a_pictures_level_is_against_the_loudest_frame():
    """An even frame is at 0 dB, one of a hundredth of it at -20: +10 and -10 about the mean."""
    picture = imprint_of(
        np.repeat([[1.0], [0.01]], 4, axis=0) * np.full(BANDS, 1.0 / BANDS)
    ).picture
    assert picture.tolist() == [[15] * 15] * 4 + [[-15] * 15] * 4


def test_the_softest_that_has_an_imprint_is_just_above_a_hundred_decibels_down():
    even = np.zeros((40, BANDS))
    even[:, 3] = 1e-10
    assert imprint_of(even) is None
    assert imprint_of(even * 1.01) is not None


def test_an_imprint_that_was_kept_is_the_same_again():
    found = imprint_of(10.0 ** np.random.default_rng(4).uniform(-6.0, 0.0, (60, BANDS)))
    again = Imprint.from_bytes(found.timbre.tobytes(), found.picture.tobytes())
    assert (again.timbre == found.timbre).all()
    assert (again.picture == found.picture).all()


@pytest.mark.parametrize(
    ("speed", "frames"),
    [
        (1.0, [0, 1, 2, 3, 4, 5]),
        (2.0, [0, 2, 4]),
        (1.5, [0, 2, 3, 4]),  # 0, 1.5, 3 and 4.5 to the even neighbour; 6 is beyond the end
        (0.5, [0, 0, 1, 2, 2, 2, 3, 4, 4, 4, 5, 5]),  # 5.5 stays within
    ],
)
def test_a_faster_record_goes_through_its_picture_sooner(speed, frames):
    picture = np.arange(6, dtype=np.int8)[:, None]
    assert _at_speed(picture, speed)[:, 0].tolist() == frames


def laid_over(one, other):
    """The best normalised correlation over all shifts that leave half of the shorter shared."""
    fits = []
    for shift in range(-len(other) + 1, len(one)):
        a = one[max(shift, 0) : shift + len(other)].astype(float)
        b = other[max(-shift, 0) : max(-shift, 0) + len(a)].astype(float)
        if 2 * len(a) >= min(len(one), len(other)):
            fits.append((a * b).sum() / np.sqrt(max((a * a).sum() * (b * b).sum(), 1.0)))
    return max(fits)


@pytest.mark.parametrize("frames", [49, 50])
def test_pictures_are_laid_over_each_other_at_every_shift_and_fader_speed(frames):
    """Against the sums written out; below fifty frames a speed changes nothing that matters."""
    rng = np.random.default_rng(frames)
    mine = rng.integers(-40, 40, (frames, 15)).astype(np.int8)
    faster = _at_speed(mine, 1.08)
    others = [
        np.concatenate([rng.integers(-40, 40, (20, 15)).astype(np.int8), faster]),
        mine[: frames // 2],
        np.concatenate([rng.integers(-40, 40, (30, 15)).astype(np.int8), mine[: frames // 2]]),
        rng.integers(-40, 40, (90, 15)).astype(np.int8),
        np.zeros((30, 15), np.int8),
    ]
    speeds = FADER_SPEEDS if frames >= 50 else (1.0,)
    wanted = [max(laid_over(_at_speed(mine, speed), each) for speed in speeds) for each in others]
    assert overlaid(mine, others) == pytest.approx(wanted, abs=1e-4)
    assert wanted[1] == 1.0
    assert (wanted[0] > 0.999) == (frames >= 50)


def test_the_speeds_of_a_fader_reach_8_per_cent_either_way():
    """Common practice of turntables: plus and minus eight."""
    assert sorted(FADER_SPEEDS) == pytest.approx(1.0 + 0.02 * np.arange(-4, 5))
    assert overlaid(np.ones((60, 15), np.int8), []).tolist() == []
