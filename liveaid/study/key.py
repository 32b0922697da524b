"""The key of a sound: tonic, mode, and how far it is tuned from A440; percussion has none.

Partials are picked from long spectra, brought to the sound's own tuning, gathered by pitch class,
and compared with the tone profiles that Temperley counted in the Kostka-Payne corpus in all 24 keys
by correlation (Krumhansl 1990, "Cognitive Foundations of Musical Pitch", chapter 4).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.routine.keys import Key
from liveaid.sound.read import Samples
from liveaid.study.spectrum import RATE_HZ

Chroma = npt.NDArray[np.float64]

# Temperley 2007, "Music and Probability", chapter 6: share of the segments of the Kostka-Payne
# corpus in which each degree of the scale occurs. It also stands in music21's discrete analysis.
MAJOR_PROFILE = (0.748, 0.060, 0.488, 0.082, 0.670, 0.460, 0.096, 0.715, 0.104, 0.366, 0.057, 0.400)
MINOR_PROFILE = (0.712, 0.084, 0.474, 0.618, 0.049, 0.460, 0.105, 0.747, 0.404, 0.067, 0.133, 0.330)
# Krumhansl and Kessler 1982, "Tracing the dynamic changes in perceived tonal organization", in
# Psychological Review 89: how well single tones fit. They tell whether there is a key at all, a
# lone note too; counted profiles tell better which (tests/bench/gather.py).
TONE_PROFILES = (
    (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
)

KEY_WINDOW = 8192
STEP = 6144
LOWEST_HZ, HIGHEST_HZ = 55.0, 2000.0
MOST_FRAMES = 500
"""Longer sounds are heard at so many places spread evenly over them."""
PARTIAL_DB = 50.0
"""How far below a frame's strongest partial one still counts."""
HARMONICS = 4
KEY_STRONGEST = 12
"""Peaks of a frame that are looked for in the next: a chord and its strongest harmonics."""
SAME_SEMITONES = 0.25
ENOUGH_FIT, ENOUGH_BOTH = 0.62, 0.82
"""Correlation with the best tone profile, and that plus the tonal share. Drum loops reach 0.61 and
0.77, most tracker music 0.66 and 0.84; tuned drums pass, as they should."""
BASS_WEIGHT, OPENING_WEIGHT = 0.2, 0.15
BASS_BELOW, BASS_OPENING_BELOW = 52.0, 60.0
"""Semitones, middle C being 60: what may count as bass."""
BASS_SHARE = 0.5
"""Of the root of the magnitude of the strongest low partial."""
OPENING_FRAMES = 4


@dataclass(frozen=True, slots=True)
class Tonality:
    """The key heard; `key` is None where the sound has none."""

    key: Key | None
    confidence: float
    tuning_cents: float


@dataclass(frozen=True, slots=True)
class Partials:
    """Peaks of the long spectra, one entry each."""

    frame: npt.NDArray[np.intp]
    semitone: Chroma
    """Pitch above C of A440's own octave zero, in semitones with fractions."""
    weight: Chroma
    frames: int
    duration_s: float
    tonal: float
    """Share of the spectrum's energy that stands in peaks which last."""


def find_key(mono: Samples) -> Tonality:
    """The key of a mono sound at RATE_HZ."""
    partials = find_partials(mono)
    if not len(partials.weight):
        return Tonality(None, 0.0, 0.0)
    cents = tuning_cents(partials)
    return best_key(partials, cents)


def best_key(partials: Partials, cents: float) -> Tonality:
    """The key whose profile the partials fit best, the bass having its say.

    Relative keys share their notes: the bass tells them apart, most of all where the sound
    begins, since pieces rest and begin on their tonic. (Common practice, no source; the weights
    were tuned on synthesised progressions.)
    """
    heard = chroma(partials, cents)
    fit = float(key_fits(heard, TONE_PROFILES).max())
    if fit < ENOUGH_FIT or fit + partials.tonal < ENOUGH_BOTH:
        return Tonality(None, 0.0, 0.0)
    fits = key_fits(heard)
    fits += BASS_WEIGHT * np.tile(bass(partials, cents), 2)
    fits += OPENING_WEIGHT * np.tile(bass(partials, cents, opening=True), 2)
    order = np.argsort(-fits)
    best, margin = int(order[0]), float(fits[order[0]] - fits[order[1]])
    sure = min(fit, 1.0) * (0.5 + 0.5 * min(margin / 0.15, 1.0)) * min(1.0, 0.5 + partials.tonal)
    sure *= min(1.0, partials.duration_s)  # a single hit says little
    return Tonality(Key(best % 12, "major" if best < 12 else "minor"), sure, cents)


def bass(partials: Partials, cents: float, *, opening: bool = False) -> Chroma:
    """(12,): share of the frames whose lowest strong partial is of each pitch class."""
    low = partials.semitone < (BASS_OPENING_BELOW if opening else BASS_BELOW)
    frame, weight = partials.frame[low], partials.weight[low]
    pitch = partials.semitone[low] - cents / 100.0
    loudest = np.zeros(partials.frames)
    np.maximum.at(loudest, frame, weight)
    strong = weight > BASS_SHARE * loudest[frame]
    # Partials stand in rising order within their frame: the first of each is the lowest.
    frames, first = np.unique(frame[strong], return_index=True)
    notes = np.round(pitch[strong][first]).astype(np.int64) % 12
    notes = notes[frames < frames[0] + OPENING_FRAMES] if opening and len(frames) else notes
    return np.bincount(notes, minlength=12) / max(len(notes), 1)


