"""How fast the beat goes, roughly: which period of the onset strength a listener would tap.

A period is judged by the autocorrelation at it, at its multiples (bars repeat) and at its parts,
against its thirds, and by how readily people tap it: tempo preference is bell-shaped over log
tempo around 120 BPM (Parncutt 1994; Moelants 2002).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from liveaid.study.spectrum import FRAMES_HZ, Floats

Curve = npt.NDArray[np.float64]

LONGEST_LAG_S = 16.0
SLOWEST_BPM, FASTEST_BPM = 45.0, 220.0
PREFERRED_BPM, PREFERENCE_OCTAVES = 124.0, 0.8
# What counts for a period: autocorrelation at these multiples of it, with these weights. Tuned on
# tracker music of three collections and on drum patterns of recorded hits, at five speeds each;
# tried on three other collections (tests/bench/gather.py).
_MULTIPLES = (1.0, 2.0, 4.0, 0.5, 0.25, 3.0, 1.0 / 3.0, 1.5, 2.0 / 3.0)
_WEIGHTS = np.array((1.0, 1.0, 1.5, 0.6, 0.6, -1.2, -0.3, 0.5, -0.8))
_TOLERANCE = 0.012
_STRETCH_FRAMES = round(180.0 * FRAMES_HZ)


@dataclass(frozen=True, slots=True)
class Pulse:
    """A period the beat may have."""

    period_s: float
    score: float
    """Log of how well it explains the onset strength and suits a tapping foot."""
    agreement: float
    """Autocorrelation at the period, 1 for a perfect repeat."""


def autocorrelation(rise: Floats, *, circular: bool = False) -> Curve:
    """Mean autocorrelation of the groups' onset strength by lag in frames, 1 at lag 0.

    `circular` takes the sound as a loop; lags then run over its whole length.
    """
    if circular:
        return _one_autocorrelation(rise, circular=True)
    parts = np.array_split(rise, max(1, round(len(rise) / _STRETCH_FRAMES)))
    curves = [_one_autocorrelation(part, circular=False) for part in parts]
    shortest = min(len(curve) for curve in curves)
    return np.asarray(np.mean([curve[:shortest] for curve in curves], axis=0))


def _one_autocorrelation(rise: Floats, *, circular: bool) -> Curve:
    count = len(rise)
    lags = count if circular else min(round(LONGEST_LAG_S * FRAMES_HZ), round(count * 0.7))
    size = count if circular else scipy.fft.next_fast_len(count + lags)
    mode: Literal["wrap", "nearest"] = "wrap" if circular else "nearest"
    total, groups = np.zeros(lags), 0
    for group in rise.T:
        smooth = scipy.ndimage.gaussian_filter1d(group.astype(np.float64), 2.0, mode=mode)
        smooth -= scipy.ndimage.uniform_filter1d(smooth, round(FRAMES_HZ), mode=mode)
        transform = scipy.fft.rfft(smooth, size)
        curve = scipy.fft.irfft(np.square(np.abs(transform)), size)[:lags]
        curve /= count if circular else count - np.arange(lags)
        groups += 1
        if curve[0] > 1e-9:
            total += curve / curve[0]
    return total / max(groups, 1)


def preference(bpm: Curve | float) -> Curve:
    """Log of how readily a tempo is tapped, 0 at the preferred one."""
    octaves = np.log2(np.asarray(bpm, dtype=np.float64) / PREFERRED_BPM)
    return np.asarray(-0.5 * np.square(octaves / PREFERENCE_OCTAVES))


def scores(curve: Curve, periods_s: Curve) -> tuple[Curve, Curve]:
    """Score and agreement of each period."""
    at = np.stack([peak_near(curve, periods_s * FRAMES_HZ * k) for k in _MULTIPLES], axis=-1)
    fit = np.maximum(at @ _WEIGHTS, 1e-3)
    return np.log(fit) + preference(60.0 / periods_s), at[..., 0]


def peak_near(curve: Curve, lags: Curve) -> Curve:
    """Largest value within 1.2 % (at least a frame) of each lag; 0 beyond the curve's end."""
    reach = np.maximum(1, np.floor(lags * _TOLERANCE)).astype(np.int64)
    centre = np.round(lags).astype(np.int64)
    widest = int(reach.max(initial=1))
    offset = np.arange(-widest, widest + 1)
    index = centre[:, None] + offset
    valid = (np.abs(offset) <= reach[:, None]) & (index >= 0) & (index < len(curve))
    valid &= (centre + reach < len(curve))[:, None]
    values = np.where(valid, curve[np.clip(index, 0, len(curve) - 1)], -np.inf).max(axis=1)
    return np.where(np.isfinite(values), values, 0.0)


def find_pulses(curve: Curve, *, most: int = 6) -> list[Pulse]:
    """The likeliest periods, best first; empty when the sound is too short to repeat."""
    periods = 60.0 / np.geomspace(SLOWEST_BPM, FASTEST_BPM, 400)
    periods = periods[periods * FRAMES_HZ * 1.02 < len(curve)]
    if not len(periods):
        return []
    score, agreement = scores(curve, periods)
    padded = np.concatenate([[-np.inf], score, [-np.inf]])
    peaks = np.flatnonzero((padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:]))
    best = peaks[np.argsort(-score[peaks])][:most]
    return [
        Pulse(sharpened_s(curve, float(periods[i])), float(score[i]), float(agreement[i]))
        for i in best
    ]


def sharpened_s(curve: Curve, period_s: float) -> float:
    """The period by ever longer multiples of it, as far as the autocorrelation reaches."""
    multiple = 1
    while True:
        lag = period_s * FRAMES_HZ * multiple
        reach = max(2, round(period_s * FRAMES_HZ * 0.03))
        low, high = round(lag) - reach, round(lag) + reach + 1
        if high + 1 >= len(curve) or low < 1:
            return period_s
        peak = low + int(np.argmax(curve[low:high]))
        if curve[peak] < 0.3 * curve[0] and multiple > 4:
            return period_s
        period_s = (peak + _bend(curve[peak - 1 : peak + 2])) / FRAMES_HZ / multiple
        multiple *= 2


def _bend(three: Curve) -> float:
    """Where between three values the top of a parabola through them lies, -0.5 to 0.5."""
    left, middle, right = (float(value) for value in three)
    curvature = left - 2.0 * middle + right
    return float(np.clip(0.5 * (left - right) / curvature, -0.5, 0.5)) if curvature < 0 else 0.0
