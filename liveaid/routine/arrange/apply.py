"""The section map in a new order: what keeps its deck-file seconds, and what loses them."""

from __future__ import annotations

from collections.abc import Sequence

from liveaid.routine.arrange.items import Item, without_seconds
from liveaid.routine.model import SIDES, Piece, Routine


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
    plans = {side: piece.plan(side) for side in SIDES}
    kept: dict[str, object] = {
        side: plan if plan.sound is None else without_seconds(plan) for side, plan in plans.items()
    }
    return piece.model_copy(update=kept)
