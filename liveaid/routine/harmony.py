"""How two sounds stand to each other in key and in tempo, told alike by check, fit and arrange.

A record's key moves with its speed and seldom lands on a key of the table: each is told as the
nearest key with what is left over in cents of a semitone (equal temperament, A = 440 Hz, ISO 16),
the tuning of the recording included. All limits of the ear stand in one place, below.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

from liveaid.record.platter import pitch_percent, semitones
from liveaid.routine.keys import Key, fifths_apart, relation, shifted

HEARD_CENTS = 5.0
"""About the smallest difference in pitch that is heard (from memory: textbooks of psychoacoustics
give 3 to 6 cents); below it nothing is counted."""
UNEASY_CENTS = 12.0
"""Two records further apart than this beat against each other on held notes (common practice, no
source)."""
SOUR_CENTS = 25.0
"""Two records further apart than this are plainly out of tune: an eighth of a tone (common
practice, no source)."""
CLASH_CENTS = 50.0
"""Half a semitone: as far from any key as can be."""
FAR_FIFTHS = 2
"""More steps than this on the circle of fifths rub when they sound together: such keys are not
closely related (Kostka and Payne, Tonal Harmony, on modulation; from memory), and two steps still
share five of seven notes."""
FIFTHS_COST = (0.0, 0.15, 0.5, 0.75, 0.9, 1.0, 1.0)
"""Cost by steps on the circle of fifths. One step shares all notes of the scale but one: such keys
are called closely related (Kostka and Payne, Tonal Harmony, on modulation; from memory). Five
steps are a semitone apart, six a tritone: they share two notes."""
RELATIVE_COST = 0.05
"""Relative major and minor share every note, but not the tonic."""
PARALLEL_COST = 0.4
"""Parallel major and minor share the tonic and the dominant, though they are three steps apart."""
OTHER_MODE_COST = 0.1
"""On top where a fifth apart in the other mode: the chord on the tonic differs in two notes."""

Tuned: TypeAlias = Literal["in tune", "uneasy", "out of tune"]

READINGS: tuple[Fraction, ...] = (Fraction(1), Fraction(1, 2), Fraction(2))
"""Beats of the second sound counted in one beat of the first: the plainest reading first. Records
at half or double time keep the beat together (common practice, no source)."""
READING_WORDS = {
    Fraction(1): "beat on beat", Fraction(1, 2): "half time", Fraction(2): "double time",
}  # fmt: skip
PLAIN_PERCENT = 25.0
"""A plain reading within this is never replaced by half or double time: no ear takes 100 to 120
BPM for half of 240 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Pitched:
    """A sound's key as it is heard: as recorded, its tuning, and what its record's speed adds."""

    key: Key
    """As recorded, to the nearest key of the table."""
    tuning_cents: float = 0.0
    """How far the recording lies above (+) that key."""
    moved_semitones: float = 0.0
    """What the speed it runs at adds; 0 where it was stretched."""

    @property
    def shift_semitones(self) -> float:
        """All of it: semitones between the key of the table and what is heard."""
        return self.moved_semitones + self.tuning_cents / 100.0

    @property
    def heard(self) -> tuple[Key, float]:
        """The nearest key of the table to what is heard, and cents above (+) it, -50 to +50."""
        whole = round(self.shift_semitones)
        return shifted(self.key, whole), 100.0 * (self.shift_semitones - whole)

    def __str__(self) -> str:
        key, cents = self.heard
        off = f"{key} {cents:+.0f} cents" if round(cents) else str(key)
        return off if key == self.key else f"{off} (from {self.key})"


@dataclass(frozen=True, slots=True)
class KeyMeeting:
    """How two keys stand when they are heard together."""

    beside: Key
    """The other sound's nearest key, in the tuning of this one."""
    cents_off: float
    """How far it lies above (+) or below (-) that key, -50 to +50."""
    relation: str
    """How that key stands to this sound's key."""
    fifths: int
    """Steps between them on the circle of fifths, 0 to 6."""
    cost: float
    """0 for one key well in tune, 1 for a clash."""

    @property
    def tuned(self) -> Tuned:
        """How well in tune the two are, by the limits above."""
        off = abs(self.cents_off)
        return "in tune" if off < UNEASY_CENTS else "uneasy" if off < SOUR_CENTS else "out of tune"

    @property
    def rubs(self) -> bool:
        """Whether their scales share too few notes; parallel keys share their tonic."""
        return self.fifths > FAR_FIFTHS and not self.relation.startswith("parallel")


