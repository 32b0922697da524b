"""Where bars begin: on the beats where harmony changes and the bass strikes.

The change of harmony is the angle between the spectra of a beat and the one before it, by
semitone (after Goto 2001, who takes chord changes for the same end).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.sound.read import Samples
from liveaid.study.spectrum import FRAMES_HZ, RATE_HZ, Spectrum

Values = npt.NDArray[np.float64]

WINDOW = 8192
LOWEST_BIN, HIGHEST_BIN = 20, 900
"""54 Hz to 2.4 kHz."""
START_WORTH = 0.3
"""Standard deviations by which the first beat is likelier a downbeat. (Common practice.)"""
LOOP_WORTH = 0.8
THREE_GAIN = 0.2
"""Three in a bar must repeat so much better than four, which is far commoner."""
FEWEST_BEATS = 8
DOWNBEAT_MOST_BEATS = 600
"""A long sound is judged by so many beats from its start."""


@dataclass(frozen=True, slots=True)
class Bars:
    """Beats in a bar and the index of the beat on the first bar line."""

    metre: int
    first: int
    confidence: float


def find_bars(
    mono: Samples, spectrum: Spectrum, beats_s: Values, *, loop_beats: int | None = None
) -> Bars | None:
    """The bar lines among the beats; None when there are too few beats to tell."""
    if len(beats_s) < FEWEST_BEATS:
        if loop_beats is not None and loop_beats % 4 == 0 and len(beats_s):
            return Bars(4, 0, 0.5)
        return None
    beats_s = beats_s[:DOWNBEAT_MOST_BEATS]
    accent = beat_accents(mono, spectrum, beats_s)
    metre = _metre(accent, loop_beats)
    worth = np.array([accent[start::metre].mean() for start in range(metre)])
    worth[0] += LOOP_WORTH if loop_beats is not None else START_WORTH
    order = np.argsort(-worth)
    margin = float(worth[order[0]] - worth[order[1]])
    # How far a mean of so many beats strays by chance.
    doubt = accent.std() * np.sqrt(2.0 * metre / len(accent)) + 0.2
    return Bars(metre, int(order[0]), float(1.0 - 0.75 * np.exp(-margin / doubt)))


def beat_accents(mono: Samples, spectrum: Spectrum, beats_s: Values) -> Values:
    """(beats,): strike of the bass and change of harmony on each beat, standardised, added."""
    frames = np.round(beats_s * FRAMES_HZ).astype(np.int64)
    near = np.clip(frames[:, None] + np.arange(-2, 4), 0, len(spectrum.rise) - 1)
    return _standard(spectrum.rise[near, 0].max(axis=1)) + _standard(_change(mono, beats_s))


def _change(mono: Samples, beats_s: Values) -> Values:
    """(beats,): 1 - cosine between a beat's log spectrum by semitone and the beat's before."""
    width = min(WINDOW, int(np.median(np.diff(beats_s)) * RATE_HZ))
    hann = np.hanning(width).astype(np.float32)
    semitone = np.round(12.0 * np.log2(np.arange(LOWEST_BIN, HIGHEST_BIN) / LOWEST_BIN))
    _, edges = np.unique(semitone, return_index=True)
    power = np.zeros((len(beats_s), len(edges)))
    for row, start in enumerate((beats_s * RATE_HZ).astype(np.int64)):
        piece = np.asarray(mono[start : start + width], dtype=np.float32)
        spectrum = scipy.fft.rfft(piece * hann[: len(piece)], WINDOW)[LOWEST_BIN:HIGHEST_BIN]
        power[row] = np.add.reduceat(np.square(np.abs(spectrum)), edges)
    log = np.log1p(100.0 * power / max(float(power.mean()), 1e-20))
    log /= np.maximum(np.linalg.norm(log, axis=1, keepdims=True), 1e-9)
    change = np.zeros(len(beats_s))
    change[1:] = 1.0 - np.sum(log[1:] * log[:-1], axis=1)
    change[0] = change[1:].mean()
    return change


def _standard(values: npt.NDArray[np.floating]) -> Values:
    spread = float(values.std())
    return np.asarray((values - values.mean()) / spread if spread > 0 else values * 0.0)


def _metre(accent: Values, loop_beats: int | None) -> int:
    """Four, unless accents come back every three."""
    if len(accent) < 24 or (loop_beats is not None and loop_beats % 3):
        return 4
    three, four = (_repeats(accent, metre) for metre in (3, 4))
    return 3 if three > four + THREE_GAIN else 4


def _repeats(accent: Values, metre: int) -> float:
    """Mean autocorrelation of the accents at one and two bars."""
    power = float(np.mean(np.square(accent))) or 1.0
    return float(
        np.mean([np.mean(accent[lag:] * accent[:-lag]) for lag in (metre, 2 * metre)]) / power
    )
