"""What each difference between two sounds costs on a platter, and how much of the score it takes.

Costs run from 0 to 1 and are the same whichever of the two sounds is asked about. What was
measured with doubt is drawn towards the cost of knowing nothing.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

from liveaid.fit.meeting import Meeting
from liveaid.routine.harmony import UNKNOWN_KEY_COST, KeyMeeting
from liveaid.routine.model import Kind
from liveaid.study.facts import Study

WEIGHTS: dict[str, float] = {
    "pitch": 0.15,  # a record far from its speed sounds like another record
    "reading": 0.10,  # at half or double time only every second beat meets
    "beat": 0.15,  # a tempo that is guessed or drifts has to be ridden by hand
    "key": 0.25,  # nothing is heard sooner than a clash of keys
    "kind": 0.10,  # two voices at once hide each other's words
    "energy": 0.10,  # a jump in energy breaks the line of the routine, or makes it: mild
    "length": 0.10,  # loops that divide each other meet again at the bar line
    "loudness": 0.05,  # the mixer's gain mends it
}
"""Share of each cost in the score; they sum to 1. Set by ear's common practice, no source."""

FULL_PITCH_SEMITONES = 2.0
"""A whole tone apart (12.2 %) costs all of the pitch share: a voice is then another voice."""
HALF_TIME_COST = 1.0
CUED_COST = 0.5
"""A sound worked by hand needs no common tempo, but the hand must bring the time itself."""
FREE_COST = 1.0
"""A long sound without a tempo cannot be worked through: it just lies underneath."""
FULL_DRIFT_PERCENT = 2.0
"""A tempo that wanders so much over the sound costs all of the beat share."""
FULL_LOUDNESS_LU = 12.0
"""About what a mixer's gain can make up (common practice, no source)."""
UNKNOWN_LENGTH_COST = 0.5
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
_ANY_KIND_COST = statistics.mean(KIND_COST.values())


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
    sound: Study,
    other: Study,
    meeting: Meeting | None,
    keys: KeyMeeting | None,
    loudness: float | None,
) -> tuple[Cost, ...]:
    """Every cost of playing two sounds together, in the order of WEIGHTS."""
    costs = {
        **_tempo_costs(sound, other, meeting),
        "key": _key_cost(sound, other, keys),
        "kind": _doubted(
            KIND_COST[frozenset({sound.kind, other.kind})],
            _ANY_KIND_COST,
            sound.kind_confidence * other.kind_confidence,
        ),
        "energy": abs(other.energy - sound.energy) / 4.0,
        "length": _length_cost(sound, other, meeting),
        "loudness": min(1.0, abs(loudness or 0.0) / FULL_LOUDNESS_LU),
    }
    return tuple(Cost(term, weight, costs[term]) for term, weight in WEIGHTS.items())


def _tempo_costs(sound: Study, other: Study, meeting: Meeting | None) -> dict[str, float]:
    if meeting is None:
        by_hand = {sound.kind, other.kind} != {"instrumental"}
        return dict.fromkeys(("pitch", "reading", "beat"), CUED_COST if by_hand else FREE_COST)
    drift = max(abs(sound.tempo_drift_percent), abs(other.tempo_drift_percent))
    sure = sound.tempo_confidence * other.tempo_confidence
    return {
        "pitch": min(1.0, abs(meeting.shift_semitones) / FULL_PITCH_SEMITONES),
        "reading": 0.0 if meeting.beats == 1.0 else HALF_TIME_COST,
        "beat": _doubted(min(1.0, drift / FULL_DRIFT_PERCENT), 1.0, sure),
    }


def _key_cost(sound: Study, other: Study, keys: KeyMeeting | None) -> float:
    """A sound without a key clashes with none."""
    if keys is None:
        return 0.0
    return _doubted(keys.cost, UNKNOWN_KEY_COST, sound.key_confidence * other.key_confidence)


def _length_cost(sound: Study, other: Study, meeting: Meeting | None) -> float:
    """0 when one loop is a whole number of the other, 1 when not or when their bars differ."""
    if meeting is None:
        return UNKNOWN_LENGTH_COST
    if sound.metre and other.metre and sound.metre != other.metre:
        return 1.0
    if not sound.loop_beats or not other.loop_beats:
        return UNKNOWN_LENGTH_COST
    lengths = sorted((sound.loop_beats * meeting.beats, float(other.loop_beats)))
    return 0.0 if lengths[1] % lengths[0] == 0.0 else 1.0


def _doubted(cost: float, unknown: float, confidence: float) -> float:
    """A cost as far as it is trusted; the rest is the cost of knowing nothing."""
    return confidence * cost + (1.0 - confidence) * unknown
