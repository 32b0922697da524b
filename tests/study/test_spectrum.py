"""The spectrum that all is told from, against numpy's transform frame by frame and plain sums."""

import itertools

import numpy as np
import pytest

from liveaid.study.spectrum import BANDS, GROUPS, RATE_HZ, analyse, band_edges_hz, band_powers


def test_bands_are_even_in_pitch_from_40_hz_to_10_khz_and_none_narrower_than_a_bin():
    """A bin is 22050 / 512 = 43.07 Hz: the lowest bands are so wide, the upper ones a ratio of
    250 ** (1 / 30)."""
    edges = band_edges_hz()
    assert len(edges) == BANDS + 1 == 31
    assert edges[:4] == pytest.approx(40.0 + 43.066 * np.arange(4), abs=0.01)
    assert np.diff(edges).min() == pytest.approx(43.066, abs=0.001)
    assert edges[16:] == pytest.approx(40.0 * 250.0 ** (np.arange(16, 31) / 30))


def powers(mono):
    """(frames, bins): numpy's transform of 512 samples about every 110th, under a Hann window that
    goes round; a full-scale sine is 1."""
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(512) / 512)
    padded = np.concatenate([np.zeros(256), mono, np.zeros(512)])
    starts = range(0, len(mono) // 110 * 110 + 1, 110)
    rows = [np.fft.rfft(padded[start : start + 512] * hann) for start in starts]
    return np.abs(np.array(rows)) ** 2 * (4 / 512) ** 2


def by_band(rows):
    """Each bin's power in the band it lies in, the lower edge belonging to the band."""
    edges, hz = band_edges_hz(), np.arange(257) * RATE_HZ / 512
    inside = [(low <= hz) & (hz < high) for low, high in itertools.pairwise(edges)]
    return np.array([rows[:, bins].sum(axis=1) for bins in inside]).T


def groups_of(bands):
    """Sums over the bands whose middle lies below 160, 600 and 2500 Hz, and above."""
    edges = band_edges_hz()
    middles = (edges[1:] + edges[:-1]) / 2
    group = np.sum([middles > edge for edge in (160, 600, 2500)], axis=0)
    return np.array([bands[:, group == one].sum(axis=1) for one in range(4)]).T


@pytest.fixture(scope="module")
def swells():
    """Noise that swells and stops, 605 frames and a half of it."""
    rng = np.random.default_rng(2)
    level = np.repeat(10.0 ** rng.uniform(-4.0, 0.0, 61), 1100)[: 605 * 110 + 55]
    return (rng.normal(0.0, 0.2, len(level)) * level).astype(np.float32)


def test_bands_level_and_centre_are_those_of_the_transform(swells):
    rows, found = powers(swells), analyse(swells)
    bands = by_band(rows)
    assert np.allclose(band_powers(swells), bands, rtol=1e-4, atol=1e-9)
    level_db = 10.0 * np.log10(np.maximum(bands.sum(axis=1), 1e-12))
    assert found.level_db == pytest.approx(level_db, abs=1e-3)
    # Every eighth frame is enough for the centre: of each 512 looked at together from the first.
    size = np.sqrt(rows[::8]).sum(axis=0)
    centre_hz = (size * np.arange(257) * RATE_HZ / 512).sum() / size.sum()
    assert found.centroid_hz == pytest.approx(centre_hz, rel=1e-4)
    share = groups_of(bands).sum(axis=0)
    assert found.low_share == pytest.approx(share[0] / share.sum(), rel=1e-4)
    # 606 frames are 75 times eight, and six that are filled up with the last.
    assert found.bands.shape == (76, BANDS)
    assert found.bands[3] == pytest.approx(bands[24:32].mean(axis=0), rel=1e-3)
    last = (bands[600:].sum(axis=0) + 2 * bands[605]) / 8
    assert found.bands[75] == pytest.approx(last, rel=1e-3, abs=1e-9)


def test_onset_strength_is_the_rise_of_the_log_spectrum(swells):
    """SuperFlux (Böck and Widmer 2013) written out: of ln(1 + power over what lies 54 dB below the
    loud fifth) what is more than two frames before in this band and its neighbours; decades, the
    mean over the bands. The first two frames count half, having nothing before them."""
    bands = band_powers(swells).astype(float)
    power = bands.sum(axis=1)
    loud = power[power >= np.quantile(power, 0.8)].mean() / BANDS
    log = np.log(1.0 + bands / loud * 10.0**5.4)
    rise = np.zeros_like(log)
    rise[:2] = log[:2] / 2
    for frame in range(2, len(log)):
        before = np.concatenate([[0.0], log[frame - 2], [0.0]])
        widest = np.max([before[:-2], before[1:-1], before[2:]], axis=0)
        rise[frame] = np.maximum(log[frame] - widest, 0.0)
    wanted = groups_of(rise) / np.log(10.0) / BANDS
    found = analyse(swells)
    assert found.rise == pytest.approx(wanted, abs=1e-4)
    assert found.strength == pytest.approx(wanted.sum(axis=1), abs=2e-4)


def test_a_full_scale_sine_fills_its_own_bin_and_half_of_each_beside_it():
    """The 24th bin, 1033.6 Hz, has a power of 1, those beside it a quarter: 10 log10(1.5) = 1.76
    dB; half as large it is 6.02 dB softer."""
    turns = np.arange(RATE_HZ) * 24 / 512
    for size, level_db in ((1.0, 1.761), (0.5, -4.260)):
        found = analyse((size * np.sin(2 * np.pi * turns)).astype(np.float32))
        assert found.level_db[10:-10] == pytest.approx(level_db, abs=0.01)
        assert found.centroid_hz == pytest.approx(24 * RATE_HZ / 512, rel=0.1)
    low = analyse(np.sin(2 * np.pi * np.arange(RATE_HZ) * 2 / 512).astype(np.float32))
    assert low.low_share == pytest.approx(1.0, abs=0.02)


def test_silence_is_120_db_down_and_has_no_centre_and_no_rise():
    found = analyse(np.zeros(1100, np.float32))
    assert found.level_db.tolist() == pytest.approx([-120.0] * 11)
    assert (found.centroid_hz, found.low_share) == (0.0, 0.0)
    assert found.rise.shape == (11, GROUPS)
    assert not found.rise.any()
    assert analyse(np.zeros(0, np.float32)).level_db.tolist() == pytest.approx([-120.0])
    # What is softer than any sample of 24 bits does not begin anywhere.
    faint = np.random.default_rng(1).normal(0.0, 1e-7, 1100).astype(np.float32)
    assert not analyse(faint).rise.any()
    assert analyse(100 * faint).rise.any()
