"""The steady tone of a sound: its frequency, and from where to where it holds.

Pitch by the difference function of YIN (de Cheveigne and Kawahara, "YIN, a fundamental frequency
estimator for speech and music", JASA 111 (2002)): the first lag at which the cumulative mean
normalised difference dips below a threshold, refined by a parabola through the difference itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import soxr

Samples = npt.NDArray[np.float32]

LOWEST_HZ, HIGHEST_HZ = 60.0, 3200.0
LAGS_A_SECOND = 96_000
"""At the highest pitch a period has thirty lags, so that a parabola through three is within half a
cent of the dip, partials or not; at the eight of 8 kHz it was 30 cents off at 2,000 Hz."""
TONE_THRESHOLD = 0.1
"""As in the paper."""
STEADY_CENTS = 20.0
"""A tone that strays no more than this sounds as one note (common practice, no source)."""
TONE_SHORTEST_S = 0.25
_FRAME_S, _HOP_S = 0.060, 0.010


@dataclass(frozen=True, slots=True)
class Tone:
    """A steady tone."""

    hz: float
    from_s: float
    to_s: float
    stray_cents: float
    """How far it strays from its middle, at most."""


def find_tone(mono: Samples, rate_hz: int) -> Tone | None:
    """The longest steady tone of a sound; None where none holds for SHORTEST_S."""
    fine = soxr.resample(mono, rate_hz, LAGS_A_SECOND)
    frame, hop = round(_FRAME_S * LAGS_A_SECOND), round(_HOP_S * LAGS_A_SECOND)
    starts = range(0, max(len(fine) - frame, 0), hop)
    pitches = np.array([_pitch(fine[at : at + frame]) for at in starts])
    first, last = _longest(pitches)
    if (last - first) * hop < TONE_SHORTEST_S * LAGS_A_SECOND:
        return None
    inside = pitches[first:last]
    middle = float(np.median(inside))
    stray = float(1200.0 * np.abs(np.log2(inside / middle)).max())
    half = 0.5 * frame
    return Tone(
        hz=middle,
        from_s=(first * hop + half) / LAGS_A_SECOND,
        to_s=((last - 1) * hop + half) / LAGS_A_SECOND,
        stray_cents=stray,
    )


def _longest(pitches: npt.NDArray[np.float64]) -> tuple[int, int]:
    """The longest run of frames that all lie near their median; begin and end (exclusive)."""
    best, first = (0, 0), 0
    for last in range(1, len(pitches) + 1):
        while first < last and not _steady(pitches[first:last]):
            first += 1
        if last - first > best[1] - best[0]:
            best = first, last
    return best


def _steady(pitches: npt.NDArray[np.float64]) -> bool:
    if not np.all(pitches > 0.0):
        return False
    return bool(1200.0 * np.log2(pitches.max() / pitches.min()) <= 2.0 * STEADY_CENTS)


def _pitch(frame: Samples) -> float:
    """Hertz of one frame; 0 where it has no pitch from LOWEST_HZ to HIGHEST_HZ."""
    longest = min(round(LAGS_A_SECOND / LOWEST_HZ), len(frame) // 2)
    window = len(frame) - longest
    x = frame.astype(np.float64)
    if float((x**2).mean()) < 1e-8:
        return 0.0
    size = 1 << (len(x) + window).bit_length()
    spectrum = np.fft.rfft(x, size) * np.conj(np.fft.rfft(x[:window], size))
    alike = np.fft.irfft(spectrum, size)[: longest + 1]
    power = np.concatenate([[0.0], np.cumsum(x**2)])
    energy = power[window : window + longest + 1] - power[: longest + 1]
    differs = energy[0] + energy - 2.0 * alike
    means = np.cumsum(differs[1:]) / np.arange(1, longest + 1)
    normal = np.concatenate([[1.0], differs[1:] / np.maximum(means, 1e-12)])
    low = np.flatnonzero(normal[:longest] < TONE_THRESHOLD)
    if not len(low):
        return 0.0
    lag = int(low[0])
    while lag + 1 < longest and normal[lag + 1] < normal[lag]:
        lag += 1
    # The mean that normalises grows with the lag and would draw the dip aside.
    hz = LAGS_A_SECOND / (lag + _dip(differs, lag))
    return hz if hz <= HIGHEST_HZ else 0.0


def _dip(values: npt.NDArray[np.float64], at: int) -> float:
    """Where between the lags a parabola through three is lowest."""
    before, here, after = values[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    return float(0.5 * (before - after) / bend) if bend > 0.0 else 0.0
