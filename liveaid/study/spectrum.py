"""One spectrum for all: how strongly sound begins in each band, 200 times a second.

The onset strength is the band-wise rise of the log spectrum against a frame two hops back,
widened by one band so that vibrato does not count (SuperFlux: Böck and Widmer, DAFx 2013).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.sound.read import Samples

Floats = npt.NDArray[np.float32]

RATE_HZ = 22050
"""Every sound is studied at this rate: nothing above 11 kHz tells beat or key."""
HOP = 110
SPECTRUM_WINDOW = 512
FRAMES_HZ = RATE_HZ / HOP
LAG = 2
BANDS = 30
LOWEST_HZ, HIGHEST_HZ = 40.0, 10000.0
GROUP_EDGES_HZ = (160.0, 600.0, 2500.0)
"""Kick and bass; body; voice and snare; hats."""
GROUPS = len(GROUP_EDGES_HZ) + 1
SPECTRUM_RANGE_DB = 54.0
"""How far below the loud passages a band still counts."""
COARSE = 8
"""Frames to one of the coarse bands: 25 a second, enough for syllables."""
_SPAN_FRAMES = 512
_SPARSE = 8
"""Every so many frames are enough for the mean spectrum."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Frames stand HOP / RATE_HZ seconds apart, the first centred on the first sample."""

    rise: Floats
    """(frames, GROUPS): onset strength by group of bands."""
    level_db: Floats
    """(frames,): power in dB of full scale, at least -120."""
    centroid_hz: float
    """Centre of the magnitude spectrum over all that sounds."""
    low_share: float
    """Share of the power that lies in the lowest group."""
    bands: Floats
    """(frames / COARSE, BANDS): mean power of each band over so many frames."""

    @property
    def strength(self) -> Floats:
        """(frames,): onset strength of all groups together."""
        return np.asarray(self.rise.sum(axis=1), dtype=np.float32)


def band_edges_hz() -> npt.NDArray[np.float64]:
    """BANDS + 1 edges, even in pitch, none narrower than a bin of the transform."""
    edges = np.geomspace(LOWEST_HZ, HIGHEST_HZ, BANDS + 1)
    bin_hz = RATE_HZ / SPECTRUM_WINDOW
    for band in range(1, BANDS + 1):
        edges[band] = max(edges[band], edges[band - 1] + bin_hz)
    return edges


def _filters() -> tuple[Floats, npt.NDArray[np.intp]]:
    """(bins, BANDS) weights, each bin in one band; and the group of each band."""
    edges = band_edges_hz()
    hz = np.fft.rfftfreq(SPECTRUM_WINDOW, 1.0 / RATE_HZ)
    band = np.searchsorted(edges, hz, side="right") - 1
    weights = np.zeros((len(hz), BANDS), dtype=np.float32)
    inside = (band >= 0) & (band < BANDS)
    weights[np.flatnonzero(inside), band[inside]] = 1.0
    group = np.searchsorted(GROUP_EDGES_HZ, (edges[:-1] + edges[1:]) / 2)
    return weights, group


_WEIGHTS, _GROUP = _filters()
_GROUP_SUM = (np.arange(GROUPS)[None, :] == _GROUP[:, None]).astype(np.float32)
_HANN = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(SPECTRUM_WINDOW) / SPECTRUM_WINDOW)).astype(
    np.float32
)