def key_fits(
    heard: Chroma, profiles: Sequence[Sequence[float]] = (MAJOR_PROFILE, MINOR_PROFILE)
) -> Chroma:
    """(24,): correlation with each key's profile, C major first, C minor at 12."""
    if np.ptp(heard) <= 0:
        return np.zeros(24)
    turned = np.array([np.roll(profile, tonic) for profile in profiles for tonic in range(12)])
    return np.asarray(np.corrcoef(heard, turned)[0, 1:])


def find_partials(mono: Samples) -> Partials:
    """Peaks of spectra a third of a second long."""
    magnitude = _spectra(mono)
    hz_bin = RATE_HZ / KEY_WINDOW
    low, high = int(LOWEST_HZ / hz_bin), int(HIGHEST_HZ / hz_bin)
    middle = magnitude[:, low:high]
    loudest = middle.max(axis=1, keepdims=True, initial=0.0)
    peak = (middle > magnitude[:, low - 1 : high - 1]) & (
        middle >= magnitude[:, low + 1 : high + 1]
    )
    peak &= middle > loudest * 10 ** (-PARTIAL_DB / 20)
    peak &= loudest > magnitude.max(initial=0.0) * 1e-3  # frames of silence have no partials
    frame, column = np.nonzero(peak)
    column = column + low
    left, centre, right = (
        np.log(np.maximum(magnitude[frame, column + shift], 1e-12)) for shift in (-1, 0, 1)
    )
    bend = left - 2 * centre + right
    offset = np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    semitone = 69.0 + 12.0 * np.log2((column + np.clip(offset, -0.5, 0.5)) * hz_bin / 440.0)
    size = magnitude[frame, column]
    # The last frame has no next one.
    total = float(np.square(middle[:-1]).sum())
    return Partials(
        frame,
        semitone,
        np.sqrt(size).astype(np.float64),
        len(magnitude),
        len(mono) / RATE_HZ,
        _tonal(frame, semitone, size, total),
    )


def _spectra(mono: Samples) -> npt.NDArray[np.float32]:
    """(frames, bins): magnitude spectra at places spread over the sound, eight at least."""
    short = max(0, 2 * KEY_WINDOW - len(mono))
    padded = np.pad(mono, (0, short)) if short else mono
    count = max(8, min(MOST_FRAMES, 1 + (len(padded) - KEY_WINDOW) // STEP))
    starts = np.linspace(0, len(padded) - KEY_WINDOW, count).astype(np.int64)
    hann = np.hanning(KEY_WINDOW).astype(np.float32)
    bins = int(HIGHEST_HZ * 1.05 * KEY_WINDOW / RATE_HZ)
    spectra = np.empty((count, bins), dtype=np.float32)
    for row, start in enumerate(starts):
        piece = padded[start : start + KEY_WINDOW].astype(np.float32, copy=False)
        np.abs(scipy.fft.rfft(piece * hann)[:bins], out=spectra[row])
    return spectra


def _tonal(
    frame: npt.NDArray[np.intp], semitone: Chroma, size: npt.NDArray[np.float32], total: float
) -> float:
    """Share of the power in each frame's strongest peaks that the next frame has too."""
    if not len(frame) or total <= 0:
        return 0.0
    order = np.lexsort((-size, frame))
    rank = np.empty(len(frame), dtype=np.int64)
    rank[order] = np.arange(len(frame)) - np.searchsorted(frame[order], frame[order])
    strong = rank < KEY_STRONGEST
    place = frame[strong] * 1000.0 + semitone[strong]
    known = np.sort(place)
    at = np.searchsorted(known, place + 1000.0)
    nearest = np.minimum(
        np.abs(known[np.clip(at, 0, len(known) - 1)] - place - 1000.0),
        np.abs(known[np.clip(at - 1, 0, len(known) - 1)] - place - 1000.0),
    )
    # A Hann peak's own bin holds two thirds of the power in its main lobe.
    power = np.square(size[strong].astype(np.float64)) * 1.5
    return float(min(power[nearest < SAME_SEMITONES].sum() / total, 1.0))


def tuning_cents(partials: Partials) -> float:
    """Mean distance of the partials from equal temperament at A440, -50 to 50."""
    turn = np.sum(partials.weight * np.exp(2j * np.pi * partials.semitone))
    return float(np.angle(turn) / (2 * np.pi) * 100.0)


def chroma(partials: Partials, cents: float = 0.0) -> Chroma:
    """(12,): how much of each pitch class sounds, C first; each frame counts alike.

    A partial also speaks for the notes it may be a harmonic of, ever less (Gomez 2006).
    """
    heard = np.zeros(partials.frames * 12)
    for harmonic in range(1, HARMONICS + 1):
        pitch = partials.semitone - cents / 100.0 - 12.0 * np.log2(harmonic)
        near = np.round(pitch)
        share = np.square(np.cos(np.pi * (pitch - near))) * 0.6 ** (harmonic - 1)
        place = partials.frame * 12 + near.astype(np.int64) % 12
        heard += np.bincount(place, partials.weight * share, partials.frames * 12)
    by_frame = heard.reshape(partials.frames, 12)
    loudest = by_frame.max(axis=1, keepdims=True)
    return np.asarray((by_frame / np.maximum(loudest, 1e-12) * np.sqrt(loudest)).sum(axis=0))
