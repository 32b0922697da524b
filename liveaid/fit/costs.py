"""What each difference between two sounds costs on a platter, and how much of the score it takes.

Costs run from 0 to 1 and are the same whichever of the two sounds is asked about. What was
measured with doubt is drawn towards the dearest it may hide: an unknown is never a bargain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.routine.harmony import (
    CLASH_CENTS,
    HEARD_CENTS,
    relation_cost,
)
from liveaid.routine.keys import EVERY_KEY
from liveaid.routine.model import Kind
from liveaid.shelf.crate_facts import KINDS, CrateFacts, Floats

WEIGHTS: dict[str, float] = {
    "pitch": 0.15,  # a record far from its speed sounds like another record
    "reading": 0.15,  # at half or double time only every second beat meets
    "beat": 0.15,  # a tempo that is guessed or drifts has to be ridden by hand
    "key": 0.25,  # nothing is heard sooner than a clash of keys
    "kind": 0.10,  # two voices at once hide each other's words
    "energy": 0.10,  # a jump in energy breaks the line of the routine, or makes it: mild
    "length": 0.05,  # loops that divide each other meet again at the bar line
    "loudness": 0.05,  # the mixer's gain mends it
}
"""Share of each cost in the score; they sum to 1. Set by ear's common practice, no source."""

FULL_PITCH_SEMITONES = 2.0
"""A whole tone apart (12.2 %) costs all of the pitch share: a voice is then another voice."""
READING_COST = {1.0: 0.0, 0.5: 0.5, 2.0: 0.5, 1.5: 1.0, 2 / 3: 1.0}
"""What counting the beats together costs: at half and double time every second beat of one still
meets a beat of the other, at three to two only every third (common practice, no source)."""
CUED_COST = 0.5
"""A sound worked by hand needs no common tempo, but the hand must bring the time itself."""
FREE_COST = 1.0
"""A long sound without a tempo cannot be worked through: it just lies underneath."""
FULL_DRIFT_PERCENT = 2.0
"""A tempo that wanders so much over the sound costs all of the beat share."""
FULL_LOUDNESS_LU = 12.0
"""About what a mixer's gain can make up (common practice, no source)."""
UNLOOPED_COST = 0.5
"""Sounds that are no loops end somewhere: a hand has to bring one of them back."""
KIND_COST: dict[frozenset[Kind], float] = {
    frozenset({"instrumental", "a cappella"}): 0.0,
    frozenset({"instrumental", "sample"}): 0.2,
    frozenset({"instrumental", "effect"}): 0.2,
    frozenset({"a cappella", "effect"}): 0.3,
    frozenset({"a cappella", "sample"}): 0.4,
    frozenset({"instrumental"}): 0.4,
    frozenset({"sample", "effect"}): 0.4,
    frozenset({"sample"}): 0.5,
    frozenset({"effect"}): 0.6,
    frozenset({"a cappella"}): 1.0,
}
"""What two kinds at once cost (common practice, no source)."""
_KIND_TABLE = np.array([[KIND_COST[frozenset({a, b})] for b in KINDS] for a in KINDS])
_KEY_TABLE = np.array([[relation_cost(a, b) for b in EVERY_KEY] for a in EVERY_KEY])


@dataclass(frozen=True, slots=True)
class Cost:
    """One share of the score: what it is, how much of its weight it takes, and the numbers."""

    term: str
    weight: float
    cost: float

    @property
    def points(self) -> float:
        """Points out of 100 it takes off the score."""
        return 100.0 * self.weight * self.cost


