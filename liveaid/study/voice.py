"""Whether and where there is a voice: each second judged by how it sounds and how it moves.

What is measured: the shape of the spectrum and how it changes from frame to frame (cepstra of the
bands, after Davis and Mermelstein 1980), how level pulses at the pace of syllables (2.5 to 7 Hz,
Scheirer and Slaney 1997), how pitches glide (Lehner, Sonnleitner, Widmer 2013), how periodic it is
and how the pitch of that moves, what lasts and what strikes. Two logistic regressions say from
these and their squares how likely a voice is, and how likely anything else is (voice_weights;
tests/bench/learn.py learns them).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.study.spectrum import BANDS, COARSE, FRAMES_HZ, Spectrum
from liveaid.study.texture import Texture
from liveaid.study.voice_weights import MEAN, OTHER, OTHER_BASE, SCALE, VOICE, VOICE_BASE

Values = npt.NDArray[np.float64]

COARSE_HZ = FRAMES_HZ / COARSE
WINDOW_FRAMES = 32
"""A judgement is of 1.3 s: four or five syllables."""
STRIDE_FRAMES = 8
CEPSTRA = 10
FLOOR_DB = 55.0
"""Below the loud passages nothing is told."""
SYLLABLES_HZ = (2.5, 7.0)
PERIODIC = 0.8
"""Of one voice or one note."""
STILL_CENTS, LEAP_CENTS = 6.0, 100.0
"""From one frame to the next, 40 ms on."""
_VOICE_SPAN = 256
"""Windows looked at together: more would not fit the processor's cache."""
VOICE_MOST = 4.0
"""Standard deviations: what lies beyond any example counts as the farthest of them."""
VOICE_SILENT_DB = -35.0
"""Windows so far below the loud passages are not judged."""


def features(spectrum: Spectrum, texture: Texture) -> tuple[Values, Values]:
    """(windows, features) and (windows,): what is measured in each window, and its level in dB."""
    frames = min(len(spectrum.bands), len(texture))
    power = spectrum.bands[:frames].astype(np.float64)
    loud = float(np.quantile(power.sum(axis=1), 0.9)) if frames else 0.0
    reference = max(loud / BANDS, 1e-12)
    log = 10.0 * np.log10(np.maximum(power / reference, 10.0 ** (-FLOOR_DB / 10.0)))
    level = 10.0 * np.log10(np.maximum(power.sum(axis=1) / max(loud, 1e-12), 1e-6))
    cepstra = scipy.fft.dct(log, axis=1, norm="ortho")[:, : CEPSTRA + 1]
    moves = np.abs(np.diff(cepstra, axis=0, prepend=cepstra[:1]))
    lasting, striking = texture.lasting[:frames], texture.striking[:frames]
    share = lasting / (lasting + striking + 1e-9 * reference)
    body = np.log10(np.maximum((lasting + striking)[:, 1:] / reference, 1e-6))
    gliding = np.abs(texture.glide[:frames]) * (texture.alike[:frames] > 0.6)
    by_frame = np.concatenate(
        [
            cepstra[:, 1:],
            moves,
            share,
            body,
            texture.alike[:frames],
            gliding,
            _pitched(texture, frames),
        ],
        axis=1,
    )
    places = np.array(starts(frames))
    width = min(WINDOW_FRAMES, frames)
    rows, mean = [], []
    for few in range(0, len(places), _VOICE_SPAN):
        inside = places[few : few + _VOICE_SPAN, None] + np.arange(width)
        rows.append(_rows(by_frame[inside], level[inside]))
        mean.append(10.0 * np.log10(np.mean(10.0 ** (level[inside] / 10.0), axis=1)))
    return np.concatenate(rows), np.concatenate(mean)


def _pitched(texture: Texture, frames: int) -> Values:
    """(frames, 5): how periodic; whether so as one voice or note is; by how much of a semitone its
    pitch moves; whether it stands still, as an instrument's does and no voice's; whether it leaps.
    """
    periodic = texture.periodic[:frames].astype(np.float64)
    one = (periodic > PERIODIC).astype(np.float64)
    both = one * np.concatenate([[0.0], one[:-1]])
    octaves = np.log2(texture.pitch_hz[:frames].astype(np.float64))
    cents = 1200.0 * np.abs(np.diff(octaves, prepend=octaves[:1]))
    near = both * (cents < LEAP_CENTS)
    moved = near * np.minimum(cents, LEAP_CENTS) / LEAP_CENTS
    return np.stack([periodic, one, moved, near * (cents < STILL_CENTS), both - near], axis=1)


