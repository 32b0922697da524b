"""Phrases: the stretches of sound between pauses, so that each can be cued.

Two thresholds, so that a phrase neither starts on a breath nor breaks on a consonant. Common
practice of voice activity detection; the figures were tuned on synthesised speech.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, Floats

SMOOTH_S = 0.03
START_DB, STOP_DB = -30.0, -40.0
"""Against the loud passages."""
ABOVE_FLOOR_DB = 9.0
"""And so much above a steady background."""
PAUSE_S = 0.2
"""A shorter gap is within a phrase: stops and plosives last to 0.15 s."""
PHRASES_SHORTEST_S = 0.08
SILENT_DB = -80.0
EDGE_S = 0.06


def find_phrases(
    level_db: Floats, onsets: Onsets, duration_s: float
) -> tuple[tuple[float, float], ...]:
    """Begin and end of each phrase in seconds, in rising order."""
    power = 10.0 ** (level_db.astype(np.float64) / 10.0)
    smooth = scipy.ndimage.uniform_filter1d(power, max(1, round(SMOOTH_S * FRAMES_HZ)))
    level = 10.0 * np.log10(np.maximum(smooth, 1e-12))
    loud, floor = float(np.percentile(level, 95)), float(np.percentile(level, 5))
    if loud < SILENT_DB:
        return ()
    # Where there is a background it is the floor; in music that never pauses the floor is music.
    least = floor + ABOVE_FLOOR_DB if loud - floor > 2 * ABOVE_FLOOR_DB else -np.inf
    start, stop = max(loud + START_DB, least), max(loud + STOP_DB, least - 3.0)
    spans = _joined(_spans(level, start, stop))
    return tuple(
        (_edge(onsets, first / FRAMES_HZ), min(last / FRAMES_HZ, duration_s))
        for first, last in spans
        if (last - first) / FRAMES_HZ >= PHRASES_SHORTEST_S
    )


def _spans(level: npt.NDArray[np.float64], start: float, stop: float) -> list[tuple[int, int]]:
    """Stretches above `stop` that reach `start` somewhere."""
    labels, count = scipy.ndimage.label(level > stop)
    if not count:
        return []
    highest = scipy.ndimage.maximum(level, labels, np.arange(1, count + 1))
    found = scipy.ndimage.find_objects(labels)
    return [
        (where[0].start, where[0].stop)
        for where, peak in zip(found, np.atleast_1d(highest), strict=True)
        if where is not None and peak >= start
    ]


def _joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Neighbours with less than a pause between them as one."""
    joined: list[tuple[int, int]] = []
    for first, last in spans:
        if joined and (first - joined[-1][1]) / FRAMES_HZ < PAUSE_S:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def _edge(onsets: Onsets, begin_s: float) -> float:
    """The onset that begins a phrase, else where its level rose."""
    if len(onsets):
        nearest = float(onsets.times_s[np.argmin(np.abs(onsets.times_s - begin_s))])
        if abs(nearest - begin_s) <= EDGE_S:
            return nearest
    return begin_s


def silence_s(
    level_db: Floats, duration_s: float, *, below_db: float = 60.0
) -> tuple[float, float]:
    """Seconds of silence at both ends: so far below the loud passages, or below -80 dB."""
    loud = float(np.percentile(level_db, 95)) if len(level_db) else SILENT_DB
    sounding = np.flatnonzero(level_db > max(loud - below_db, SILENT_DB))
    if not len(sounding):
        return duration_s, 0.0
    start, end = sounding[0] / FRAMES_HZ, (sounding[-1] + 1) / FRAMES_HZ
    return float(start), max(0.0, duration_s - float(end))