def costs_of(
    sound: CrateFacts,
    others: CrateFacts,
    ratio: Floats,
    beats: float | None,
    *,
    key_locked: bool,
) -> dict[str, Floats]:
    """Every cost of playing a sound with each of others, in the order of WEIGHTS.

    `sound` has one sound. `ratio`: speed of each other record over the speed of this one; `beats`
    of the others in one of this; None for cueing by hand. Shape of each answer: (others,).
    """
    moved = 0.0 if key_locked or beats is None else 12.0 * np.log2(ratio)
    costs = {
        **_tempo_costs(sound, others, ratio, beats),
        "key": _key_cost(sound, others, moved + (others.tuning - sound.tuning) / 100.0),
        "kind": _doubted(
            _KIND_TABLE[sound.kind, others.kind], sound.kind_confidence * others.kind_confidence
        ),
        "energy": np.abs(others.energy - sound.energy) / 4.0,
        "length": _length_cost(sound, others, beats),
        "loudness": _loudness_cost(sound, others),
    }
    return {term: costs[term] for term in WEIGHTS}


def score_of(costs: dict[str, Floats]) -> Floats:
    """0 to 100 for each of the others."""
    taken = sum(WEIGHTS[term] * cost for term, cost in costs.items())
    return np.asarray(100.0 - 100.0 * taken, dtype=np.float64)


def _tempo_costs(
    sound: CrateFacts, others: CrateFacts, ratio: Floats, beats: float | None
) -> dict[str, Floats]:
    if beats is None:
        free = (sound.kind == 0) & (others.kind == 0)
        cost = np.where(free, FREE_COST, CUED_COST)
        return dict.fromkeys(("pitch", "reading", "beat"), cost)
    drift = np.maximum(np.abs(sound.drift), np.abs(others.drift))
    sure = sound.tempo_confidence * others.tempo_confidence
    return {
        "pitch": np.minimum(1.0, np.abs(12.0 * np.log2(ratio)) / FULL_PITCH_SEMITONES),
        "reading": np.full(len(others.tempo), READING_COST[beats]),
        "beat": _doubted(np.minimum(1.0, drift / FULL_DRIFT_PERCENT), sure),
    }


def _key_cost(sound: CrateFacts, others: CrateFacts, apart_semitones: Floats) -> Floats:
    """As `harmony.key_cost`, for many; a sound without a key clashes with none."""
    keyed = (sound.key >= 0) & (others.key >= 0)
    apart_semitones = np.where(np.isnan(apart_semitones), 0.0, apart_semitones)
    whole = np.round(apart_semitones)
    cents = 100.0 * (apart_semitones - whole)
    beside = (others.key + whole.astype(np.intp)) % 12 + 12 * (others.key >= 12)
    related = _KEY_TABLE[sound.key, np.where(keyed, beside, 0)]
    untuned = np.clip((np.abs(cents) - HEARD_CENTS) / (CLASH_CENTS - HEARD_CENTS), 0.0, 1.0)
    cost = related + (1.0 - related) * untuned
    sure = sound.key_confidence * others.key_confidence
    return np.where(keyed, _doubted(cost, sure), 0.0)


def _length_cost(sound: CrateFacts, others: CrateFacts, beats: float | None) -> Floats:
    """0 when one loop is a whole number of the other, 1 when not or when their bars differ."""
    if beats is None:
        return np.full(len(others.tempo), UNLOOPED_COST)
    mine, theirs = sound.loop_beats * beats, others.loop_beats
    short, long = np.minimum(mine, theirs), np.maximum(mine, theirs)
    with np.errstate(invalid="ignore"):
        divides = np.abs(long / short - np.round(long / short)) < 1e-9
    loops = np.where(divides, 0.0, 1.0)
    cost = np.where(np.isnan(short), UNLOOPED_COST, loops)
    differ = (sound.metre != others.metre) & ~np.isnan(sound.metre) & ~np.isnan(others.metre)
    return np.where(differ, 1.0, cost)


def _loudness_cost(sound: CrateFacts, others: CrateFacts) -> Floats:
    """Too short or too silent to be measured: it may be any loudness."""
    apart = np.abs(others.loudness - sound.loudness) / FULL_LOUDNESS_LU
    return np.where(np.isnan(apart), 1.0, np.minimum(1.0, apart))


def _doubted(cost: Floats, confidence: Floats) -> Floats:
    """A cost as far as it is trusted; the rest is 1, the dearest that may be hidden."""
    return np.asarray(1.0 - confidence * (1.0 - cost), dtype=np.float64)