def analyse(mono: Samples) -> Spectrum:
    """The spectrum's course through a mono sound at RATE_HZ."""
    frames = len(mono) // HOP + 1
    bands = np.empty((frames, BANDS), dtype=np.float32)
    magnitude = np.zeros(SPECTRUM_WINDOW // 2 + 1)
    for start in range(0, frames, _SPAN_FRAMES):
        stop = min(start + _SPAN_FRAMES, frames)
        bands[start:stop], some = _powers(mono, start, stop)
        magnitude += some
    hz = np.fft.rfftfreq(SPECTRUM_WINDOW, 1.0 / RATE_HZ)
    total = float(magnitude.sum())
    power = bands.sum(axis=1)
    groups = bands.sum(axis=0) @ _GROUP_SUM
    return Spectrum(
        rise=_rise(bands, power),
        level_db=_decibels(power),
        centroid_hz=float(magnitude @ hz / total) if total > 0 else 0.0,
        low_share=float(groups[0] / groups.sum()) if groups.sum() > 0 else 0.0,
        bands=_coarse(bands),
    )


def band_powers(mono: Samples) -> Floats:
    """(frames, BANDS): the power of each band, frame by frame; for sounds of a few minutes."""
    frames = len(mono) // HOP + 1
    spans = range(0, frames, _SPAN_FRAMES)
    return np.concatenate([_powers(mono, a, min(a + _SPAN_FRAMES, frames))[0] for a in spans])


def _powers(mono: Samples, start: int, stop: int) -> tuple[Floats, npt.NDArray[np.float64]]:
    """Band powers of the frames from start to stop, and the sum of every eighth spectrum."""
    begin = start * HOP - SPECTRUM_WINDOW // 2
    end = (stop - 1) * HOP + SPECTRUM_WINDOW // 2
    piece = np.asarray(mono[max(begin, 0) : end], dtype=np.float32)
    piece = np.pad(piece, (max(-begin, 0), max(end - len(mono), 0)))
    windows = np.lib.stride_tricks.sliding_window_view(piece, SPECTRUM_WINDOW)[::HOP]
    transform = scipy.fft.rfft(windows * _HANN, axis=1)
    power = np.square(transform.real) + np.square(transform.imag)
    # A full-scale sine has a bin of WINDOW / 4 under a Hann window: bring it to 1.
    power *= (4.0 / SPECTRUM_WINDOW) ** 2
    return power @ _WEIGHTS, np.sqrt(power[::_SPARSE]).sum(axis=0, dtype=np.float64)


def _coarse(bands: Floats) -> Floats:
    """The mean of every COARSE frames; what is left over at the end is a frame of its own."""
    short = np.pad(bands, ((0, -len(bands) % COARSE), (0, 0)), mode="edge")
    return np.asarray(short.reshape(-1, COARSE, BANDS).mean(axis=1))


def _rise(bands: Floats, power: Floats) -> Floats:
    """(frames, GROUPS): rise of the log spectrum, in decades."""
    loud = power[power >= np.quantile(power, 0.8)]
    reference = float(loud.mean()) / BANDS if len(loud) else 0.0
    rise = np.zeros((len(bands), GROUPS), dtype=np.float32)
    if reference <= 1e-14:
        return rise
    scale = np.float32(10 ** (SPECTRUM_RANGE_DB / 10) / reference)
    for start in range(0, len(bands), _SPAN_FRAMES):
        # The frames before a span are what its first frames rise against.
        log = np.log1p(bands[max(start - LAG, 0) : start + _SPAN_FRAMES] * scale)
        rise[start : start + _SPAN_FRAMES] = _rise_of(log, first=start == 0)
    return rise / np.float32(np.log(10.0) * BANDS)


def _rise_of(log: Floats, *, first: bool) -> Floats:
    """(frames, GROUPS): rise against LAG frames before, the earliest frames being only that."""
    widest = log[:-LAG].copy()
    np.maximum(widest[:, 1:], log[:-LAG, :-1], out=widest[:, 1:])
    np.maximum(widest[:, :-1], log[:-LAG, 1:], out=widest[:, :-1])
    rise = np.maximum(log[LAG:] - widest, 0.0) @ _GROUP_SUM
    # What sounds from the first frame on begins there.
    return np.concatenate([log[:LAG] @ _GROUP_SUM * 0.5, rise]) if first else rise


def _decibels(power: Floats) -> Floats:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-12)), dtype=np.float32)
