"""True peaks turned down to a ceiling, smoothly, leaving everything else as it is."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from liveaid.render.edges import Samples
from liveaid.sound.loudness import SPAN, TAPS, interpolator

LIMITER_WINDOW_S = 0.005
"""Seconds before and after a peak over which it is turned down."""
LIMITER_NEAR = 0.4
"""Share of a peak that a sample next to it has at least: 8 dB of overshoot between samples."""
OVERSAMPLING = 8
"""Twice what BS.1770-5 Annex 2 asks of a meter: what is missed is below 0.15 dB, not 0.6."""
AT_ONCE = 1 << 16
"""Places between samples looked at in one go, for the memory's sake."""


_BETWEEN = interpolator(OVERSAMPLING)


def ratio(db: float) -> np.float32:
    """Decibels as a factor of amplitude: 10 ** (db / 20)."""
    return np.float32(10.0 ** (db / 20.0))


def decibels(factor: float) -> float:
    """A factor of amplitude above 0 as decibels: 20 * log10(factor)."""
    return 20.0 * math.log10(factor)


def limited(sound: Samples, *, rate_hz: int, ceiling_dbtp: float) -> tuple[Samples, float]:
    """The sound with every true peak above the ceiling turned down to it, and its peak in dB."""
    ceiling = float(ratio(ceiling_dbtp))
    for _ in range(3):
        peaks = peak_by_frame(sound, above=ceiling)
        if peaks.max(initial=0.0) <= ceiling:
            return sound, decibels(float(peaks.max()))
        sound = turned_down(sound, peaks, ceiling, rate_hz=rate_hz)
    # Between samples the moving gain itself can leave a hair.
    highest = float(peak_by_frame(sound, above=ceiling).max(initial=ceiling))
    return np.asarray(sound * np.float32(ceiling / highest)), ceiling_dbtp


def turned_down(
    sound: Samples, peaks: NDArray[np.float64], ceiling: float, *, rate_hz: int
) -> Samples:
    """The sound with a gain that brings each frame's peak down to the ceiling.

    The gain each frame needs is spread by a running minimum over the window and smoothed by a
    raised-cosine average of the same width, which never rises above the gain needed.
    """
    reach = round(LIMITER_WINDOW_S * rate_hz)
    over = np.flatnonzero(peaks > ceiling)
    made = sound.copy()
    if not len(over):
        return made
    for few in np.split(over, np.flatnonzero(np.diff(over) > 4 * reach) + 1):
        begin, end = max(few[0] - 2 * reach, 0), few[-1] + 2 * reach + 1
        needed = ceiling / np.maximum(peaks[begin:end], ceiling)
        made[begin:end] *= _smoothed(needed, reach)[:, np.newaxis]
    return made


def _smoothed(needed: NDArray[np.float64], reach: int) -> NDArray[np.float32]:
    lowest = ndimage.minimum_filter1d(needed, 2 * reach + 1, mode="nearest")
    padded = np.pad(lowest, reach, mode="edge")
    smooth = signal.oaconvolve(padded, _window(reach), mode="valid")
    return np.asarray(np.minimum(smooth, 1.0), dtype=np.float32)


@lru_cache(maxsize=4)
def _window(reach: int) -> NDArray[np.float64]:
    window = signal.windows.hann(2 * reach + 3)[1:-1]
    return np.asarray(window / window.sum())


def true_peak_db(sound: Samples) -> float:
    """True peak in dB of full scale (ITU-R BS.1770 Annex 2), for a sound that is not silent."""
    return decibels(float(peak_by_frame(sound, above=float(np.abs(sound).max())).max()))


def peak_by_frame(sound: Samples, *, above: float) -> NDArray[np.float64]:
    """The highest magnitude at each frame and between it and its neighbours, either channel.

    Between samples, 8 times oversampled, only where it may pass `above`.
    """
    size = np.abs(sound)
    peaks = np.maximum(size[:, 0], size[:, 1]).astype(np.float64)
    alike = np.array_equal(sound[:, 0], sound[:, 1])
    for channel in (0,) if alike else (0, 1):
        padded = np.pad(sound[:, channel], (TAPS - 1, TAPS))
        spans = np.lib.stride_tricks.sliding_window_view(padded, SPAN)
        high = size[:, channel] > LIMITER_NEAR * above
        high[:-1] |= high[1:]  # the peak may lie on the way up to a high sample, or down from it
        near = np.flatnonzero(high)
        for few in np.array_split(near, len(near) // AT_ONCE + 1):
            if not len(few):
                continue
            between = np.abs(spans[few] @ _BETWEEN).max(axis=1)
            after = np.minimum(few + 1, len(peaks) - 1)
            peaks[few] = np.maximum(peaks[few], between)
            peaks[after] = np.maximum(peaks[after], between)
    return peaks
