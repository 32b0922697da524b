"""What a sound is like on the whole: how driving it is, and what it is most likely for.

Both are guesses by rules of our own; the shelf lets the performer correct them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.routine.model import Kind
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import COARSE, FRAMES_HZ, Spectrum
from liveaid.study.tempo import Tempo

ENERGY = (
    # fact, mean, spread, weight
    ("attack: log onset strength a second", 0.485, 1.341, 1.32),
    ("brightness: log Hz", 7.376, 0.583, 0.86),
    ("crest: dB", 14.171, 4.485, -0.68),
    ("fullness: flatness over the bands, dB", -10.584, 6.057, 1.58),
    ("unbroken: share within 10 dB of the loud", 0.768, 0.202, 0.62),
    ("weight: share of the bass, dB", -5.607, 8.485, 1.91),
)
"""Learnt from pairs of 88 sounds labelled by hand from 1 to 5: metal, battle and sad music of
Debian games, loops and drones of sonic-pi-samples, tracker music, piano, speech. Of two sounds
held back that differ in label the more driving one comes out so in .86 of pairs, .92 where they
differ by two. The labels were not kept: tests/bench/played.py judges the weights on others. No open
set with arousal values comes as a package."""
MOST_SPREADS = 2.0
LIMITS = (-2.11, 0.1, 1.77, 3.47)
"""Between energies 1 to 5: halfway between the medians of neighbouring labels, but for the second,
which lies above calm speech and below the drum loops."""
BASS_BANDS = 6
"""To 290 Hz."""

SHORT_S = 4.0
CRY_S = 1.5
"""A shorter shout or word is a sample."""
ENOUGH_VOICE = 0.42
"""Share of voice times the share of nothing else: halfway between speech over music and speech."""
SEVERAL, PIECE_S = 4, 20.0
"""A drone is an effect, a melody is not, nor what goes on for long with strokes in it."""
STRUCK = 0.35
"""Onset strength of a stroke, in decades; the swells of rain and hiss reach 0.25 as a rule."""
RINGS_DB = 1.5
"""Crackle over noise has 1.1 dB at most, a roll on a drum 1.8, drum loops 4.6 to 10.6."""


@dataclass(frozen=True, slots=True)
class KindGuess:
    """A kind and how sure it is."""

    kind: Kind
    confidence: float


def find_energy(spectrum: Spectrum, onsets: Onsets, *, sounding_s: float, crest_db: float) -> int:
    """1 (calm) to 5 (driving): how much strikes, how bright, full, heavy and unbroken it is."""
    power = spectrum.bands.sum(axis=1)
    loud = float(np.quantile(power, 0.9)) if len(power) else 0.0
    if sounding_s <= 0 or loud <= 0:
        return 1
    heard = spectrum.bands[power > 1e-3 * loud]
    floor = loud / heard.shape[1] * 1e-5
    flat = np.mean(_decibels(np.maximum(heard, floor)).mean(axis=1) - _decibels(heard.mean(axis=1)))
    bass = float(heard[:, :BASS_BANDS].sum() / heard.sum())
    facts = (
        np.log(max(float(onsets.strength.sum()) / max(sounding_s, 1.0), 1e-3)),
        np.log(max(spectrum.centroid_hz, 50.0)),
        crest_db,
        float(flat),
        float(np.mean(power > 0.1 * loud)),
        float(_decibels(np.array(bass + 1e-6))),
    )
    score = sum(
        weight * float(np.clip((fact - mean) / spread, -MOST_SPREADS, MOST_SPREADS))
        for fact, (_, mean, spread, weight) in zip(facts, ENERGY, strict=True)
    )
    return 1 + int(np.searchsorted(LIMITS, score))


def _decibels(power: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
    return np.asarray(10.0 * np.log10(power), dtype=np.float64)


def _rings(spectrum: Spectrum, onsets: Onsets) -> bool:
    """Whether strokes leave it louder for a moment than it was before them, as many as a quarter:
    the clicks of a worn record are gone at once."""
    level = _decibels(np.maximum(spectrum.bands.sum(axis=1), 1e-12))
    at = np.round(onsets.times_s * FRAMES_HZ / COARSE).astype(np.int64)
    before, after = (level[np.clip(at + step, 0, len(level) - 1)] for step in (-1, 2))
    return bool(np.quantile(after - before, 0.75) >= RINGS_DB)


def guess_kind(
    spectrum: Spectrum,
    onsets: Onsets,
    tempo: Tempo,
    *,
    keyed: bool,
    duration_s: float,
    voice: tuple[float, float],
) -> KindGuess:
    """Most likely kind. Voice comes first: speech on the beat is a cappella, grid or no grid.

    `voice`: of what sounds, how much has a voice, and how much has anything else.
    """
    bare = voice[0] * (1.0 - voice[1])
    if bare >= ENOUGH_VOICE:
        return KindGuess("a cappella" if duration_s >= CRY_S else "sample", 0.5 + 0.5 * bare)
    if tempo.tempo_bpm is not None and (tempo.steady or tempo.confidence >= 0.4):
        return KindGuess("instrumental", 0.5 + 0.5 * tempo.confidence)
    if tempo.tempo_bpm is not None:
        return KindGuess("instrumental", 0.6)
    if duration_s < SHORT_S:
        return KindGuess("sample", 0.6)
    tune = len(onsets) >= SEVERAL and (
        keyed
        or (
            duration_s >= PIECE_S
            and float(np.median(onsets.strength)) >= STRUCK
            and _rings(spectrum, onsets)
        )
    )
    return KindGuess("instrumental" if tune else "effect", 0.5)
