"""Orders weighed again as they would be laid on the decks, and by the clock.

The search takes a set piece's place and its neighbours alone; where the records lie, and how long
it has lasted so far, is known only of a whole order. So the cheapest orders found are laid out
as render would, and ranked by what they then cost: winds in real turns, energy by the time gone by.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from liveaid.routine.arc import off_arc_by_piece
from liveaid.routine.arrange.cost import TERMS, VIA_TERMS, Costs, Weights
from liveaid.routine.model import Routine
from liveaid.routine.way import changes

Lay: TypeAlias = Callable[[Routine], Routine | None]
"""A routine placed on decks of its own; None when it cannot be."""
LAID_ORDERS = 40
"""Orders laid out at most: some milliseconds each."""
MOST_OPTIONAL = 12


def laid_rows(
    costs: Costs, order: Sequence[int], placed: Routine, weights: Weights
) -> NDArray[np.int64]:
    """Points by place and term, the winding and the energy as laid out."""
    rows = costs.walk(order)
    rows[:, : len(VIA_TERMS)] = 0
    for at, levels in enumerate(off_arc_by_piece(placed)):
        rows[at, TERMS.index("energy")] = round(weights.energy_per_step * levels)
    for move in changes(placed):
        if not move.by_a_hand or not move.needed_s:
            continue
        rows[move.after, 0] += round(weights.wind_per_turn * abs(move.turns or 0.0))
        if move.verdict == "impossible":
            short_s = move.needed_s - move.free_s - move.give_s
            short = short_s / placed.pieces[move.after].beat_s
            rows[move.after, 1] += round(weights.short_per_beat * short)
        if move.verdict in ("tight", "impossible"):
            rows[move.after, 2] += weights.tight
    return rows


def left_out(routine: Routine) -> tuple[int, ...]:
    """The optional set pieces that have to go for the routine to keep its limit, as little music
    as does it; none when it keeps it anyway, or cannot."""
    over_s = routine.duration_s - (routine.limit_s or float("inf"))
    optional = [i for i, piece in enumerate(routine.pieces) if piece.optional][:MOST_OPTIONAL]
    if over_s <= 0:
        return ()
    fits = [
        (sum(routine.piece_s(i) for i in chosen), len(chosen), chosen)
        for count in range(1, len(optional) + 1)
        for chosen in combinations(optional, count)
        if sum(routine.piece_s(i) for i in chosen) >= over_s - 1e-9 and count < len(routine.pieces)
    ]
    return min(fits)[2] if fits else ()


def without(routine: Routine, gone: Sequence[int]) -> tuple[Routine, list[int]]:
    """The routine without some set pieces, and where each of its set pieces was."""
    kept = [i for i in range(len(routine.pieces)) if i not in gone]
    pieces = tuple(routine.pieces[i] for i in kept)
    return routine.model_copy(update={"pieces": pieces}), kept


def in_order(costs: Costs, routine: Routine, order: Sequence[int]) -> Routine:
    """The set pieces in an order of items, decks as they are taken."""
    pieces = tuple(costs.items[item].taken for item in order)
    return routine.model_copy(update={"pieces": pieces})