def starts(frames: int) -> range:
    """First frame of each window; a short sound is one window."""
    return range(0, max(frames - WINDOW_FRAMES, 0) + 1, STRIDE_FRAMES)


def _rows(by_frame: Values, level: Values) -> Values:
    """(windows, features) of (windows, frames, facts); frames count as they are loud."""
    loudest = np.maximum(level.max(axis=1, keepdims=True), -60.0)
    weight = 10.0 ** (np.maximum(level - loudest, -40.0) / 20.0)
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1e-9)
    mean = np.einsum("wf,wfk->wk", weight, by_frame)
    shape = by_frame[:, :, :CEPSTRA]
    squares = np.einsum("wf,wfk->wk", weight, np.square(shape - mean[:, None, :CEPSTRA]))
    steady = level - level.mean(axis=1, keepdims=True)
    pulse = np.square(np.abs(np.fft.rfft(steady * np.hanning(level.shape[1]), 64, axis=1)))
    hz = np.fft.rfftfreq(64, 1.0 / COARSE_HZ)
    inside = (hz >= SYLLABLES_HZ[0]) & (hz <= SYLLABLES_HZ[1])
    paced = pulse[:, inside].sum(axis=1) / np.maximum(pulse[:, 1:].sum(axis=1), 1e-9)
    quiet = np.mean(level < loudest - 20.0, axis=1)
    rest = np.stack([paced, quiet, level.std(axis=1)], axis=1)
    return np.concatenate([mean, np.sqrt(np.maximum(squares, 0.0)), rest], axis=1)


@dataclass(frozen=True, slots=True)
class Voice:
    """How likely a voice, and how likely anything else, is in each window."""

    middles_s: Values
    level_db: Values
    """Against the loud passages."""
    voice: Values
    """Probability of a voice, alone or over music."""
    other: Values
    """Probability of anything but a voice."""

    def at(self, times_s: Values) -> tuple[Values, Values]:
        """Probability of a voice, and of a voice with nothing else, at some seconds."""
        if not len(self.middles_s):
            return np.zeros(len(times_s)), np.zeros(len(times_s))
        heard = self.level_db > VOICE_SILENT_DB
        voice = np.interp(times_s, self.middles_s, np.where(heard, self.voice, 0.0))
        other = np.interp(times_s, self.middles_s, np.where(heard, self.other, 1.0))
        return voice, np.minimum(voice, 1.0 - other)

    def share(self) -> tuple[float, float]:
        """Of what sounds, how much has a voice, and how much has anything else."""
        heard = self.level_db > VOICE_SILENT_DB
        if not heard.any():
            return 0.0, 0.0
        return float(self.voice[heard].mean()), float(self.other[heard].mean())


def find_voice(spectrum: Spectrum, texture: Texture) -> Voice:
    """The voice in a sound."""
    measured, level = features(spectrum, texture)
    seen = widened(measured, np.array(MEAN), np.array(SCALE))
    voice = seen @ np.array(VOICE) + VOICE_BASE
    other = seen @ np.array(OTHER) + OTHER_BASE
    frames = min(len(spectrum.bands), len(texture))
    middles = np.array(starts(frames)) + min(WINDOW_FRAMES, frames) / 2
    return Voice(middles / COARSE_HZ, level, _probability(voice), _probability(other))


def widened(measured: Values, mean: Values, scale: Values) -> Values:
    """(windows, 2 x features): each feature in standard deviations, and its square, so that what
    lies between a voice's usual bounds can be told from what lies beyond on either side."""
    standard = np.clip((measured - mean) / scale, -VOICE_MOST, VOICE_MOST)
    return np.concatenate([standard, np.square(standard)], axis=1)


def _probability(odds: Values) -> Values:
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))
