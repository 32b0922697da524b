"""Strokes as a hand hears of them: begun, turned, how far, and how long the fader was open."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from liveaid.practice.act_score import ActScore
from liveaid.practice.written import WORTH_MS, Ms, Percent, early_or_late
from liveaid.routine import SIDES, Side

WAY_WORTH_PERCENT = 5.0
"""Longer or shorter by less is as far as written (common practice, no source)."""
LEAST_STROKES = 3
"""So many strokes at least are told together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokesScore:
    """One hand's strokes in a set piece together, by their medians."""

    side: Side
    strokes: int
    starts_ms: Ms | None
    turns_ms: Ms | None
    longer_percent: Percent | None
    openings: int
    open_longer_ms: Ms | None


def strokes_of(acts: Sequence[ActScore]) -> tuple[StrokesScore, ...]:
    """Each hand's strokes of one set piece together: medians, so that one slip is not all."""
    return tuple(_strokes(side, mine) for side in SIDES if (mine := list(_heard(acts, side))))


def _heard(acts: Iterable[ActScore], side: Side) -> Iterator[ActScore]:
    for act in acts:
        if act.side == side and act.outcome == "heard" and act.way_turns is not None:
            yield act


def _strokes(side: Side, mine: Sequence[ActScore]) -> StrokesScore:
    openings = [opening for act in mine for opening in act.openings]
    return StrokesScore(
        side=side,
        strokes=len(mine),
        starts_ms=_median(act.error_ms for act in mine),
        turns_ms=_median(act.turn_ms for act in mine),
        longer_percent=_median(act.longer_percent for act in mine),
        openings=len(openings),
        open_longer_ms=_median(opening.longer_ms for opening in openings),
    )


def _median(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return statistics.median(known) if known else None


def strokes_sentences(found: Iterable[StrokesScore]) -> dict[Side, str]:
    """A sentence a hand over all set pieces of a take, from LEAST_STROKES strokes on."""
    listed = list(found)
    told: dict[Side, str] = {}
    for side in SIDES:
        mine = [one for one in listed if one.side == side]
        if sum(one.strokes for one in mine) >= LEAST_STROKES:
            told[side] = f"{side} hand's strokes: {_stroke_words(mine)}"
    return told


def _stroke_words(mine: Sequence[StrokesScore]) -> str:
    parts = [
        f"begun {_when(_weighed((one.starts_ms, one.strokes) for one in mine))}",
        f"turned {_when(_weighed((one.turns_ms, one.strokes) for one in mine))}",
        _how_far(_weighed((one.longer_percent, one.strokes) for one in mine)),
        _how_open(_weighed((one.open_longer_ms, one.openings) for one in mine)),
    ]
    return ", ".join(part for part in parts if part)


def _weighed(values: Iterable[tuple[float | None, int]]) -> float | None:
    """The mean of several set pieces' medians, each by how many it stands for."""
    known = [(value, many) for value, many in values if value is not None and many]
    count = sum(many for _, many in known)
    return sum(value * many for value, many in known) / count if count else None


def _when(off_ms: float | None) -> str:
    return "by no count" if off_ms is None else early_or_late(off_ms, worth_ms=WORTH_MS)


def _how_far(percent: float | None) -> str:
    if percent is None:
        return ""
    if abs(percent) < WAY_WORTH_PERCENT:
        return "as far as written"
    return f"{abs(percent):.0f} % too {'far' if percent > 0 else 'short'}"


def _how_open(longer_ms: float | None) -> str:
    if longer_ms is None:
        return ""
    if abs(longer_ms) < WORTH_MS:
        return "open as long as written"
    return f"open {abs(longer_ms):.0f} ms too {'long' if longer_ms > 0 else 'short'}"


def stroke_row(act: ActScore) -> tuple[str, ...]:
    """Beat, hand, act, begun, turned, way, opened and shut of one stroke, as a table has them."""
    if act.outcome != "heard":
        return (f"{act.beat:g}", act.side, act.kind, act.outcome, "", "", "", "")
    opened, shut = (
        " ".join(_signed(value) for one in act.openings if (value := getattr(one, end)) is not None)
        for end in ("opens_ms", "closes_ms")
    )
    way = f"{act.way_turns:.2f} turns" if act.way_turns is not None else ""
    way += f" {act.longer_percent:+.0f} %" if act.longer_percent is not None else ""
    return (
        f"{act.beat:g}", act.side, act.kind, _signed(act.error_ms), _signed(act.turn_ms), way,
        opened, shut,
    )  # fmt: skip


def _signed(value: float | None) -> str:
    return "" if value is None else f"{value:+.0f}"
