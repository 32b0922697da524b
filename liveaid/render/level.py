"""Loudness levelled by ITU-R BS.1770, true peak kept below a ceiling.

A passage is brought to the wanted loudness by one gain. Where its peaks would then pass the
ceiling, the peaks alone are turned down, over a few milliseconds, by as much as MOST_LIMITED_DB;
what cannot be had even so stays quieter, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from liveaid.gather.loudness import INTERPOLATOR, TAPS, LoudnessMeter
from liveaid.render.edges import Samples

LOUDNESS_LUFS = -16.0
"""Where every passage is levelled to: room for a scratch's peaks (common practice, no source)."""
CEILING_DBTP = -1.0
"""Highest true peak, after EBU R 128 (2020), which asks for -1 dBTP at most."""
MARGIN_DB = 0.3
"""Kept below the ceiling: what a meter of 4-times oversampling may miss (BS.1770-5 Annex 2)."""
NEAR = 0.4
"""Share of a peak that a sample next to it has at least: 8 dB of overshoot between samples."""
MOST_LIMITED_DB = 9.0
"""The most that peaks are turned down; beyond it a sound would lose its attack."""
WINDOW_S = 0.005
"""Seconds before and after a peak over which it is turned down."""
BLOCK_S = 0.4
"""Length of a gating block in BS.1770; a shorter sound is measured repeated."""
BLOCK_FRAMES = 1 << 16
CLOSE_LU = 0.05
"""Loudness is right when it is this close."""


@dataclass(frozen=True, slots=True)
class Level:
    """What levelling did to one passage."""

    loudness_lufs: float | None
    """Afterwards; None for silence."""
    true_peak_dbtp: float | None
    """Afterwards; None for silence."""
    gain_db: float
    limited_db: float
    """How much the highest peak was turned down."""

    def short_of(self, wanted_lufs: float) -> float:
        """LU by which the passage stays below what was wanted, 0 when it does not."""
        return 0.0 if self.loudness_lufs is None else max(0.0, wanted_lufs - self.loudness_lufs)


def levelled(
    sound: Samples, *, rate_hz: int, wanted_lufs: float, ceiling_dbtp: float = CEILING_DBTP
) -> tuple[Samples, Level]:
    """The sound at the wanted loudness with its true peak below the ceiling, and what it took."""
    loudness, peak = measured(sound, rate_hz=rate_hz)
    if loudness is None or peak is None:
        return sound, Level(None, None, 0.0, 0.0)
    ceiling = ceiling_dbtp - MARGIN_DB
    gain = min(wanted_lufs - loudness, ceiling + MOST_LIMITED_DB - peak)
    if peak + gain <= ceiling:
        return sound * _ratio(gain), Level(loudness + gain, peak + gain, gain, 0.0)
    made = sound
    for _ in range(6):
        made = limited(sound * _ratio(gain), rate_hz=rate_hz, ceiling_dbtp=ceiling)
        now, _peak = measured(made, rate_hz=rate_hz)
        short = wanted_lufs - (now if now is not None else wanted_lufs)
        room = ceiling + MOST_LIMITED_DB - peak - gain
        if abs(short) < CLOSE_LU or room <= 0.0:
            break
        gain += min(short, room)
    after, peak_after = measured(made, rate_hz=rate_hz)
    return made, Level(after, peak_after, gain, peak + gain - (peak_after or 0.0))


def measured(sound: Samples, *, rate_hz: int) -> tuple[float | None, float | None]:
    """Loudness in LUFS and true peak in dBTP; None and None for silence.

    A sound shorter than one gating block is measured end to end with itself, since alone it has
    no loudness by the standard.
    """
    if not np.any(sound):
        return None, None
    block = round(BLOCK_S * rate_hz)
    repeats = 1 if len(sound) >= block else -(-block // len(sound)) + 1
    meter = LoudnessMeter(rate_hz=rate_hz, channels=2)
    for part in _blocks(np.tile(sound, (repeats, 1)) if repeats > 1 else sound):
        meter.hear(part)
    highest = float(np.abs(sound).max())
    peak = float(_peak_by_frame(sound, above=highest).max())
    return meter.integrated_lufs(), 20.0 * math.log10(peak)


def _blocks(sound: Samples) -> Iterator[Samples]:
    for begin in range(0, len(sound), BLOCK_FRAMES):
        yield sound[begin : begin + BLOCK_FRAMES]


def limited(sound: Samples, *, rate_hz: int, ceiling_dbtp: float) -> Samples:
    """The sound with every true peak above the ceiling turned down to it, smoothly around it.

    The gain each frame needs is spread by a running minimum over the window and smoothed by a
    raised-cosine average of the same width, which never rises above the gain needed.
    """
    ceiling = float(_ratio(ceiling_dbtp))
    reach = round(WINDOW_S * rate_hz)
    made = sound.copy()
    for _ in range(4):
        peaks = _peak_by_frame(made, above=ceiling)
        over = np.flatnonzero(peaks > ceiling)
        if not len(over):
            return made
        for few in np.split(over, np.flatnonzero(np.diff(over) > 4 * reach) + 1):
            begin, end = max(few[0] - 2 * reach, 0), few[-1] + 2 * reach + 1
            needed = ceiling / np.maximum(peaks[begin:end], ceiling)
            made[begin:end] *= _smoothed(needed, reach)[:, np.newaxis]
    # Between samples the moving gain itself can leave a hair.
    highest = float(_peak_by_frame(made, above=ceiling).max(initial=ceiling))
    return np.asarray(made * np.float32(ceiling / highest))


def _smoothed(needed: NDArray[np.float64], reach: int) -> NDArray[np.float32]:
    lowest = ndimage.minimum_filter1d(needed, 2 * reach + 1, mode="nearest")
    window = signal.windows.hann(2 * reach + 3)[1:-1]
    padded = np.pad(lowest, reach, mode="edge")
    smooth = signal.fftconvolve(padded, window / window.sum(), mode="valid")
    return np.asarray(np.minimum(smooth, 1.0), dtype=np.float32)


def _peak_by_frame(sound: Samples, *, above: float) -> NDArray[np.float64]:
    """The highest magnitude at each frame and between it and its neighbours, either channel.

    Between samples only where it may pass `above`.
    """
    size = np.abs(sound)
    peaks = np.maximum(size[:, 0], size[:, 1]).astype(np.float64)
    padded = np.pad(sound, ((TAPS - 1, TAPS), (0, 0)))
    for channel in range(2):
        spans = np.lib.stride_tricks.sliding_window_view(padded[:, channel], 2 * TAPS)
        near = np.flatnonzero(size[:, channel] > NEAR * above)
        for few in np.array_split(near, len(near) // BLOCK_FRAMES + 1):
            between = np.abs(spans[few] @ INTERPOLATOR).max(axis=1, initial=0.0)
            peaks[few] = np.maximum(peaks[few], between)
            after = np.minimum(few + 1, len(peaks) - 1)
            peaks[after] = np.maximum(peaks[after], between)
    return peaks


def _ratio(db: float) -> np.float32:
    return np.float32(10.0 ** (db / 20.0))