def meet_keys(sound: Key, other: Key, *, apart_semitones: float) -> KeyMeeting:
    """How two keys stand when the other is moved so many semitones, tuning included."""
    whole = round(apart_semitones)
    beside = shifted(other, whole)
    cents = 100.0 * (apart_semitones - whole)
    return KeyMeeting(
        beside=beside,
        cents_off=cents,
        relation=relation(sound, beside),
        fifths=fifths_apart(sound, beside),
        cost=key_cost(sound, beside, cents=cents),
    )


def meet(sound: Pitched, other: Pitched) -> KeyMeeting:
    """How two sounds stand to each other at the pitch at which each is heard."""
    apart = other.shift_semitones - sound.shift_semitones
    return meet_keys(sound.key, other.key, apart_semitones=apart)


def key_cost(a: Key, b: Key, *, cents: float = 0.0) -> float:
    """What hearing two keys together costs, 0 to 1; being out of tune uses up what is left."""
    untuned = (abs(cents) - HEARD_CENTS) / (CLASH_CENTS - HEARD_CENTS)
    related = relation_cost(a, b)
    return related + (1.0 - related) * min(1.0, max(0.0, untuned))


def relation_cost(a: Key, b: Key) -> float:
    """What the relation of two keys costs, 0 to 1, by the circle of fifths."""
    if a == b:
        return 0.0
    fifths = fifths_apart(a, b)
    if fifths == 0:
        return RELATIVE_COST
    if a.tonic == b.tonic:
        return PARALLEL_COST
    return FIFTHS_COST[fifths] + (OTHER_MODE_COST if fifths == 1 and a.mode != b.mode else 0.0)


@dataclass(frozen=True, slots=True)
class Retuning:
    """A move of the second sound's pitch that brings it in tune, and what it then is."""

    percent: float
    """Pitch on top of what it has."""
    key: Key
    """Its key then, in the first sound's tuning."""
    relation: str


def retunings(sound: Pitched, other: Pitched) -> tuple[Retuning, ...]:
    """The moves up and down that end in tune and in a key that does not rub, the smaller first.

    Not the nearest key of the table: C at +0.77 semitones is 23 cents from C sharp, which rubs
    against C, and 77 cents from C itself.
    """
    apart = other.shift_semitones - sound.shift_semitones
    found = []
    for whole in range(round(apart) - 12, round(apart) + 13):
        key = shifted(other.key, whole)
        meeting = meet_keys(sound.key, other.key, apart_semitones=float(whole))
        if not meeting.rubs:
            percent = 100.0 * (2.0 ** ((whole - apart) / 12.0) - 1.0)
            found.append(Retuning(percent, key, meeting.relation))
    up = min((r for r in found if r.percent >= 0), key=lambda r: r.percent)
    down = max((r for r in found if r.percent <= 0), key=lambda r: r.percent)
    return tuple(sorted({up, down}, key=lambda r: abs(r.percent)))


@dataclass(frozen=True, slots=True)
class TempoStep:
    """From one tempo to another: how the beats are counted together, and the pitch it takes."""

    reading: Fraction
    """Beats of the second counted in one of the first."""
    percent: float
    """Pitch that brings the first tempo onto the second as it is read."""

    @property
    def semitones(self) -> float:
        """Semitones by which that pitch moves a key."""
        return semitones(1.0 + self.percent / 100.0)


def tempo_step(from_bpm: float, to_bpm: float) -> TempoStep:
    """The reading that needs the least pitch; the plain one wherever it is near enough."""
    plain = TempoStep(Fraction(1), pitch_percent(from_bpm, to_bpm))
    if abs(plain.percent) <= PLAIN_PERCENT:
        return plain
    steps = [TempoStep(r, pitch_percent(from_bpm, to_bpm / float(r))) for r in READINGS]
    return min(steps, key=lambda step: abs(step.percent))
