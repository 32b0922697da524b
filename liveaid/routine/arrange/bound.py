"""A cost no order can go below, for more set pieces than all subsets can be weighed for.

State-space relaxation with penalties: Christofides, Mingozzi and Toth, "State-space relaxation
procedures for the computation of bounds to routing problems", Networks 11 (1981) 145-164 (from
memory). An order may play a set piece twice and leave another out; each is paid for by a penalty
that is raised while it is left out and lowered while it is played too often (subgradient steps).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveaid.routine.arrange.exact import ExactTask

Floats = NDArray[np.float64]

ROUNDS = 150
"""Penalty updates; the bound has settled by then on the benchmark's instances."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A lower bound, and what it says of every state on the way."""

    points: int
    """No order costs less."""
    ahead: list[Floats]
    """`ahead[p][a, b]`: least to come after p places when a was last and b elsewhere, penalised."""
    penalty: Floats
    """By set piece: added back for each one still to come."""


def bound_of(task: ExactTask, *, reached: int, rounds: int = ROUNDS) -> Bound:
    """The best bound the penalties come to; `reached` is the cost of some order, to aim at."""
    space = _Space(task)
    penalty = np.zeros(task.places)
    best = Bound(0, space.ahead(penalty), penalty)
    scale, since = 1.0, 0
    for _ in range(rounds):
        ahead = space.ahead(penalty)
        value, visits = space.cheapest(ahead, penalty)
        points = int(np.ceil(value - 1e-6))
        if points > best.points:
            best, since = Bound(points, ahead, penalty.copy()), 0
        else:
            since += 1
            if since == 10:
                scale, since = scale / 2, 0
        lack = 1.0 - visits
        off = float(np.square(lack).sum())
        if off == 0.0 or best.points >= reached:
            break
        penalty = penalty + scale * max(reached - value, 1.0) / off * lack
    return best


class _Space:
    """The relaxed states: place, last item, where the resting deck last sounded."""

    def __init__(self, task: ExactTask) -> None:
        self.task, costs = task, task.costs
        self.count = len(costs.items)
        self.piece = np.array([item.piece for item in costs.items])
        self.place = costs.place_terms.astype(np.float64)
        # step[a, b, j]: j after a, with b elsewhere; then[a, b, j]: what is elsewhere after that.
        # By [b, a, j] in the tables, by [a, b, j] here.
        self.step = (costs.via + costs.pair[None]).transpose(1, 0, 2).astype(np.float64)
        keeps, fresh = costs.elsewhere()
        every = np.arange(self.count + 1)[None, :, None]
        self.then = np.where(keeps[:, None, :], every, fresh[:, None, :])
        same = self.piece[:, None] == self.piece[None, :]
        self.step += np.where(same, np.inf, 0.0)[:, None, :]
        self.step[:, :-1, :] += np.where(same, np.inf, 0.0)[None, :, :]
        self.may = [np.isin(np.arange(self.count), task.items_at(at)) for at in range(task.places)]

    def ahead(self, penalty: Floats) -> list[Floats]:
        """Least to come after each number of places from 1, penalties taken off."""
        tables = [np.zeros((self.count, self.count + 1))]
        for at in range(self.task.places - 1, 0, -1):
            tables.append(self.onward(at, tables[-1], penalty).min(axis=2))
        tables.append(tables[-1])
        return tables[::-1]

    def onward(self, at: int, table: Floats, penalty: Floats) -> Floats:
        """By (a, b, j): cost of going on with j at a place, and the least to come after it."""
        item = self.place[:, at] - penalty[self.piece] + np.where(self.may[at], 0.0, np.inf)
        every = np.arange(self.count)[None, None, :]
        onward: Floats = self.step + item[None, None, :] + table[every, self.then]
        return onward

    def cheapest(self, ahead: list[Floats], penalty: Floats) -> tuple[float, Floats]:
        """Cost of the cheapest relaxed order, and how often it plays each.

        Penalties raise some as much as they lower others, so in a true order they cancel out.
        """
        nowhere = self.count
        first = self.place[:, 0] - penalty[self.piece] + np.where(self.may[0], 0.0, np.inf)
        first = first + ahead[1][:, nowhere]
        last, elsewhere = int(first.argmin()), nowhere
        value = float(first[last])
        visits = np.zeros(self.task.places)
        visits[self.piece[last]] += 1
        for at in range(1, self.task.places):
            item = self.place[:, at] - penalty[self.piece] + np.where(self.may[at], 0.0, np.inf)
            then = self.then[last, elsewhere]
            onward = self.step[last, elsewhere] + item
            onward = onward + ahead[at + 1][np.arange(self.count), then]
            j = int(onward.argmin())
            last, elsewhere = j, int(then[j])
            visits[self.piece[j]] += 1
        return value, visits
