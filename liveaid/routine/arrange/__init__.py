"""arrange: the order and deck choice that cost two hands and the ears least.

`fixed` set pieces keep their place number; `free` ones share the other places. Up to EXACT_FREE
free ones the answer is the best there is; beyond, a good one with a bound and the gap to it.

items   a set piece with its decks as written, or traded
cost    what an order costs, in points, as tables
exact   the best orders, every subset weighed
beyond  good orders where there are too many subsets
bound   a cost that no order goes below
laid    orders weighed again as they would lie on the decks
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from liveaid.routine.arrange.beyond import best_found
from liveaid.routine.arrange.cost import TERM_WORDS, TERMS, Costs, Weights, costs_of, weights_from
from liveaid.routine.arrange.exact import EXACT_FREE, ExactTask, Solution, exact_orders
from liveaid.routine.arrange.items import Item, arranged, can_trade
from liveaid.routine.arrange.laid import LAID_ORDERS, Lay, in_order, laid_rows, left_out, without
from liveaid.routine.model import Routine

MOST_PIECES = 100
"""Set pieces up to which the cost tables stay small enough."""
LOOKED_AT = 5000
"""Answers looked through for orders that differ by more than their decks."""

__all__ = [
    "EXACT_FREE",
    "MOST_PIECES",
    "TERMS",
    "TERM_WORDS",
    "Answer",
    "Arrangement",
    "Item",
    "Weights",
    "arrange",
    "arranged",
    "can_trade",
    "marked_free",
    "marked_swap",
    "weights_from",
]


@dataclass(frozen=True, slots=True)
class Answer:
    """One order of the set pieces with its cost taken apart."""

    cost: int
    """Points in all."""
    items: tuple[Item, ...]
    """Set pieces in this order, decks as they are taken."""
    by_place: tuple[tuple[int, ...], ...]
    """Points by place and by term of TERMS."""
    laid: Routine | None = None
    """The routine in this order as it would be laid out; None where it was not."""

    @property
    def by_term(self) -> dict[str, int]:
        """Points by term over the whole routine."""
        sums = (sum(row[at] for row in self.by_place) for at in range(len(TERMS)))
        return dict(zip(TERMS, sums, strict=True))


@dataclass(frozen=True, slots=True)
class Arrangement:
    """The best orders found, cheapest first, beside the order as written."""

    answers: tuple[Answer, ...]
    written: Answer
    exact: bool
    """True: nothing is cheaper than the first. False: see `bound`."""
    bound: int
    """No order costs less."""
    left_out: tuple[int, ...] = ()
    """Optional set pieces that have to go for the limit."""
    laid_orders: int = 0
    """How many orders were laid out and ranked by what they then cost; 0: none."""

    @property
    def is_as_written(self) -> bool:
        """Whether no order found is better than the written one."""
        best = [(item.piece, item.swapped) for item in self.answers[0].items]
        return best == [(item.piece, item.swapped) for item in self.written.items]

    @property
    def gap(self) -> float:
        """Share of the first answer's cost that the bound leaves open; 0 when exact."""
        cost = self.answers[0].cost
        return (cost - self.bound) / cost if cost else 0.0


def marked_free(routine: Routine) -> frozenset[int]:
    """Set pieces marked `order: free`."""
    return frozenset(i for i, piece in enumerate(routine.pieces) if piece.order == "free")


def marked_swap(routine: Routine) -> frozenset[int]:
    """Set pieces marked `swap: free`."""
    return frozenset(i for i, piece in enumerate(routine.pieces) if piece.swap == "free")


