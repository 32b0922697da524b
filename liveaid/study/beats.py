"""Beats of played material: a chain of beats that follows a tempo which gives and takes.

Dynamic programming over the onset strength (Ellis 2007, "Beat tracking by dynamic programming"):
a beat is worth the strength under it, less the squared log of how far the step strays.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from liveaid.study.onsets import Onsets, strongest_near
from liveaid.study.spectrum import FRAMES_HZ, Floats

Times = npt.NDArray[np.float64]

TIGHTNESS = 300.0
"""Cost of a step's squared log deviation against strength in standard deviations."""
SNAP_S = 0.04
DECIMATION = 2


def follow_beats(strength: Floats, onsets: Onsets, period_s: float) -> Times:
    """Beat times through the whole sound, drawn to the onsets beside them."""
    period = period_s * FRAMES_HZ / DECIMATION
    course = np.sqrt(_decimated(strength))
    course = scipy.ndimage.gaussian_filter1d(course.astype(np.float64), max(period / 32, 1.0))
    spread = float(course.std())
    if spread <= 0 or len(course) < 2 * period:
        return np.zeros(0)
    frames = _chain(course / spread, period)
    return _snapped(frames * DECIMATION / FRAMES_HZ, onsets)


def _decimated(strength: Floats) -> Floats:
    count = len(strength) // DECIMATION * DECIMATION
    return np.asarray(strength[:count].reshape(-1, DECIMATION).max(axis=1))


def _chain(course: Times, period: float) -> Times:
    """Frames of the best chain of beats."""
    steps = np.arange(round(period / 1.6), round(period * 1.6) + 1)
    cost = TIGHTNESS * np.square(np.log(steps / period))
    longest = int(steps[-1])
    total = np.zeros(len(course) + longest)
    before = np.full(len(course), -1)
    for frame in range(len(course)):
        # Earlier totals, nearest last step first; what lies before the sound is worth nothing.
        earlier = total[frame + longest - steps] - cost
        best = int(earlier.argmax())
        if frame >= steps[best]:
            before[frame] = frame - steps[best]
        total[frame + longest] = course[frame] + max(float(earlier[best]), 0.0)
    ends = np.arange(max(0, len(course) - longest), len(course))
    frame = int(ends[np.argmax(total[ends + longest])])
    frames = []
    while frame >= 0:
        frames.append(frame)
        frame = int(before[frame])
    return np.array(frames[::-1], dtype=np.float64)


def _snapped(beats: Times, onsets: Onsets) -> Times:
    """Each beat on the strongest onset within reach, those without one between their neighbours."""
    if len(beats) < 3:
        return beats
    beside = strongest_near(onsets, beats, before_s=SNAP_S, after_s=SNAP_S)
    found = np.flatnonzero(beside >= 0)
    if len(found) < 2:
        return beats
    shift = onsets.times_s[beside[found]] - beats[found]
    return np.asarray(beats + np.interp(np.arange(len(beats)), found, shift))


def tempo_line(beats: Times) -> tuple[float, float, float]:
    """Mean tempo in BPM, its change from end to end in per cent, and the residual in seconds.

    A parabola through beat times by number: its slope is the period, its bend the drift. The
    residual is the root-mean-square distance from the straight line of one steady tempo.
    """
    index = np.arange(len(beats), dtype=np.float64)
    straight = np.polyfit(index, beats, 1)
    bend, slope, _ = np.polyfit(index, beats, 2) if len(beats) > 3 else (0.0, *straight)
    first, last = slope, slope + 2 * bend * index[-1]
    drift = 100.0 * (first / last - 1.0) if first > 0 and last > 0 else 0.0
    residual = np.sqrt(np.mean(np.square(beats - np.polyval(straight, index))))
    return 60.0 / float(straight[0]), float(drift), float(residual)
