"""What a sound is like on the whole: how driving it is, and what it is most likely for.

Both are guesses by rules of our own; the shelf lets the performer correct them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.routine.model import Kind
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import Spectrum
from liveaid.study.tempo import Tempo

CALM_ATTACK, DRIVING_ATTACK = 0.5, 8.0
"""Onset strength a second: drones and pads lie about 1, drum loops from 5 to 14."""
DARK_HZ, BRIGHT_HZ = 700.0, 4500.0
CALM_CREST_DB, DENSE_CREST_DB = 22.0, 8.0
WEIGHTS = (0.5, 0.25, 0.25)
LIMITS = (0.35, 0.5, 0.62, 0.74)
"""Between energies 1 to 5; tuned on drones, speech, loops and tracker music."""

SHORT_S = 4.0
VOICE_LOW_SHARE = 0.35
VOICE_PAUSES = (0.04, 0.75)


@dataclass(frozen=True, slots=True)
class Guess:
    """A kind and how sure it is."""

    kind: Kind
    confidence: float


def find_energy(spectrum: Spectrum, onsets: Onsets, *, sounding_s: float, crest_db: float) -> int:
    """1 (calm) to 5 (driving): how much strikes in a second, how bright, how dense it is."""
    if sounding_s <= 0:
        return 1
    attack = max(float(onsets.strength.sum()) / max(sounding_s, 1.0), 1e-6)
    parts = (
        np.log(attack / CALM_ATTACK) / np.log(DRIVING_ATTACK / CALM_ATTACK),
        np.log(max(spectrum.centroid_hz, 1.0) / DARK_HZ) / np.log(BRIGHT_HZ / DARK_HZ),
        (CALM_CREST_DB - crest_db) / (CALM_CREST_DB - DENSE_CREST_DB),
    )
    score = float(np.dot(WEIGHTS, np.clip(parts, 0.0, 1.0)))
    return 1 + int(np.searchsorted(LIMITS, score))


def guess_kind(
    spectrum: Spectrum,
    onsets: Onsets,
    tempo: Tempo,
    *,
    keyed: bool,
    duration_s: float,
    phrases: tuple[tuple[float, float], ...],
) -> Guess:
    """Most likely kind: what has a grid is an instrumental, what pauses like a voice a cappella."""
    if tempo.tempo_bpm is not None and tempo.steady and tempo.confidence >= 0.4:
        return Guess("instrumental", 0.5 + 0.5 * tempo.confidence)
    if _like_voice(spectrum, onsets, duration_s, phrases):
        return Guess("a cappella", 0.6)
    if tempo.tempo_bpm is not None:
        return Guess("instrumental", 0.6)
    if duration_s < SHORT_S:
        return Guess("sample", 0.6)
    return Guess("instrumental" if keyed else "effect", 0.4)


def _like_voice(
    spectrum: Spectrum,
    onsets: Onsets,
    duration_s: float,
    phrases: tuple[tuple[float, float], ...],
) -> bool:
    """Syllables at a voice's pace, pauses between phrases, little below the lowest voice."""
    if duration_s < SHORT_S or not phrases:
        return False
    sounding = sum(end - begin for begin, end in phrases)
    pauses = 1.0 - sounding / duration_s
    pace = len(onsets) / max(sounding, 0.1)
    low, high = VOICE_PAUSES
    return low <= pauses <= high and 1.5 <= pace <= 12 and spectrum.low_share < VOICE_LOW_SHARE
