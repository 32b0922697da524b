"""What is learnt of one performer from kept takes, and how it bends the follower's numbers.

The counts start from common practice (no source) as if `WORTH` set pieces of it had been seen, so
that a few takes bend little and none leave everything as it was (a Dirichlet prior).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from typing import Any

from liveaid.follow.numbers import USUAL, Numbers

WORTH = 200.0
"""Set pieces' worth of common practice that the counts start from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """Counts over kept takes, and the pitch usually played at."""

    pieces: float = 0.0
    """Set pieces played in all."""
    again: float = 0.0
    """How many were begun anew, or played twice."""
    skipped: float = 0.0
    """How many times one or more were left out."""
    early: float = 0.0
    """How many were left before their last beat and a half."""
    back: float = 0.0
    """How many times an earlier one was gone back to."""
    pitch_percent: float = 0.0
    """Where the pitch usually stands."""

    def __post_init__(self) -> None:
        counts = (self.pieces, self.again, self.skipped, self.early, self.back)
        if not all(math.isfinite(n) and n >= 0 for n in counts) or abs(self.pitch_percent) > 50:
            raise ValueError("habits: counts from 0 up and a pitch within 50 per cent would do")

    def numbers(self, usual: Numbers = USUAL) -> Numbers:
        """The numbers with this performer's prices.

        A price is how rare leaving the order is: it moves by the log of how much rarer, or
        commoner, it was in the takes than common practice has it.
        """

        def moved(price: float, seen: float) -> float:
            share = math.exp(-price)
            expected = WORTH * share
            return -math.log((expected + seen) / (WORTH + self.pieces))

        return replace(
            usual,
            again=moved(usual.again, self.again),
            ahead=moved(usual.ahead, self.skipped),
            next_early=moved(usual.next_early, self.early),
            back=moved(usual.back, self.back),
        )

    def to_json(self) -> dict[str, float]:
        """As kept in the performer's file."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Habits:
        """From the performer's file; ValueError when it is none of ours."""
        unknown = set(data) - set(cls.__slots__)
        if unknown:
            raise ValueError(f"habits: no {', '.join(sorted(unknown))}")
        return cls(**{name: float(value) for name, value in data.items()})


def seen(places: list[tuple[int, float]], beats: list[float]) -> Habits:
    """Habits of one take from its set pieces in the order played.

    `places`: index from 0 and the beat each was left at; `beats`: the map's beats of every one.
    """
    again = skipped = early = back = 0
    for (before, left_at), (after, _) in pairwise(places):
        again += after == before
        skipped += after > before + 1
        back += after < before
        early += after == before + 1 and left_at < beats[before] - 1.5
    return Habits(pieces=len(places), again=again, skipped=skipped, early=early, back=back)


def together(takes: list[Habits]) -> Habits:
    """The habits of several takes as one; the pitch is the mean over their set pieces."""
    pieces = sum(take.pieces for take in takes)
    pitch = sum(take.pitch_percent * take.pieces for take in takes) / max(pieces, 1.0)
    return Habits(
        pieces=pieces,
        again=sum(take.again for take in takes),
        skipped=sum(take.skipped for take in takes),
        early=sum(take.early for take in takes),
        back=sum(take.back for take in takes),
        pitch_percent=pitch,
    )
