"""How two records come to one beat: the pitch of each deck, in per cent, inside its range.

Conventions: `beats` is how many beats the other sound counts in one beat of this one: 1; 2 and
1/2 where one is heard at double or half time; 3/2 and 2/3 where three beats meet two. With tempos
T and U and pitches p and q (as fractions) the beats meet when
``U * (1 + q) = beats * T * (1 + p)``; so only the ratio ``r = (1 + q) / (1 + p) = beats * T / U``
matters for the beat, and for the keys as well, which move apart by ``12 * log2(r)`` semitones
(equal temperament, ISO 16) however the decks share it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.record.platter import semitones
from liveaid.routine.harmony import READINGS

PLAIN_BEATS = tuple(float(reading) for reading in READINGS)
"""Beat on beat, half and double time: what a wanted tempo may be counted as."""
BEATS = (*PLAIN_BEATS, 1.5, 2.0 / 3.0)
"""The readings of a tempo that are tried, the plainest first; three to two is the last resort."""
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two records on one beat."""

    beats: float
    """Beats of the other sound in one beat of this one."""
    ratio: float
    """Speed of the other record over the speed of this one."""
    tempo_bpm: float
    """The tempo this sound then runs at."""
    sound_percent: float
    """Pitch of the deck with this sound."""
    other_percent: float
    """Pitch of the deck with the other sound."""
    other_alone_percent: float | None
    """Pitch of the other deck when this one stays at 0; None when that is out of its range."""
    sound_alone_percent: float | None
    """Pitch of this deck when the other stays at 0; None when that is out of its range."""
    split_percent: tuple[float, float]
    """Pitch of this deck and the other when they share the way evenly, as far as the range lets."""

    @property
    def shift_semitones(self) -> float:
        """Semitones the other sound's key moves as heard against this one's."""
        return semitones(self.ratio)


def meet(
    sound_bpm: float, other_bpm: float, *, beats: float = 1.0, range_percent: float
) -> Meeting | None:
    """How the two tempos come together, or None when the range of both decks does not reach.

    The other deck is moved alone where it can be, else this one alone, else both.
    """
    ratio = beats * sound_bpm / other_bpm
    split = _split(ratio, range_percent / 100.0)
    if split is None:
        return None
    other_alone = within(ratio - 1.0, range_percent / 100.0)
    sound_alone = within(1.0 / ratio - 1.0, range_percent / 100.0)
    if other_alone is not None:
        sound, other = 0.0, other_alone
    elif sound_alone is not None:
        sound, other = sound_alone, 0.0
    else:
        sound, other = split
    return Meeting(
        beats=beats,
        ratio=ratio,
        tempo_bpm=sound_bpm * (1.0 + sound),
        sound_percent=100.0 * sound,
        other_percent=100.0 * other,
        other_alone_percent=None if other_alone is None else 100.0 * other_alone,
        sound_alone_percent=None if sound_alone is None else 100.0 * sound_alone,
        split_percent=(100.0 * split[0], 100.0 * split[1]),
    )


def meetings(
    sound_bpm: float,
    other_bpm: float,
    *,
    range_percent: float,
    readings: Sequence[float] = BEATS,
) -> list[Meeting]:
    """Every reading of the two tempos that the decks can bring together."""
    tried = (
        meet(sound_bpm, other_bpm, beats=beats, range_percent=range_percent) for beats in readings
    )
    return [found for found in tried if found is not None]


def read_plainly(tempo_bpm: float) -> list[float]:
    """A tempo as it may be counted: beat on beat, half and double time."""
    return [tempo_bpm * beats for beats in PLAIN_BEATS]


def reaches(ratio: Floats, range_percent: float) -> npt.NDArray[np.bool_]:
    """Which speed ratios two decks can make between them: up to (1 + p) / (1 - p) either way."""
    up, down = 1.0 + range_percent / 100.0, 1.0 - range_percent / 100.0
    return np.round(np.maximum(ratio, 1.0 / ratio) * down - up, 12) <= 0.0


def needed_range_percent(sound_bpm: float, other_bpm: float) -> float:
    """The smallest pitch range with which the two could meet, both decks moved.

    With fractions p down and p up, ``(1 + p) / (1 - p) = r``, so ``p = (r - 1) / (r + 1)``.
    """
    ratios = (beats * sound_bpm / other_bpm for beats in BEATS)
    return min(100.0 * abs(ratio - 1.0) / (ratio + 1.0) for ratio in ratios)


def _split(ratio: float, reach: float) -> tuple[float, float] | None:
    """Pitches of both decks as fractions, moved by the same ratio; what one cannot, the other does.

    Upwards a fader of so many per cent reaches a little less far, as a ratio, than downwards.
    """
    up = within(min(math.sqrt(max(ratio, 1.0 / ratio)) - 1.0, reach), reach)
    assert up is not None
    down = within((1.0 + up) / max(ratio, 1.0 / ratio) - 1.0, reach)
    if down is None:
        return None
    return (down, up) if ratio >= 1.0 else (up, down)


def within(pitch: float, reach: float) -> float | None:
    """A pitch the fader can be set to, rounding forgiven; None when it lies outside."""
    if round(abs(pitch) - reach, 12) > 0.0:
        return None
    return max(-reach, min(reach, pitch))
