"""Set pieces as arrange moves them: each with its decks as written, or traded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine.hands import needs_crossfader
from liveaid.routine.model import (
    SIDES,
    Piece,
    Routine,
    Runs,
    Side,
    Works,
    other_side,
    without_place,
)

Role: TypeAlias = Literal["platter", "fader"]


@dataclass(frozen=True, slots=True)
class Item:
    """One set piece with its decks as they are taken."""

    piece: int
    """Set piece of the routine as written, from 0."""
    swapped: bool
    taken: Piece
    """The set piece itself, decks traded where `swapped`."""

    @property
    def sounding(self) -> tuple[Side, ...]:
        """Decks that sound in it."""
        return self.taken.sounding

    @property
    def resting(self) -> tuple[Side, ...]:
        """Decks that rest in it."""
        return tuple(side for side in SIDES if side not in self.sounding)


def items_of(routine: Routine, swappable: Sequence[bool]) -> tuple[Item, ...]:
    """Every set piece as written, and traded where it may be, in the order of the set pieces."""
    items = []
    for index, piece in enumerate(routine.pieces):
        items.append(Item(index, False, piece))
        if swappable[index]:
            items.append(Item(index, True, traded(piece)))
    return tuple(items)


def can_trade(piece: Piece) -> bool:
    """Whether the decks can be traded: not when a deck file alone holds what is played.

    A placed hand without a `sound` lies on one deck's file and nowhere else.
    """
    plans = (piece.plan(side) for side in piece.sounding)
    return all(not plan.placed or plan.sound for plan in plans)


def traded(piece: Piece) -> Piece:
    """The set piece with left and right exchanged.

    Deck-file seconds are dropped: they hold for the deck they were laid on. The prompt is kept as
    it is written.
    """
    count = piece.count if piece.count == "clock" else other_side(piece.count)
    changed = {
        "left": without_place(piece.right),
        "right": without_place(piece.left),
        "count": count,
    }
    return piece.model_copy(update=changed)


def hand_roles(piece: Piece) -> tuple[Role | None, Role | None]:
    """Where the left and the right hand are for most of a set piece; None for free."""
    worked = [side for side in SIDES if isinstance(piece.plan(side), Works)]
    if len(worked) == 2:
        return "platter", "platter"
    if len(worked) == 1:
        fader: Role | None = "fader" if needs_crossfader(piece) else None
        return ("platter", fader) if worked[0] == "left" else (fader, "platter")
    both_run = isinstance(piece.left, Runs) and isinstance(piece.right, Runs)
    return (None, "fader") if both_run else (None, None)


def arranged(routine: Routine, items: Sequence[Item]) -> Routine:
    """The routine with its set pieces in this order.

    A new order alone leaves the deck files as good as before, so all seconds stay. Where a set
    piece trades decks they must be rendered anew, and every hand that names its sound gives its
    seconds up; a hand without one keeps them, since nothing else says where it is.
    """
    pieces = [item.taken for item in items]
    if any(item.swapped for item in items):
        pieces = [_given_up(piece) for piece in pieces]
    return routine.model_copy(update={"pieces": tuple(pieces)})


def _given_up(piece: Piece) -> Piece:
    named = (side for side in SIDES if piece.plan(side).sound is not None)
    return piece.model_copy(update={side: without_place(piece.plan(side)) for side in named})
