"""Where sounds begin, without lag: peaks of the onset strength, each taken back to its rise.

Peaks as in SuperFlux (Böck and Widmer 2013). The exact place is where a change of variance splits
the samples best (the AIC picker of seismology: Maeda 1985), so attack and not peak is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from liveaid.sound.read import Samples
from liveaid.study.spectrum import FRAMES_HZ, GROUP_EDGES_HZ, GROUPS, HOP, RATE_HZ, Spectrum

Times = npt.NDArray[np.float64]

PEAK_S = 0.03
"""A peak is the largest within so much before and after."""
MEAN_BEFORE_S, MEAN_AFTER_S = 0.10, 0.07
THRESHOLD = 0.08
"""Decades of rise above the local mean. This and the next two were tuned on drum patterns of
recorded single hits, alone and over drones and guitar, against noise and pads."""
USUAL_S, OVER_USUAL = 0.5, 4.0
"""A peak is so many times the median around it: noise rises everywhere and begins nowhere."""
SHARE = 0.08
"""And above its surroundings by this share of the sound's own strong onsets."""
APART_S = 0.03

_BEFORE, _AFTER = 768, 512
"""Samples around a peak in which its beginning is looked for."""
_PAD = 384
_EDGE = 48
_STRIDE = 3
CLEAR_SPLIT = 0.3
"""Gain of a split (nepers of variance) from which no band needs to be looked at by itself."""


@dataclass(frozen=True, slots=True)
class Onsets:
    """Beginnings in rising order."""

    times_s: Times
    strength: npt.NDArray[np.float32]
    """Onset strength at each, all groups together."""
    groups: npt.NDArray[np.float32]
    """(onsets, GROUPS): onset strength by group of bands."""

    def __len__(self) -> int:
        return len(self.times_s)

    def between(self, begin_s: float, end_s: float) -> Onsets:
        """Those from one second on and before another."""
        few = slice(*np.searchsorted(self.times_s, (begin_s, end_s)))
        return Onsets(self.times_s[few], self.strength[few], self.groups[few])


def find_onsets(mono: Samples, spectrum: Spectrum) -> Onsets:
    """The onsets of a mono sound at RATE_HZ."""
    strength = spectrum.strength
    peaks = pick_peaks(strength)
    groups = np.stack([_near(spectrum.rise[:, group], peaks) for group in range(GROUPS)], axis=1)
    times = np.concatenate(
        [np.zeros(0)]
        + [
            _begin_s(mono, peaks[few : few + 512], groups[few : few + 512])
            for few in range(0, len(peaks), 512)
        ]
    )
    order = np.argsort(times, kind="stable")
    times, peaks, groups = times[order], peaks[order], groups[order]
    keep = np.diff(times, prepend=-1.0) >= APART_S / 2
    return Onsets(times[keep], strength[peaks][keep], groups[keep])


def strongest_near(
    onsets: Onsets, times_s: Times, *, before_s: float, after_s: float
) -> npt.NDArray[np.intp]:
    """Index of the strongest onset about each time, the nearer counting more; -1 for none."""
    best = np.full(len(times_s), -1)
    worth = np.zeros(len(times_s))
    first = np.searchsorted(onsets.times_s, times_s - before_s)
    last = np.searchsorted(onsets.times_s, times_s + after_s, side="right")
    # Onsets stand apart, so only a handful lie about any one time.
    for step in range(int((last - first).max(initial=0))):
        at = np.minimum(first + step, len(onsets) - 1)
        away = onsets.times_s[at] - times_s
        near = 1.0 - np.where(away < 0, -away / before_s, away / after_s) / 2
        this = np.where(first + step < last, onsets.strength[at] * near, 0.0)
        best, worth = np.where(this > worth, at, best), np.maximum(this, worth)
    return np.asarray(best, dtype=np.intp)


def pick_peaks(strength: npt.NDArray[np.float32]) -> npt.NDArray[np.intp]:
    """Frames whose strength stands out from their surroundings."""
    if not len(strength):
        return np.zeros(0, dtype=np.intp)
    reach = round(PEAK_S * FRAMES_HZ)
    before, after = round(MEAN_BEFORE_S * FRAMES_HZ), round(MEAN_AFTER_S * FRAMES_HZ)
    highest = scipy.ndimage.maximum_filter1d(strength, 2 * reach + 1, mode="constant")
    mean = scipy.ndimage.uniform_filter1d(
        strength, before + after + 1, mode="constant", origin=(before - after) // 2
    )
    least = np.maximum(mean + THRESHOLD, OVER_USUAL * _usual(strength))
    first = np.flatnonzero((strength >= highest) & (strength >= least))
    if not len(first):
        return first
    strong = float(np.quantile(strength[first], 0.9))
    first = first[strength[first] >= mean[first] + SHARE * strong]
    # Two equal neighbours are one peak.
    return first[np.diff(first, prepend=-reach) >= reach]


