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

from liveaid.gather.read import Samples
from liveaid.gather.spectrum import FRAMES_HZ, GROUP_EDGES_HZ, GROUPS, HOP, RATE_HZ, Spectrum

Times = npt.NDArray[np.float64]

PEAK_S = 0.03
"""A peak is the largest within so much before and after."""
MEAN_BEFORE_S, MEAN_AFTER_S = 0.10, 0.07
THRESHOLD = 0.035
"""Decades of rise above the local mean; tuned on drum patterns of recorded single hits."""
SHARE = 0.07
"""And above this share of the strong onsets of the same sound."""
APART_S = 0.03

_BEFORE, _AFTER = 768, 512
"""Samples around a peak in which its beginning is looked for."""
_PAD = 384
_EDGE = 48


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
    first = np.flatnonzero((strength >= highest) & (strength >= mean + THRESHOLD))
    if not len(first):
        return first
    strong = float(np.quantile(strength[first], 0.9))
    first = first[strength[first] >= mean[first] + SHARE * strong]
    # Two equal neighbours are one peak.
    return first[np.diff(first, prepend=-reach) >= reach]


def _near(rise: npt.NDArray[np.float32], peaks: npt.NDArray[np.intp]) -> npt.NDArray[np.float32]:
    """The largest rise within a frame of each peak."""
    at = np.clip(peaks[:, None] + np.arange(-1, 2), 0, max(len(rise) - 1, 0))
    return np.asarray(rise[at].max(axis=1) if len(peaks) else np.zeros(0), dtype=np.float32)


def _begin_s(mono: Samples, peaks: npt.NDArray[np.intp], groups: npt.NDArray[np.float32]) -> Times:
    """Seconds at which the sound behind each peak begins."""
    span = np.arange(-_BEFORE - _PAD, _AFTER + _PAD)
    at = peaks[:, None] * HOP + span
    inside = (at >= 0) & (at < len(mono))
    heard = np.where(inside, mono[np.clip(at, 0, len(mono) - 1)], 0.0).astype(np.float32)
    wide = np.diff(heard, axis=1, prepend=heard[:, :1])  # favours attacks over the tail of a bass
    banded = _bands(heard, np.argmax(groups, axis=1))
    place_wide, depth_wide = split_point(wide[:, _PAD:-_PAD])
    place_band, depth_band = split_point(banded[:, _PAD:-_PAD])
    place = np.where(depth_wide >= 0.5 * depth_band, place_wide, place_band)
    return np.maximum(peaks * HOP + span[_PAD] + place, 0) / RATE_HZ


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
    energy = np.cumsum(np.square(rows, dtype=np.float64), axis=1)
    total = energy[:, -1:] + 1e-20
    k = np.arange(1, count)[None, :]
    # Digital silence has no variance: 80 dB below the whole is silence enough.
    floor = total / count * 1e-4
    before = energy[:, :-1] / k + floor
    after = (total - energy[:, :-1]) / (count - k) + floor
    measure = k * np.log(before) + (count - k) * np.log(after)
    measure[after < before] = np.inf  # an end, not a beginning
    measure[:, -_EDGE:] = np.inf
    best = np.argmin(measure, axis=1)
    least = measure[np.arange(len(rows)), best]
    whole = count * np.log(total[:, 0] / count + floor[:, 0])
    gain = np.where(np.isfinite(least), (whole - least) / count, 0.0)
    return np.where(np.isfinite(least), best + 1, _BEFORE), gain
