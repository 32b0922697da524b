"""Any stretch of a routine as a routine of its own: a set piece, some bars, or a transition.

Two trams                    a set piece
bars 5 to 6 of Two trams     some of its bars
from Tram into Two trams     the last two bars of one and the first two of the next
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from liveaid.practice.cut_acts import acts_within
from liveaid.routine import Piece, Plan, Routine, Runs, Side, Works
from liveaid.routine.acts import written_out
from liveaid.routine.written_numbers import evened

AROUND_BARS = 2
"""Bars on each side of a transition: enough to be in it and to be through it (common practice,
no source)."""
_BARS = re.compile(r"bars?\s+(\d+)(?:\s+to\s+(\d+))?\s+of\s+(.+)", re.IGNORECASE)
_INTO = re.compile(r"from\s+(.+?)\s+into\s+(.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class StretchPart:
    """Some bars of a set piece, from 0, `to_bar` not counted; it may lie within the last bar."""

    piece: int
    from_bar: int
    to_bar: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a routine: parts of set pieces that follow each other."""

    name: str
    """As it is asked for and kept; empty for the routine as a whole."""
    parts: tuple[StretchPart, ...]

    @property
    def first(self) -> int:
        """The first set piece's place in the whole routine."""
        return self.parts[0].piece


def stretch(routine: Routine, text: str) -> Stretch | None:
    """What a text asks for; None where the routine has no such thing.

    A set piece's own name goes before anything it could be read as.
    """
    text = " ".join(text.split())
    if not text:
        return Stretch("", tuple(_whole(routine, index) for index in range(len(routine.pieces))))
    index = _index(routine, text)
    if index is not None:
        return Stretch(routine.pieces[index].name, (_whole(routine, index),))
    if some := _BARS.fullmatch(text):
        return _some_bars(routine, some[3], int(some[1]), int(some[2] or some[1]))
    if into := _INTO.fullmatch(text):
        return _transition(routine, into[1], into[2])
    return None


def transition_name(routine: Routine, index: int) -> str:
    """How the way from a set piece into the next is asked for."""
    return f"from {routine.pieces[index].name} into {routine.pieces[index + 1].name}"


def cut(routine: Routine, what: Stretch) -> Routine:
    """The routine made of a stretch alone."""
    if not what.name:
        return routine
    pieces = tuple(_piece(routine, part) for part in what.parts)
    return routine.model_copy(update={"pieces": pieces, "limit_s": None})


def _index(routine: Routine, name: str) -> int | None:
    asked = name.casefold()
    return next((k for k, p in enumerate(routine.pieces) if p.name.casefold() == asked), None)


def _whole(routine: Routine, index: int) -> StretchPart:
    return StretchPart(index, 0, routine.pieces[index].bars)


def _some_bars(routine: Routine, name: str, first: int, last: int) -> Stretch | None:
    index = _index(routine, name)
    if index is None or not 1 <= first <= last <= routine.bar_count(index):
        return None
    bars = f"bar {first}" if first == last else f"bars {first} to {last}"
    told = f"{bars} of {routine.pieces[index].name}"
    return Stretch(told, (StretchPart(index, first - 1, min(last, routine.pieces[index].bars)),))


def _transition(routine: Routine, before: str, after: str) -> Stretch | None:
    index, other = _index(routine, before), _index(routine, after)
    if index is None or other != index + 1:
        return None
    bars, begun = routine.pieces[index].bars, routine.bar_count(index)
    return Stretch(
        transition_name(routine, index),
        (
            StretchPart(index, max(0, begun - AROUND_BARS), bars),
            StretchPart(other, 0, min(AROUND_BARS, routine.pieces[other].bars)),
        ),
    )


def _piece(routine: Routine, part: StretchPart) -> Piece:
    piece = routine.pieces[part.piece]
    if part == _whole(routine, part.piece):
        return piece
    plans = {side: _plan(routine, part, side) for side in ("left", "right")}
    bars = evened(part.to_bar - part.from_bar)
    return piece.model_copy(update={"bars": bars, "juggle": None, **plans})


def _plan(routine: Routine, part: StretchPart, side: Side) -> Plan:
    """What a hand does in those bars: a record that runs begins so much further on."""
    piece = routine.pieces[part.piece]
    plan = piece.plan(side)
    gone = part.from_bar * routine.metre
    beats = round(part.to_bar * routine.metre) - gone
    if isinstance(plan, Runs):
        at_s = None if plan.at_s is None else plan.at_s + gone * piece.beat_s
        return plan.model_copy(update={"at_s": at_s, "bars_in": plan.bars_in + part.from_bar})
    if written_out(piece, side):
        return acts_within(routine, part.piece, side, gone, beats)
    if isinstance(plan, Works) and plan.strokes:
        inside = (beat - gone for beat in plan.strokes if gone <= beat < gone + beats)
        return plan.model_copy(update={"strokes": tuple(inside) or None})
    return plan
