"""A second, finer look for soft material: pitches that change where nothing strikes.

Windows four times as long tell neighbouring notes apart, so a new chord under a pad that goes on
shows as a rise. It costs more and is blurred in time, so it is only taken where the first look
finds no clear beat.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
import scipy.ndimage

from liveaid.sound.read import Samples
from liveaid.study.onsets import Onsets, pick_peaks, strongest_near
from liveaid.study.spectrum import GROUPS, HOP, RATE_HZ, Floats

SOFT_WINDOW = 2048
STRIDE = 4
"""Hops of the common spectrum between two windows."""
LAG = 2
LOWEST_HZ, HIGHEST_HZ, PER_OCTAVE = 60.0, 6000.0, 24
RANGE_DB = 50.0
_SPAN = 1024


def _weights() -> Floats:
    """(bins, bands): each bin in one of the quarter-tone bands that have any."""
    octaves = np.log2(HIGHEST_HZ / LOWEST_HZ)
    edges = np.geomspace(LOWEST_HZ, HIGHEST_HZ, round(octaves * PER_OCTAVE) + 1)
    band = np.searchsorted(edges, np.fft.rfftfreq(SOFT_WINDOW, 1.0 / RATE_HZ)) - 1
    inside = np.flatnonzero((band >= 0) & (band < len(edges) - 1))
    weights = np.zeros((SOFT_WINDOW // 2 + 1, len(edges) - 1), dtype=np.float32)
    weights[inside, band[inside]] = 1.0
    return np.asarray(weights[:, weights.any(axis=0)])


def soft_rise(mono: Samples) -> Floats:
    """(frames, GROUPS): rise of the fine spectrum, on the frames of the common one."""
    frames = len(mono) // HOP + 1
    padded = np.pad(np.asarray(mono, dtype=np.float32), SOFT_WINDOW // 2)
    windows = np.lib.stride_tricks.sliding_window_view(padded, SOFT_WINDOW)[:: HOP * STRIDE]
    hann = np.hanning(SOFT_WINDOW).astype(np.float32)
    weights, parts = _weights(), []
    for start in range(0, len(windows), _SPAN):
        transform = scipy.fft.rfft(windows[start : start + _SPAN] * hann, axis=1)
        parts.append((np.square(transform.real) + np.square(transform.imag)) @ weights)
    bands = np.concatenate(parts)
    total = bands.sum(axis=1)
    loud = float(total[total >= np.quantile(total, 0.8)].mean()) / bands.shape[1]
    if loud <= 1e-14:
        return np.zeros((frames, GROUPS), dtype=np.float32)
    log = np.log1p(bands * (10 ** (RANGE_DB / 10) / loud))
    widest = scipy.ndimage.maximum_filter1d(log, 3, axis=1)
    rise = np.zeros_like(log)
    # A rise between two windows lies halfway between their centres.
    rise[LAG // 2 : -(LAG // 2)] = np.maximum(log[LAG:] - widest[:-LAG], 0.0)
    groups = np.stack([part.sum(axis=1) for part in np.array_split(rise, GROUPS, axis=1)], axis=1)
    groups /= np.float32(np.log(10.0) * bands.shape[1])
    return np.asarray(np.repeat(groups, STRIDE, axis=0)[:frames])


def soft_onsets(rise: Floats) -> Onsets:
    """Beginnings in soft material, to about a hundredth of a second."""
    strength = np.asarray(rise.sum(axis=1), dtype=np.float32)
    # Each value stands twice: the middle of a peak is between its two frames.
    peaks = pick_peaks(strength)
    return Onsets((peaks + 0.5) * HOP / RATE_HZ, strength[peaks], rise[peaks])


def sharpened(soft: Onsets, sharp: Onsets) -> Onsets:
    """Soft beginnings on the attack of the first look that stands beside them, where one does."""
    beside = strongest_near(sharp, soft.times_s, before_s=0.06, after_s=0.03)
    found = beside >= 0
    if not found.any():
        return soft
    shift = np.where(found, sharp.times_s[beside] - soft.times_s, 0.0)
    shift[~found] = np.median(shift[found])
    return Onsets(soft.times_s + shift, soft.strength, soft.groups)
