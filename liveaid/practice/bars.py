"""Bars that were played otherwise than written, as a whole: left out, or improvised."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, TypeAlias

from liveaid.practice.act_score import ActScore, Outcome

Otherwise: TypeAlias = Literal["left out", "improvised"]

_LEAST = 2
"""A bar that asks for fewer acts is told by its acts."""


def other_bars(acts: Sequence[ActScore], metre: int) -> dict[int, Otherwise]:
    """Bars, from 0, of which all that was written was missed; improvised where hands played on."""
    found: dict[int, Otherwise] = {}
    for bar in sorted({bar_of(act, metre) for act in acts}):
        here = [act.outcome for act in acts if bar_of(act, metre) == bar]
        missed = here.count("missed")
        if missed < _LEAST or "heard" in here:
            continue
        found[bar] = "improvised" if here.count("added") >= _LEAST else "left out"
    return found


def rest_of(
    acts: Sequence[ActScore], metre: int, others: Mapping[int, Otherwise], outcome: Outcome
) -> int:
    """How many acts outside those bars came out so."""
    return sum(act.outcome == outcome and bar_of(act, metre) not in others for act in acts)


def bar_of(act: ActScore, metre: int) -> int:
    """The bar an act falls in, from 0; one a little before a bar's first beat belongs to it."""
    return int((act.beat + 0.25) // metre)
