"""How periodic a sound is: sums of sines and noise whose answer is known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.study.periodicity import find_periods
from liveaid.study.spectrum import RATE_HZ
from liveaid.study.texture import weave

T = np.arange(2 * RATE_HZ) / RATE_HZ


def told(mono: np.ndarray) -> tuple[float, float]:
    """How periodic and at which pitch, by the median over the middle."""
    woven = weave(mono.astype(np.float32))
    return float(np.median(woven.periodic[10:-10])), float(np.median(woven.pitch_hz[10:-10]))


@pytest.mark.parametrize("hz", [82.4, 220.0, 440.0, 700.0])
def test_a_tone_with_partials_is_periodic_at_its_own_pitch(hz):
    """Its autocorrelation is 1 at its period and at twice that, and the shorter one is told."""
    tone = sum(np.sin(2 * np.pi * hz * number * T) / number for number in range(1, 6))
    periodic, pitch_hz = told(0.2 * tone)
    assert periodic == pytest.approx(1.0, abs=0.01)
    assert pitch_hz == pytest.approx(hz, rel=0.003)


@pytest.mark.parametrize("share", [0.9, 0.6])
def test_noise_takes_from_it_by_its_share_of_the_power(share):
    """Boersma 1993, equation 4: at the period the autocorrelation is the tone's share of the
    power. Noise is spread to 11,025 Hz and half of its power lies below 5,512."""
    rng = np.random.default_rng(3)
    tone = np.sin(2 * np.pi * 220.0 * T)
    noise = rng.normal(0, np.sqrt(0.5 * (1 - share) / share * 2), len(T))
    periodic, pitch_hz = told(0.1 * (tone + noise))
    assert periodic == pytest.approx(share, abs=0.05)
    assert pitch_hz == pytest.approx(220.0, rel=0.03)


def test_bare_noise_is_not_periodic():
    assert told(np.random.default_rng(1).normal(0, 0.1, len(T)))[0] < 0.4


def test_a_glide_is_followed():
    """200 Hz and 50 Hz more a second: 225 after half a second."""
    mono = 0.3 * np.sin(2 * np.pi * (200.0 * T + 25.0 * np.square(T)))
    woven = weave(mono.astype(np.float32))
    for second, hz in ((0.5, 225.0), (1.5, 275.0)):
        frame = round(second * len(woven) / (len(mono) / RATE_HZ))
        assert woven.pitch_hz[frame] == pytest.approx(hz, rel=0.005)


def test_a_period_is_the_first_peak_nearly_as_high_as_the_highest():
    """Boersma 1993 written out lag by lag: the sum of each bin's power times a cosine, over the
    window's own at twice as many samples (numpy's correlation); peaks from 12 to 172 lags at 11,025
    Hz, 919 to 64 Hz, the first that has nine tenths of the highest, with a parabola's top."""
    rng = np.random.default_rng(5)
    size = rng.exponential(0.1, (60, 512))
    for row, partial in enumerate(rng.uniform(6.0, 80.0, 40)):  # bins of 10.8 Hz: 65 to 860 Hz
        size[row, np.round(np.arange(1, 6) * partial).astype(int)] += rng.uniform(2.0, 9.0, 5)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(2048) / 2048)
    own = np.correlate(window, window, "full")[2047::2][:174]
    power, lags = size**2, np.arange(174)
    power[:, 1:] *= 2.0
    cosines = np.cos(2 * np.pi * np.outer(np.arange(512), lags) / 1024)
    likeness = (power @ cosines) / power.sum(axis=1, keepdims=True) / (own / own[0])
    told = []
    for row in likeness:
        peaks = [at for at in range(12, 173) if row[at - 1] < row[at] >= row[at + 1]]
        best = max(row[peaks])
        at = next(at for at in peaks if row[at] >= 0.9 * best)
        bend = row[at - 1] - 2 * row[at] + row[at + 1]
        top = at + 0.5 * (row[at - 1] - row[at + 1]) / bend
        told.append((min(best, 1.0), 11_025 / top))
    found = np.array(find_periods(size.astype(np.float32), window, RATE_HZ / 2048)).T
    assert found == pytest.approx(np.array(told), rel=1e-3)
    assert found[:40, 0].mean() > found[40:, 0].mean() + 0.2


def test_silence_has_no_period():
    periodic, hz = find_periods(np.zeros((2, 512), np.float32), np.hanning(2048), RATE_HZ / 2048)
    assert periodic.tolist() == [0.0, 0.0]
    assert hz == pytest.approx(11_025 / 12)
