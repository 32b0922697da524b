"""What a take is late by on the whole, apart from what its acts are.

Every act of one deck held against one other clock is shifted alike by their delays. The middle of
those errors is that shift. As long as nobody measured the delays it can't be told from a hand
that is late each time, so it is named and not held against the hands.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from liveaid.practice.act_score import ActScore
from liveaid.practice.delays import Clock
from liveaid.practice.written import Ms, early_or_late

Pair: TypeAlias = tuple[Clock, Clock]
"""Whose act, against whose count, in alphabetical order but for the click, which comes last."""

LEAST_ACTS = 4
"""Below so many acts a shift can't be told from the acts themselves."""
LATEST_S = 0.25
"""No sender or loudspeaker in use is later than this (common practice, no source)."""
NAMED_S = 0.008
"""A shift below this is not worth a word: a fifth of what is noticed at 75 BPM."""
_SURE = 3.0
"""Standard errors by which a shift must be beyond none to be named."""


@dataclass(frozen=True, slots=True)
class Off:
    """One act's error, by whom and against which count."""

    clock: Clock
    by: Clock
    error_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What one clock is late by against another, all through a take."""

    deck: Clock
    against: Clock
    late_ms: Ms
    acts: int
    named: bool
    """Whether it is large and sure enough to be told."""


def offs(acts: Iterable[ActScore]) -> list[Off]:
    """The errors that a delay shows in: of one clock's acts against another's count."""
    return [
        Off(act.side, act.by, act.error_s)
        for act in acts
        if act.error_s is not None and act.by is not None and act.by != act.side
    ]


def shifts(found: Sequence[Off]) -> tuple[Shift, ...]:
    """The shift of every pair of clocks with enough acts between them."""
    pairs: dict[Pair, list[float]] = {}
    for off in found:
        pair, sign = _pair(off.clock, off.by)
        pairs.setdefault(pair, []).append(sign * off.error_s)
    return tuple(
        _shift(pair, errors) for pair, errors in sorted(pairs.items()) if len(errors) >= LEAST_ACTS
    )


def shift_s(found: Sequence[Shift], clock: Clock, by: Clock | None) -> float | None:
    """What acts of one clock against another's count are late by; None when that is not known.

    0 where the count is the clock's own, or was fitted to the acts: no delay shows there.
    """
    if by is None or by == clock:
        return 0.0
    pair, sign = _pair(clock, by)
    return next(
        (sign * one.late_ms / 1000.0 for one in found if (one.deck, one.against) == pair), None
    )


def without_shift_s(act: ActScore, found: Sequence[Shift] | None) -> float | None:
    """An act's error, what its clock is late by on the whole left out of it.

    None where either is not known. `found` is None where delays were measured, and taken out.
    """
    late_s = 0.0 if found is None else shift_s(found, act.side, act.by)
    return None if late_s is None or act.error_s is None else act.error_s - late_s


def hands_own_s(clock: Clock, by: Clock, error_s: float) -> float:
    """The part of an error that no delay can make, the shift not being known.

    Against the click both delays add up, so what is early there is the hands' own.
    """
    pair, sign = _pair(clock, by)
    return error_s - sign * _within(pair, sign * error_s)


def says(found: Sequence[Shift]) -> str:
    """What is shifted, in words; empty when nothing is."""
    named = [one for one in found if one.named]
    if not named:
        return ""
    told = " and ".join(
        f"the {one.deck} deck is {early_or_late(one.late_ms)} against the "
        f"{'click' if one.against == 'click' else f'{one.against} deck'}"
        for one in named
    )
    return (
        f"All through, {told}: a delay on the way or a habit of the hands. Not held against the "
        "take; `liveaid rehearse --calibrate` tells which."
    )


def _pair(clock: Clock, by: Clock) -> tuple[Pair, float]:
    order: tuple[Clock, ...] = ("left", "right", "click")
    ahead = order.index(clock) < order.index(by)
    return ((clock, by), 1.0) if ahead else ((by, clock), -1.0)


def _shift(pair: Pair, errors: Sequence[float]) -> Shift:
    """The median, with its standard error 1.253 s / sqrt(n); bounded by what a delay can be."""
    middle = statistics.median(errors)
    spread = 1.4826 * statistics.median(abs(error - middle) for error in errors)
    sure_s = 1.253 * spread / math.sqrt(len(errors))
    late_s = _within(pair, middle)
    return Shift(
        deck=pair[0], against=pair[1], late_ms=1000.0 * late_s, acts=len(errors),
        named=abs(late_s) > max(NAMED_S, _SURE * sure_s),
    )  # fmt: skip


def _within(pair: Pair, late_s: float) -> float:
    """As much of a lateness as delays can make."""
    return min(max(late_s, 0.0 if pair[1] == "click" else -LATEST_S), LATEST_S)
