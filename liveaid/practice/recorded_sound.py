"""What a recording is compared by: onsets in bands.

They are made blind to level and to the mixer's equaliser: every band is measured against its own
recent past.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

Floats = NDArray[np.float64]

HEARING_RATE_HZ = 24000
"""All comparing is done at this rate; the hand's timing needs no more."""
HOP_S = 0.010
FINE_HOP_S = 0.001
_BANDS_HZ = np.geomspace(80.0, 11000.0, 13)


def at_common_rate(samples: Floats, rate_hz: int) -> Floats:
    """Mono samples, shape (frames,), at the common rate, from (frames,) or (frames, channels)."""
    from scipy.signal import resample_poly  # a second to load, and only recordings need it

    mono = samples.mean(axis=1) if samples.ndim == 2 else samples
    shared = math.gcd(rate_hz, HEARING_RATE_HZ)
    out = resample_poly(mono, HEARING_RATE_HZ // shared, rate_hz // shared)
    return np.asarray(out, float)


def onset_bands(mono: Floats, *, hop_s: float) -> Floats:
    """Rise of the level in each band, shape (frames, bands), against the band's own last second.

    Half-wave rectified difference of the log level over 10 ms, as in Boeck and Widmer, "Maximum
    filter vibrato suppression for onset detection", DAFx (2013), without the vibrato filter.
    """
    level = _magnitudes(mono, size=512, hop=round(hop_s * HEARING_RATE_HZ)) @ _band_matrix(512).T
    typical = level.mean(0) + 1e-12
    loud = np.log1p(level / (0.3 * typical))
    lag = max(1, round(0.010 / hop_s))
    rise = np.maximum(loud[lag:] - loud[:-lag], 0.0)
    rise = np.vstack([np.zeros((lag, rise.shape[1])), rise])
    usual = uniform_filter1d(rise, max(1, round(1.0 / hop_s)), axis=0, mode="nearest")
    return np.asarray(np.minimum(rise / (usual + 0.25 * usual.mean() + 1e-9), 12.0))


def _magnitudes(mono: Floats, *, size: int, hop: int) -> Floats:
    """Spectrum magnitudes, shape (frames, size / 2 + 1), frame k centred on sample k * hop."""
    count = len(mono) // hop + 1
    padded = np.pad(mono, (size // 2, size // 2 + hop)).astype(np.float32)
    window = np.hanning(size).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop][:count]
    parts = [
        np.abs(np.fft.rfft(frames[at : at + 4096] * window, axis=1)).astype(np.float32)
        for at in range(0, len(frames), 4096)
    ]
    return np.concatenate(parts)


def _band_matrix(size: int) -> Floats:
    """Sums of spectrum bins into bands, shape (bands, bins); no band is empty."""
    hz = np.fft.rfftfreq(size, 1 / HEARING_RATE_HZ)
    rows = []
    for low, high in pairwise(_BANDS_HZ):
        inside = (hz >= low) & (hz < high)
        if not inside.any():
            inside = np.arange(len(hz)) == np.abs(hz - math.sqrt(low * high)).argmin()
        rows.append(inside / inside.sum())
    return np.array(rows)
