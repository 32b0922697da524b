"""How periodic a sound is: sums of sines and noise whose answer is known by hand."""

from __future__ import annotations

import numpy as np
import pytest

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
