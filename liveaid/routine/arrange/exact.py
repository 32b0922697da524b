"""The best orders, exactly: dynamic programming over subsets, then the best few read off it.

Held and Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962) 196-210:
what the set pieces still to come cost at least depends only on which they are, on the last one
played, and here also on where the deck that rests in it sounded last. A `fixed` set piece keeps
its place number; the subsets are of the free ones. The table of what is still to come is filled
from the end; a best-first search guided by it then meets complete orders in order of cost.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from liveaid.routine.arrange.cost import Costs, Points

EXACT_FREE = 16
"""Free set pieces up to which the search is exact: 2^16 subsets take seconds and 280 MB."""

_FAR = np.int32(2**30)


@dataclass(frozen=True, slots=True)
class ExactTask:
    """What is to be arranged: the cost tables, and who may stand where."""

    costs: Costs
    free: tuple[int, ...]
    """Set pieces whose place is free; every other keeps its own."""

    @property
    def places(self) -> int:
        """How many set pieces are to be put in order."""
        return 1 + max(item.piece for item in self.costs.items)

    def slots(self) -> list[int | None]:
        """For each place its fixed set piece, or None for a free one."""
        return [None if at in self.free else at for at in range(self.places)]

    def items_at(self, at: int) -> list[int]:
        """The numbers of the items that may stand at a place."""
        fixed = self.slots()[at]
        pieces = self.free if fixed is None else (fixed,)
        return [i for i, item in enumerate(self.costs.items) if item.piece in pieces]


@dataclass(frozen=True, slots=True)
class Solution:
    """One order of items and its cost in points."""

    cost: int
    order: tuple[int, ...]


def exact_orders(task: ExactTask) -> Iterator[Solution]:
    """Every order, cheapest first, worked out as it is asked for."""
    ahead = _Ahead(task)
    start: tuple[int, ...] = ()
    nowhere = len(task.costs.items)
    # Ties go to the longer order, so that a plateau of equals is walked straight to its end.
    queue: list[tuple[int, int, tuple[int, ...], int, int]] = [(0, 0, start, 0, nowhere)]
    pair, via = ahead.pair, ahead.via
    while queue:
        bound, _, order, spent, elsewhere = heapq.heappop(queue)
        at = len(order)
        if at == task.places:
            yield Solution(bound, order)
            continue
        used = {task.costs.items[item].piece for item in order}
        for item in task.items_at(at):
            if task.costs.items[item].piece in used:
                continue
            cost, now = spent + int(ahead.place[item, at]), nowhere
            if order:
                cost += int(pair[order[-1], item]) + int(via[elsewhere, order[-1], item])
                now = task.costs.remembered(order[-1], elsewhere, item)
            more = (*order, item)
            total = cost + ahead.still(used | {task.costs.items[item].piece}, more, now)
            heapq.heappush(queue, (total, -len(more), more, cost, now))


class _Ahead:
    """What the places still to fill cost at least, for every state of the order so far."""

    def __init__(self, task: ExactTask) -> None:
        self.task = task
        self.pair, self.via = task.costs.pair, task.costs.via
        self.place: Points = task.costs.place_terms
        self._subsets = _Subsets(len(task.free))
        self._bit = {piece: 1 << number for number, piece in enumerate(task.free)}
        self._rank: dict[int, int] = {item: i for at in range(task.places)
                                      for i, item in enumerate(task.items_at(at))}  # fmt: skip
        self._taken = np.cumsum([slot is None for slot in task.slots()])
        self._layers: dict[int, NDArray[np.int32]] = {}
        for at in range(task.places, 0, -1):
            self._layers[at] = self._layer(at)

    def still(self, used: set[int], order: Sequence[int], elsewhere: int) -> int:
        """The least points that the places still to fill cost after an order so far."""
        bits = sum(self._bit.get(piece, 0) for piece in used)
        row = self._subsets.number[bits]
        return int(self._layers[len(order)][self._rank[order[-1]], row, elsewhere])

    def _layer(self, at: int) -> NDArray[np.int32]:
        """The table after `at` places: by last item, subset of free ones, and elsewhere."""
        task, nowhere = self.task, len(self.task.costs.items)
        last_items = task.items_at(at - 1)
        subsets = self._subsets.of_size[int(self._taken[at - 1])]
        if at == task.places:
            return np.zeros((len(last_items), len(subsets), nowhere + 1), dtype=np.int32)
        table = np.full((len(last_items), len(subsets), nowhere + 1), _FAR, dtype=np.int32)
        for j in task.items_at(at):
            bit_j = self._bit.get(task.costs.items[j].piece, 0)
            for a in last_items:
                bit_a = self._bit.get(task.costs.items[a].piece, 0)
                if bit_a & bit_j:
                    continue
                rows = np.nonzero((subsets & bit_a == bit_a) & (subsets & bit_j == 0))[0]
                then = self._subsets.number[subsets[rows] | bit_j]
                self._relax(table[self._rank[a]], rows, then, a, j, at)
        return table

    def _relax(
        self, table: NDArray[np.int32], rows: NDArray[np.intp], then: NDArray[np.intp],
        a: int, j: int, at: int,
    ) -> None:  # fmt: skip
        """Better the states whose last item is a by letting j follow."""
        nowhere = len(self.task.costs.items)
        following = self._layers[at + 1][self._rank[j]]
        step = self.pair[a, j] + self.place[j, at]
        if len(self.task.costs.items[a].sounding) != 1:
            now = self.task.costs.remembered(a, nowhere, j)
            reached = following[then, now] + (step + self.via[nowhere, a, j])
            table[rows, nowhere] = np.minimum(table[rows, nowhere], reached)
            return
        now = self.task.costs.remembered(a, nowhere, j)
        kept = self.task.costs.keeps(a, j)
        reached = following[then] if kept else following[then, now][:, None]
        table[rows] = np.minimum(table[rows], reached + (step + self.via[:, a, j])[None, :])


class _Subsets:
    """All subsets of the free set pieces by size, and the number of each within its size."""

    def __init__(self, count: int) -> None:
        self.number = np.zeros(1 << count, dtype=np.intp)
        self.of_size: list[NDArray[np.int64]] = []
        for size in range(count + 1):
            chosen = [sum(1 << bit for bit in bits) for bits in combinations(range(count), size)]
            subsets = np.array(chosen, dtype=np.int64)
            self.number[subsets] = np.arange(len(subsets))
            self.of_size.append(subsets)
