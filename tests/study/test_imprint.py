"""The imprint of spectra written down by hand, its values worked out beside them.

Source of the cosine transform: a flat row has no cepstrum but its mean's; `ortho` scales a row of
one cosine of its own by the root of half its length. Level over time: formulas by hand.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study.imprint import FARTHEST, SPREAD, USUAL_VALUES, take_imprint
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
