"""How the keys of two records stand to each other at the speeds they really run at.

A record's key moves with its speed and seldom lands on a key of the table: what is left over is
said in cents of a semitone (equal temperament, A = 440 Hz, ISO 16).
"""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.routine.keys import Key, fifths_apart, relation, shifted

HEARD_CENTS = 5.0
"""About the smallest difference in pitch that is heard (from memory: textbooks of psychoacoustics
give 3 to 6 cents); below it nothing is counted."""
CLASH_CENTS = 50.0
"""Half a semitone: as far from any key as can be."""
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


@dataclass(frozen=True, slots=True)
class KeyMeeting:
    """Two keys heard together."""

    beside: Key
    """The other sound's nearest key, in the tuning of this one."""
    cents_off: float
    """How far it lies above (+) or below (-) that key, -50 to +50."""
    relation: str
    """How that key stands to this sound's key."""
    cost: float
    """0 for one key well in tune, 1 for a clash."""


def meet_keys(sound: Key, other: Key, *, apart_semitones: float) -> KeyMeeting:
    """How two keys stand when the other is moved so many semitones, tuning included."""
    whole = round(apart_semitones)
    beside = shifted(other, whole)
    cents = 100.0 * (apart_semitones - whole)
    return KeyMeeting(beside, cents, relation(sound, beside), key_cost(sound, beside, cents=cents))


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


def _mean_cost() -> float:
    """The cost of two keys nothing is known of: the mean over all keys and all tunings."""
    first = Key(0, "major")
    others = [Key(tonic, "minor") for tonic in range(12)] + [
        Key(tonic, "major") for tonic in range(12)
    ]
    cents = range(-50, 51)
    return sum(key_cost(first, b, cents=c) for b in others for c in cents) / (24 * len(cents))


UNKNOWN_KEY_COST = _mean_cost()
