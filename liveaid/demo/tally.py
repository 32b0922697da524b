"""How well a performance was followed: what the prompt said against what was so. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from liveaid.routine.plain_data import plain


@dataclass(frozen=True, slots=True)
class ToldAt:
    """What the prompt said at one time of the performance."""

    time_s: float
    piece: int | None
    beat_position: float | None
    sure: bool
    """Whether it called itself `following`."""


@dataclass(frozen=True, slots=True)
class ShownAt:
    """A beat at the time of the performance it was first shown; `beat` from the piece's start."""

    time_s: float
    piece: int
    beat: int


@dataclass(frozen=True, slots=True)
class FollowTally:
    """Shares are of the moments inside the routine, in per cent."""

    moments: int
    pieces_right: float
    beats_right: float
    """The right set piece, and within one beat of the truth."""
    sure: float
    sure_and_right: float
    """Of the moments it called itself following."""
    beat_error_ms: float | None
    """Median distance from the true beat, where the set piece is right."""

    def to_json(self) -> dict[str, Any]:
        """The figures, rounded."""
        return plain(self, 3)


def tally(
    said: Sequence[ToldAt],
    truth_at: Callable[[float], tuple[int, float] | None],
    beat_s: Callable[[int], float],
) -> FollowTally:
    """Score every moment at which the truth has a place; `beat_s` is a set piece's beat length."""
    judged = [(moment, truth) for moment in said if (truth := truth_at(moment.time_s)) is not None]
    errors = [
        (index, abs(moment.beat_position - beat))
        for moment, (index, beat) in judged
        if moment.piece == index and moment.beat_position is not None
    ]
    near = [error for _, error in errors if error <= 1.0]
    sure = [
        moment.piece == index
        and moment.beat_position is not None
        and abs(moment.beat_position - beat) <= 1.0
        for moment, (index, beat) in judged
        if moment.sure
    ]
    count = max(1, len(judged))
    return FollowTally(
        moments=len(judged),
        pieces_right=100.0 * len(errors) / count,
        beats_right=100.0 * len(near) / count,
        sure=100.0 * len(sure) / count,
        sure_and_right=100.0 * sum(sure) / max(1, len(sure)),
        beat_error_ms=median(1000.0 * e * beat_s(i) for i, e in errors) if errors else None,
    )


def lateness_ms(
    shown: Sequence[ShownAt],
    truth_at: Callable[[float], tuple[int, float] | None],
    beat_s: Callable[[int], float],
) -> list[float]:
    """How long after each true beat it was shown, in milliseconds; below 0 when it was early.

    Only beats of the right set piece within one beat of the truth: the others were wrong, not late.
    """
    late = []
    for one in shown:
        truth = truth_at(one.time_s)
        if truth is not None and truth[0] == one.piece and abs(truth[1] - one.beat) <= 1.0:
            late.append(1000.0 * (truth[1] - one.beat) * beat_s(one.piece))
    return late
