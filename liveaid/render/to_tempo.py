"""A stretch of a sound brought to tempo by resampling: pitch moves with tempo, as on a platter.

The cut falls between frames of the file as a rule. It is put on a whole frame of the deck by
choosing how many frames before it the resampler starts: of so many starts one lands within a
thousandth of a frame, and the beat is where the map says. Where the two rates stand in so simple
a ratio that none does (a file at half the deck's rate), what is left is moved by a short sinc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import soxr
from scipy import signal

from liveaid.render.edges import FILE_END_S, Samples

CONTEXT = 512
"""Frames on either side that the resampler is given to settle in."""
STARTS = 4096
"""Starts to choose from."""
CLOSE = 0.02
"""A cut this near to a whole frame is on it."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A sound's samples as they lie in its file, brought to two channels."""

    samples: Samples
    rate_hz: int
    loop: bool = False
    """True: after the last frame comes the first again."""

    def between(self, begin: int, end: int) -> Samples:
        """Frames begin to end (end not included); silence outside the file, unless it loops."""
        count = len(self.samples)
        if self.loop:
            return self.samples[np.arange(begin, end) % count]
        inside = self.samples[max(begin, 0) : max(end, 0)]
        before = min(max(-begin, 0), end - begin)
        after = end - begin - before - len(inside)
        return np.pad(inside, ((before, after), (0, 0)))


def recorded(samples: Samples, rate_hz: int, *, loop: bool) -> Recorded:
    """The sound ready to be cut: one channel doubled, the file's end without a click."""
    if samples.ndim == 1:
        samples = samples[:, np.newaxis]
    stereo = np.array(np.broadcast_to(samples, (len(samples), 2)), dtype=np.float32, order="C")
    if not loop:
        end = min(round(FILE_END_S * rate_hz), len(stereo))
        stereo[len(stereo) - end :] *= np.linspace(1.0, 0.0, end, dtype=np.float32)[:, np.newaxis]
    return Recorded(stereo, rate_hz, loop)


def resampled(
    sound: Recorded, *, start_s: float, speed: float, rate_hz: int, before: int, frames: int
) -> Samples:
    """`before` + `frames` frames of the deck, the sound's second `start_s` on frame `before`.

    `speed` is seconds of the sound in one second of the deck: 2 is an octave up.
    """
    start = start_s * sound.rate_hz
    ratio = rate_hz / (sound.rate_hz * speed)
    if abs(ratio - 1.0) < 1e-9:
        begin = round(start) - before
        return sound.between(begin, begin + before + frames)
    first = math.floor(start - (before + CONTEXT) / ratio)
    begin = _best_begin(start, first, ratio)
    end = math.ceil(start + (frames + CONTEXT) / ratio) + 1
    whole = soxr.resample(sound.between(begin, end), 1.0, ratio, quality="HQ")
    exact = (start - begin) * ratio - before
    at = round(exact)
    if abs(exact - at) > CLOSE:
        whole = _later(whole, at - exact)
    return np.asarray(whole[at : at + before + frames], dtype=np.float32)


def _later(sound: Samples, by: float) -> Samples:
    """The sound a part of a frame later: convolved with a windowed sinc of 64 frames."""
    places = np.arange(-32, 33) - by
    kernel = np.sinc(places) * np.i0(8.0 * np.sqrt(np.maximum(0.0, 1.0 - (places / 33) ** 2)))
    kernel /= kernel.sum()
    moved = signal.oaconvolve(sound, kernel[:, np.newaxis], mode="same", axes=0)
    return np.asarray(moved, dtype=np.float32)


def _best_begin(start: float, first: int, ratio: float) -> int:
    """The frame at or before `first` from which the cut lands nearest to a whole deck frame."""
    begins = first - np.arange(STARTS)
    at = (start - begins) * ratio
    return int(begins[np.argmin(np.abs(at - np.rint(at)))])