def arrange(
    routine: Routine,
    *,
    free: Iterable[int],
    swap: Iterable[int] = (),
    weights: Weights | None = None,
    best: int = 3,
    exact_up_to: int = EXACT_FREE,
    lay: Lay | None = None,
) -> Arrangement:
    """The `best` cheapest orders. `free`: set pieces that may move, `swap`: that may trade decks.

    With `lay` the cheapest ones found are laid out and ranked anew by what they then cost. Optional
    set pieces are left out where the limit asks for it.

    ValueError for more than MOST_PIECES set pieces. A set piece whose deck file alone holds what is
    played cannot trade decks, whatever `swap` says.
    """
    if len(routine.pieces) > MOST_PIECES:
        raise ValueError(f"{len(routine.pieces)} set pieces; at most {MOST_PIECES} can be arranged")
    free, swap = frozenset(free), frozenset(swap)
    gone = left_out(routine)
    if gone:
        fewer, was = without(routine, gone)
        found = arrange(
            fewer,
            free=[was.index(i) for i in free if i in was],
            swap=[was.index(i) for i in swap if i in was],
            weights=weights,
            best=best,
            exact_up_to=exact_up_to,
            lay=lay,
        )
        return _of_the_whole(found, was, gone)
    swappable = [i in swap and can_trade(piece) for i, piece in enumerate(routine.pieces)]
    costs = costs_of(routine, swappable, weights or Weights())
    task = ExactTask(costs, tuple(sorted(free)))
    exact = len(free) <= exact_up_to
    bound = 0
    met: Iterable[Solution] = exact_orders(task)
    if not exact:
        met, bound = best_found(task)
    answers = tuple(_answer(costs, solution.order) for solution in _distinct(costs, met, best))
    bound = answers[0].cost if exact else bound
    unmoved = tuple(i for i, item in enumerate(costs.items) if not item.swapped)
    if lay is not None:
        met = exact_orders(task) if exact else best_found(task)[0]
        tried = [tuple(solution.order) for solution in _distinct(costs, met, LAID_ORDERS)]
        laid = [
            _laid(costs, routine, order, weights or Weights(), lay)
            for order in dict.fromkeys([unmoved, *tried])
        ]
        # The written one first: of two alike nothing is gained by another.
        ranked = tuple(sorted(laid, key=lambda answer: answer.cost))
        looked_at = sum(answer.laid is not None for answer in laid)
        return Arrangement(ranked[:best], laid[0], False, 0, laid_orders=looked_at)
    return Arrangement(answers, _answer(costs, unmoved), exact, min(bound, answers[0].cost))


def _laid(
    costs: Costs, routine: Routine, order: tuple[int, ...], weights: Weights, lay: Lay
) -> Answer:
    """An order with its cost as laid out; by the search's own where it cannot be."""
    placed = lay(in_order(costs, routine, order))
    if placed is None:
        return _answer(costs, order)
    return replace(_answer(costs, order, laid_rows(costs, order, placed, weights)), laid=placed)


def _of_the_whole(found: Arrangement, was: Sequence[int], gone: tuple[int, ...]) -> Arrangement:
    """What was found without some set pieces, numbered as in the whole routine."""
    return replace(
        found,
        left_out=gone,
        written=_numbered(found.written, was),
        answers=tuple(_numbered(answer, was) for answer in found.answers),
    )


def _numbered(answer: Answer, was: Sequence[int]) -> Answer:
    items = tuple(replace(item, piece=was[item.piece]) for item in answer.items)
    return replace(answer, items=items)


def _answer(costs: Costs, order: Iterable[int], walked: NDArray[np.int64] | None = None) -> Answer:
    order = tuple(order)
    walked = costs.walk(order) if walked is None else walked
    items = tuple(costs.items[i] for i in order)
    rows = tuple(tuple(int(points) for points in row) for row in walked)
    return Answer(int(walked.sum()), items, rows)


def _distinct(costs: Costs, solutions: Iterable[Solution], best: int) -> list[Solution]:
    """The cheapest deck choice of each order of set pieces, until there are `best`."""
    kept: dict[tuple[int, ...], Solution] = {}
    for solution in islice(solutions, LOOKED_AT):
        kept.setdefault(tuple(costs.items[i].piece for i in solution.order), solution)
        if len(kept) == best:
            break
    return list(kept.values())
