"""How periodic a sound is from frame to frame, and at which pitch: a voice or one note is, several
notes together hardly are, and strokes and noise are not.

The highest peak of the normalised autocorrelation, freed of the window's own (Boersma, "Accurate
short-term analysis of the fundamental frequency and the harmonics-to-noise ratio of a sampled
sound", IFA Proceedings 17, 1993).
"""

from __future__ import annotations

import numpy as np
import scipy.fft

from liveaid.study.spectrum import Floats

PITCHES_HZ = (64.0, 900.0)
"""Deepest and highest pitch looked for."""
NEARLY = 0.9
"""The shortest period is taken that is nearly as good as the best: twice it fits as well."""


def find_periods(size: Floats, window: Floats, bin_hz: float) -> tuple[Floats, Floats]:
    """(frames,) how periodic, 0 to 1, and (frames,) the pitch in Hz.

    `size` is the magnitude of the lowest bins of each frame's spectrum under that window, whose
    bins lie `bin_hz` apart.
    """
    bins = size.shape[1]
    rate_hz = 2.0 * bins * bin_hz
    shortest, longest = (round(rate_hz / hz) for hz in reversed(PITCHES_HZ))
    power = np.pad(np.square(size), ((0, 0), (0, 1)))
    likeness = scipy.fft.irfft(power, axis=1)[:, : longest + 2]
    likeness /= np.maximum(likeness[:, :1], 1e-20) * _own(window, bins, longest + 2)
    inner = likeness[:, shortest:-1]
    peak = (inner > likeness[:, shortest - 1 : -2]) & (inner >= likeness[:, shortest + 1 :])
    height = np.where(peak, inner, 0.0)
    best = height.max(axis=1)
    lag = shortest + np.argmax(height >= NEARLY * best[:, None], axis=1)
    row = np.arange(len(lag))
    before, here, after = (likeness[row, lag + step] for step in (-1, 0, 1))
    # A parabola through three points has its top so far from the middle one.
    beside = 0.5 * (before - after) / np.minimum(before - 2.0 * here + after, -1e-6)
    hz = rate_hz / (lag + np.clip(beside, -0.5, 0.5))
    return np.clip(best, 0.0, 1.0).astype(np.float32), hz.astype(np.float32)


def _own(window: Floats, bins: int, lags: int) -> Floats:
    """The window's own autocorrelation, 1 at no lag, at the rate that so many bins allow."""
    power = np.square(np.abs(scipy.fft.rfft(window.astype(np.float64), 2 * len(window))))
    step = len(window) // (2 * bins)
    own = scipy.fft.irfft(power)[: lags * step : step]
    return np.asarray(own / own[0], dtype=np.float32)
