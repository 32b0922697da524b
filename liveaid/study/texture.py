"""What a sound is woven of, 25 times a second: what lasts, what strikes, and how pitches glide.

What lasts and what strikes are told apart by median filtering (Fitzgerald, "Harmonic/percussive
separation using median filtering", DAFx 2010): a note is a line along time in the spectrum, a
stroke one across it. Five values spread over each line stand for the seventeen of the paper. How
pitches glide is told by the shift in pitch that best lays one spectrum on the next (the fluctogram
of Lehner, Sonnleitner, Widmer, "Towards light-weight, real-time-capable singing voice detection",
ISMIR 2013). How periodic it is, and at which pitch, comes from the same spectrum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.sound.read import Samples
from liveaid.study.periodicity import find_periods
from liveaid.study.spectrum import HOP, RATE_HZ, Floats

TEXTURE_WINDOW = 2048
TEXTURE_STRIDE = 8
"""Hops of the common spectrum between two frames."""
TEXTURE_STEP = HOP * TEXTURE_STRIDE
TEXTURE_FRAMES_HZ = RATE_HZ / TEXTURE_STEP
BINS = 512
"""As far as 5.5 kHz: above, notes have no lines left to tell from strokes."""
TEXTURE_EDGES_HZ = (15.0, 150.0, 500.0, 2000.0, 5500.0)
"""Kick and bass; body; voice and melody; sibilants, hats, snare. What is below is not heard: an
offset, which what is silent has too once the mean of the whole is taken off."""
TEXTURE_GROUPS = len(TEXTURE_EDGES_HZ) - 1
ALONG_FRAMES, ACROSS_BINS = 2, 4
"""Between the five values: lines of 0.36 s and 180 Hz, as in the paper."""
GLIDE_HZ, GLIDE_PER_OCTAVE, GLIDE_OCTAVES = 300.0, 36, 3
GLIDE_MOST = 4
"""Steps of a 36th of an octave that pitch may move in a frame."""
_TEXTURE_SPAN = 512


@dataclass(frozen=True, slots=True)
class Texture:
    """Frames stand STEP / RATE_HZ seconds apart, the first centred on the first sample."""

    lasting: Floats
    """(frames, GROUPS): power of what lasts, by group of bins."""
    striking: Floats
    """(frames, GROUPS): power of the rest."""
    glide: Floats
    """(frames, GLIDE_OCTAVES): shift of pitch since the frame before, in 36ths of an octave."""
    alike: Floats
    """(frames, GLIDE_OCTAVES): correlation of the two spectra at that shift, 0 to 1."""
    periodic: Floats
    """(frames,): how periodic, 0 to 1."""
    pitch_hz: Floats
    """(frames,): the pitch of that period."""

    def __len__(self) -> int:
        return len(self.lasting)


def weave(mono: Samples) -> Texture:
    """The texture of a mono sound at RATE_HZ."""
    frames = len(mono) // TEXTURE_STEP + 1
    lasting, striking = np.empty((2, frames, TEXTURE_GROUPS), dtype=np.float32)
    glide, alike = np.empty((2, frames, GLIDE_OCTAVES), dtype=np.float32)
    periodic, pitch_hz = np.empty((2, frames), dtype=np.float32)
    reach = 2 * ALONG_FRAMES
    for start in range(0, frames, _TEXTURE_SPAN):
        stop = min(start + _TEXTURE_SPAN, frames)
        # The frames around a span are what its own are compared with.
        size = _magnitudes(mono, start - reach, stop + reach)
        lasting[start:stop], striking[start:stop] = _parted(size)
        glide[start:stop], alike[start:stop] = _glides(size[reach - 1 : -reach])
        found = find_periods(size[reach:-reach], _HANN, RATE_HZ / TEXTURE_WINDOW)
        periodic[start:stop], pitch_hz[start:stop] = found
    return Texture(lasting, striking, glide, alike, periodic, pitch_hz)


def _magnitudes(mono: Samples, start: int, stop: int) -> Floats:
    """(frames, BINS): magnitude of the frames from start to stop, silence beyond the ends."""
    begin, end = (
        start * TEXTURE_STEP - TEXTURE_WINDOW // 2,
        (stop - 1) * TEXTURE_STEP + TEXTURE_WINDOW // 2,
    )
    piece = np.asarray(mono[max(begin, 0) : max(end, 0)], dtype=np.float32)
    piece = np.pad(piece, (max(-begin, 0), max(0, end - max(begin, 0) - len(piece))))
    windows = np.lib.stride_tricks.sliding_window_view(piece, TEXTURE_WINDOW)[::TEXTURE_STEP]
    transform = scipy.fft.rfft(windows * _HANN, axis=1)[:, :BINS]
    return np.asarray(np.abs(transform) * np.float32(4.0 / TEXTURE_WINDOW))


def _parted(size: Floats) -> tuple[Floats, Floats]:
    """Power of what lasts and of what strikes by group; the outermost frames only lend a hand."""
    inner = slice(2 * ALONG_FRAMES, -2 * ALONG_FRAMES)
    count = len(size) - 4 * ALONG_FRAMES
    along = median_of_five(*(size[k * ALONG_FRAMES : k * ALONG_FRAMES + count] for k in range(5)))
    wide = np.pad(size[inner], ((0, 0), (2 * ACROSS_BINS, 2 * ACROSS_BINS)), mode="edge")
    across = median_of_five(*(wide[:, k * ACROSS_BINS : k * ACROSS_BINS + BINS] for k in range(5)))
    along, across = np.square(along), np.square(across)
    power = np.square(size[inner])
    kept = power * (along / (along + across + 1e-20))
    return kept @ _GROUP, (power - kept) @ _GROUP


def median_of_five(a: Floats, b: Floats, c: Floats, d: Floats, e: Floats) -> Floats:
    """The middle of five arrays, value by value, by comparisons alone."""
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e))


def _glides(size: Floats) -> tuple[Floats, Floats]:
    """Shift and likeness of each frame against the one before; size has one frame more in front."""
    log = np.log(size[:, _PITCH_BIN] + 1e-5)
    log = (log * (1 - _PITCH_PART) + np.log(size[:, _PITCH_BIN + 1] + 1e-5) * _PITCH_PART).astype(
        np.float32
    )
    log -= _smooth(log)
    glide, alike = [], []
    for octave in range(GLIDE_OCTAVES):
        first = GLIDE_MOST + octave * GLIDE_PER_OCTAVE
        here = log[1:, first : first + GLIDE_PER_OCTAVE]
        scale = np.sqrt(np.square(here).sum(axis=1)) + 1e-6
        fits = np.empty((2 * GLIDE_MOST + 1, len(here)), dtype=np.float32)
        for row, shift in enumerate(range(-GLIDE_MOST, GLIDE_MOST + 1)):
            past = log[:-1, first - shift : first - shift + GLIDE_PER_OCTAVE]
            fits[row] = (here * past).sum(axis=1)
            fits[row] /= scale * (np.sqrt(np.square(past).sum(axis=1)) + 1e-6)
        best = fits.argmax(axis=0)
        glide.append(best - GLIDE_MOST)
        alike.append(np.maximum(fits.max(axis=0), 0.0))
    return np.stack(glide, axis=1).astype(np.float32), np.stack(alike, axis=1)


def _smooth(log: Floats) -> Floats:
    """Mean over an octave's third about each pitch: the formants, without the partials."""
    width = GLIDE_PER_OCTAVE // 3
    total = np.cumsum(np.pad(log, ((0, 0), (width // 2, width // 2)), mode="edge"), axis=1)
    return np.asarray((total[:, width:] - total[:, :-width]) / width)


def _groups() -> Floats:
    hz = np.arange(BINS) * RATE_HZ / TEXTURE_WINDOW
    group = np.searchsorted(TEXTURE_EDGES_HZ, hz, side="right") - 1
    return np.asarray(group[:, None] == np.arange(TEXTURE_GROUPS), dtype=np.float32)


def _pitches() -> tuple[npt.NDArray[np.int64], Floats]:
    """Bin below each 36th of an octave, and how far towards the next it lies."""
    steps = np.arange(-GLIDE_MOST, GLIDE_OCTAVES * GLIDE_PER_OCTAVE + GLIDE_MOST)
    place = GLIDE_HZ * 2.0 ** (steps / GLIDE_PER_OCTAVE) * TEXTURE_WINDOW / RATE_HZ
    whole = np.floor(place).astype(np.int64)
    return whole, (place - whole).astype(np.float32)


_HANN = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(TEXTURE_WINDOW) / TEXTURE_WINDOW)).astype(
    np.float32
)
_GROUP = _groups()
_PITCH_BIN, _PITCH_PART = _pitches()
