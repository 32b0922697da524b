"""Good orders where there are too many set pieces to weigh all subsets: beam, then betterment.

A beam keeps the most promising beginnings place by place, judged by what they cost and what the
bound says is still to come; what it finds is bettered by moving, exchanging and trading decks until
nothing helps. The answer is good, not proven: the bound says how far from the best it can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from liveaid.routine.arrange.bound import Bound, bound_of
from liveaid.routine.arrange.exact import ExactTask, Solution

BEAM = 1500
"""Beginnings kept at each place."""
BETTERED = 6
"""Ends of the beam that are bettered."""

Orders = NDArray[np.intp]


def best_found(task: ExactTask, *, beam: int = BEAM) -> tuple[tuple[Solution, ...], int]:
    """Good orders, cheapest first, and a bound no order goes below."""
    weigh = Weigh(task)
    rough = bound_of(task, reached=10**6, rounds=20)
    first = weigh.bettered(_beam(task, rough, max(50, beam // 10))[0])
    bound = bound_of(task, reached=first.cost)
    met = {first.order: first.cost}
    for order in _beam(task, bound, beam)[:BETTERED]:
        better = weigh.bettered(order)
        met[better.order] = better.cost
    for order in list(met):
        batch = weigh.near(order)
        met |= {
            tuple(map(int, row)): int(c) for row, c in zip(batch, weigh.costs(batch), strict=True)
        }
    ranked = sorted((cost, order) for order, cost in met.items())
    return tuple(Solution(cost, order) for cost, order in ranked), bound.points


class Weigh:
    """Costs of many orders at once, and the orders near one."""

    def __init__(self, task: ExactTask) -> None:
        costs = task.costs
        self.task, self.count = task, len(costs.items)
        self.pair, self.via, self.place = costs.pair, costs.via, costs.place_terms
        self.piece = np.array([item.piece for item in costs.items])
        self.keeps, self.fresh = costs.elsewhere()
        twin = {(item.piece, item.swapped): i for i, item in enumerate(costs.items)}
        self.twin = [twin.get((item.piece, not item.swapped), i)
                     for i, item in enumerate(costs.items)]  # fmt: skip

    def costs(self, orders: Orders) -> NDArray[np.int64]:
        """Cost in points of many orders at once; `orders` has a row of items an order."""
        last = orders[:, 0]
        total: NDArray[np.int64] = self.place[last, 0].astype(np.int64)
        elsewhere = np.full(len(orders), self.count)
        for at in range(1, orders.shape[1]):
            now = orders[:, at]
            total += self.pair[last, now] + self.via[elsewhere, last, now] + self.place[now, at]
            elsewhere = np.where(self.keeps[last, now], elsewhere, self.fresh[last, now])
            last = now
        return total

    def near(self, order: Sequence[int]) -> Orders:
        """Every order one step away: a run of set pieces moved, two exchanged, decks traded."""
        return np.array(list(self._near(list(order))) or [list(order)], dtype=np.intp)

    def bettered(self, order: Sequence[int]) -> Solution:
        """The order after steps that each save most, until none saves anything."""
        here = tuple(map(int, order))
        cost = int(self.costs(np.array([here]))[0])
        while True:
            batch = self.near(here)
            costs = self.costs(batch)
            at = int(costs.argmin())
            if costs[at] >= cost:
                return Solution(cost, here)
            cost, here = int(costs[at]), tuple(map(int, batch[at]))

    def _near(self, order: list[int]) -> Iterator[list[int]]:
        free = [at for at, slot in enumerate(self.task.slots()) if slot is None]
        inside = [order[at] for at in free]
        for run in _rearranged(inside):
            moved = list(order)
            for at, item in zip(free, run, strict=True):
                moved[at] = item
            yield moved
        yield from self._traded(order)

    def _traded(self, order: list[int]) -> Iterator[list[int]]:
        """Decks traded in one set piece, and in every run of them."""
        for first, end in combinations(range(len(order) + 1), 2):
            traded = [*order[:first], *(self.twin[i] for i in order[first:end]), *order[end:]]
            if traded != order:
                yield traded


def _rearranged(row: list[int]) -> Iterator[list[int]]:
    count = len(row)
    for length in (1, 2, 3):
        for start in range(count - length + 1):
            rest, run = row[:start] + row[start + length :], row[start : start + length]
            for at in range(len(rest) + 1):
                if at != start:
                    yield rest[:at] + run + rest[at:]
    for a, b in combinations(range(count), 2):
        exchanged = list(row)
        exchanged[a], exchanged[b] = exchanged[b], exchanged[a]
        yield exchanged


def _beam(task: ExactTask, bound: Bound, width: int) -> list[tuple[int, ...]]:
    """Complete orders of the last beam, the most promising first."""
    weigh = Weigh(task)
    count, nowhere = weigh.count, weigh.count
    starts = np.array(task.items_at(0))
    orders = starts[:, None]
    spent = weigh.place[starts, 0].astype(np.float64)
    elsewhere = np.full(len(starts), nowhere)
    used = weigh.piece[starts][:, None] == np.arange(task.places)[None, :]
    for at in range(1, task.places):
        may = np.isin(np.arange(count), task.items_at(at))
        open_ = may[None, :] & ~used[:, weigh.piece]
        row, now = np.nonzero(open_)
        last, far = orders[row, -1], elsewhere[row]
        cost = spent[row] + weigh.pair[last, now] + weigh.via[far, last, now]
        cost = cost + weigh.place[now, at]
        far = np.where(weigh.keeps[last, now], far, weigh.fresh[last, now])
        taken = used[row]
        taken[np.arange(len(row)), weigh.piece[now]] = True
        hope = cost + bound.ahead[at + 1][now, far] + (~taken @ bound.penalty)
        best = _distinct_best(hope, taken, now, far, width)
        orders = np.concatenate([orders[row[best]], now[best][:, None]], axis=1)
        spent, elsewhere, used = cost[best], far[best], taken[best]
    return [tuple(map(int, orders[i])) for i in np.argsort(spent, kind="stable")]


def _distinct_best(
    hope: NDArray[np.float64], taken: NDArray[np.bool_], now: Orders, far: Orders, width: int
) -> Orders:
    """Rows with the best hope, one for each state."""
    ranked = np.argsort(hope, kind="stable")
    ends = np.stack([now, far], axis=1).astype(np.uint16).view(np.uint8)
    state = np.concatenate([np.packbits(taken, axis=1), ends], axis=1)[ranked]
    _, first = np.unique(state, axis=0, return_index=True)
    kept: Orders = ranked[np.sort(first)[:width]]
    return kept