def _usual(strength: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The median strength around each frame, by stretches of half a second."""
    length = round(USUAL_S * FRAMES_HZ)
    count = -(-len(strength) // length)
    padded = np.pad(strength, (0, count * length - len(strength)), mode="edge")
    medians = np.median(padded.reshape(count, length), axis=1)
    medians = scipy.ndimage.median_filter(medians, 3, mode="nearest")
    middles = (np.arange(count) + 0.5) * length
    return np.asarray(np.interp(np.arange(len(strength)), middles, medians), dtype=np.float32)


def _near(rise: npt.NDArray[np.float32], peaks: npt.NDArray[np.intp]) -> npt.NDArray[np.float32]:
    """The largest rise within a frame of each peak."""
    at = np.clip(peaks[:, None] + np.arange(-1, 2), 0, max(len(rise) - 1, 0))
    return np.asarray(rise[at].max(axis=1) if len(peaks) else np.zeros(0), dtype=np.float32)


def _begin_s(mono: Samples, peaks: npt.NDArray[np.intp], groups: npt.NDArray[np.float32]) -> Times:
    """Seconds at which the sound behind each peak begins."""
    heard = _around(mono, peaks, 0)
    # The difference of neighbours favours attacks over the tail of a bass.
    place, depth = split_point(np.diff(heard, axis=1, prepend=heard[:, :1]))
    dull = np.flatnonzero(depth < CLEAR_SPLIT)
    if len(dull):
        banded = _bands(_around(mono, peaks[dull], _PAD), np.argmax(groups[dull], axis=1))
        place_band, depth_band = split_point(banded[:, _PAD:-_PAD])
        place[dull] = np.where(depth[dull] >= 0.5 * depth_band, place[dull], place_band)
    begin = np.maximum(peaks * HOP - _BEFORE + place, 0) / RATE_HZ
    return np.asarray(begin, dtype=np.float64)


def _around(mono: Samples, peaks: npt.NDArray[np.intp], pad: int) -> npt.NDArray[np.float32]:
    """(peaks, samples): the sound around each peak, silence beyond its ends."""
    length = _BEFORE + _AFTER + 2 * pad
    rows = np.zeros((len(peaks), length), dtype=np.float32)
    for row, start in zip(rows, peaks * HOP - _BEFORE - pad, strict=True):
        piece = mono[max(start, 0) : start + length]
        row[max(-start, 0) : max(-start, 0) + len(piece)] = piece
    return rows


def _bands(heard: npt.NDArray[np.float32], group: npt.NDArray[np.intp]) -> npt.NDArray[np.float32]:
    """Each row with only the group of bands left that rises most in it."""
    edges = np.array([20.0, *GROUP_EDGES_HZ, RATE_HZ / 2])
    hz = np.fft.rfftfreq(heard.shape[1], 1.0 / RATE_HZ)
    low, high = edges[group][:, None], edges[group + 1][:, None]
    # Slopes of half an octave, so that the filter rings little before the attack.
    octaves = np.log2(np.maximum(hz, 1.0))[None, :]
    rising = np.clip((octaves - np.log2(low)) / 0.5 + 1.0, 0.0, 1.0)
    falling = np.clip((np.log2(high) - octaves) / 0.5 + 1.0, 0.0, 1.0)
    transform = scipy.fft.rfft(heard, axis=1) * (rising * falling).astype(np.float32)
    return np.asarray(scipy.fft.irfft(transform, heard.shape[1], axis=1), dtype=np.float32)


def split_point(rows: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.intp], Times]:
    """Where a change of variance best splits each row, and how much is gained by it.

    AIC(k) = k log var(x[:k]) + (n - k) log var(x[k:]) (Maeda 1985); the gain is per sample,
    against no split at all.
    """
    count = rows.shape[1]
    energy = np.cumsum(np.square(rows), axis=1, dtype=np.float64)
    total = energy[:, -1:] + 1e-20
    k = np.arange(_STRIDE, count - _EDGE, _STRIDE)
    # Digital silence has no variance: 40 dB below the whole is silence enough.
    floor = total / count * 1e-4
    left = energy[:, k - 1]
    before = left / k + floor
    after = (total - left) / (count - k) + floor
    measure = k * np.log(before) + (count - k) * np.log(after)
    measure[after < before] = np.inf  # an end, not a beginning
    best = np.argmin(measure, axis=1)
    least = measure[np.arange(len(rows)), best]
    whole = count * np.log(total[:, 0] / count + floor[:, 0])
    found = np.isfinite(least)
    gain = (whole - np.where(found, least, whole)) / count
    return np.where(found, k[best], _BEFORE), gain
