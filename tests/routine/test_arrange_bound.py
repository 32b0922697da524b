"""The bound that no order goes below, and the search that goes by it, on tables made by hand."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.routine.arrange import exact
from liveaid.routine.arrange.beyond import Weigh, _beam, _distinct_best, best_found
from liveaid.routine.arrange.bound import bound_of
from liveaid.routine.arrange.cost import TERMS, VIA_TERMS, Costs
from liveaid.routine.arrange.exact import ExactTask, exact_orders
from liveaid.routine.arrange.items import Item

SOUNDS_ON = {"both": ("runs", "runs"), "left": ("runs", "rests"), "right": ("rests", "runs")}


def task_of(decks, place, *, pair=0, via=0, pieces=None, free=None):
    """Items by the decks they sound on, each its own set piece or of those told; what each costs
    by place, after another, and on a deck that rested."""
    items, met = [], set()
    for number, word in zip(pieces or range(len(decks)), decks, strict=True):
        left, right = ({"hand": hand} for hand in SOUNDS_ON[word])
        plan = {"name": "P", "bars": 1, "tempo": 120, "left": left, "right": right}
        taken = Routine.model_validate({"title": "T", "pieces": [plan | {"count": "clock"}]})
        items.append(Item(number, number in met, taken.pieces[0]))
        met.add(number)
    count = len(items)
    pair_terms = np.zeros((len(TERMS), count, count), dtype=np.int32)
    via_terms = np.zeros((len(VIA_TERMS), count + 1, count, count), dtype=np.int32)
    pair_terms[-1], via_terms[0] = pair, via
    costs = Costs(tuple(items), pair_terms, via_terms, np.array(place, dtype=np.int32))
    return ExactTask(costs, tuple(sorted(met)) if free is None else free)


def plain_task():
    """A costs 0, B 1 and C 10 at each of three places: every order costs 11."""
    return task_of(["both"] * 3, [[0] * 3, [1] * 3, [10] * 3])


@pytest.mark.parametrize(
    ("rounds", "points", "penalty"),
    [
        # An order that may play twice: A B A, 1. Twice A, no C: a step of (11 - 1) / 2 each way.
        (1, 1, (0, 0, 0)),
        # A 5, B 1, C 5: B A B is 7; then twice B, no C: (11 - 7) / 2 = 2.
        (2, 7, (-5, 0, 5)),
        # A 5, B 3, C 3: B C B is 9; twice B, no A: 1.
        (3, 9, (-5, -2, 7)),
        # A 4, B 4, C 3: C A C is 10; twice C, no B: at least 1 is aimed at, a half each.
        (4, 10, (-4, -3, 7)),
        # A 4, B 3.5, C 3.5: B C B is 10.5, and points are whole: 11, which is what was reached.
        (5, 11, (-4, -2.5, 6.5)),
        (150, 11, (-4, -2.5, 6.5)),
    ],
)
def test_penalties_raise_the_bound_step_by_step(rounds, points, penalty):
    found = bound_of(plain_task(), reached=11, rounds=rounds)
    assert (found.points, tuple(found.penalty)) == (points, penalty)


def test_the_bound_is_not_raised_beyond_what_was_reached():
    """Aimed at 9: (9 - 1) / 2 = 4, then B A B is 6 and (9 - 6) / 2 = 1.5: A 4, B 2.5, C 4.5, and
    B A B is 9. An order that plays each once can't be bettered: nothing is asked further."""
    found = bound_of(plain_task(), reached=9)
    assert (found.points, tuple(found.penalty)) == (9, (-4, -1.5, 5.5))
    once = task_of(["both"] * 2, [[0, 9], [9, 0]])
    found = bound_of(once, reached=50)
    assert (found.points, tuple(found.penalty)) == (0, (0, 0))
    assert bound_of(task_of(["both"], [[7]]), reached=50).points == 7


def test_steps_that_are_too_long_are_halved_after_ten_that_raise_nothing():
    """Aimed at 1,000, a step is 499.5 and throws the penalties to and fro. The first round gives 1;
    ten more do not, and from then on steps are half as long, again and again."""
    rounds = (1, 11, 12, 30, 80, 100)
    found = [bound_of(plain_task(), reached=1000, rounds=most).points for most in rounds]
    assert found == [1, 1, 7, 9, 10, 11]


def drawn_task(seed, *, pieces=4, free=None):
    """Each set piece on the left deck, on the right and on both, some with a twin, all costs of
    their own."""
    rng = np.random.default_rng(seed)
    numbers = [*range(pieces), 0, 1]
    decks = [["left", "right", "both"][int(at)] for at in rng.integers(0, 3, len(numbers))]
    order = sorted(range(len(numbers)), key=lambda at: numbers[at])
    count = len(numbers)
    return task_of(
        [decks[at] for at in order], rng.integers(0, 40, (count, pieces)),
        pair=rng.integers(0, 60, (count, count)),
        via=rng.integers(0, 60, (count + 1, count, count)),
        pieces=[numbers[at] for at in order], free=free,
    )  # fmt: skip


def relaxed_from(task, at, last, elsewhere, penalty):
    """(cost, items) of every way on that keeps each place's own, may come back to a set piece, but
    not at once nor where it is the one remembered; penalties taken off."""
    if at == task.places:
        yield 0.0, ()
        return
    costs = task.costs
    piece = [item.piece for item in costs.items]
    for now in task.items_at(at):
        barred = [piece[k] for k in (last, elsewhere) if k is not None and k < len(piece)]
        if piece[now] in barred:
            continue
        cost, far = costs.place_terms[now, at] - penalty[piece[now]], len(piece)
        if last is not None:
            cost += costs.pair[last, now] + costs.via[elsewhere, last, now]
            far = costs.remembered(last, elsewhere, now)
        for more, rest in relaxed_from(task, at + 1, now, far, penalty):
            yield cost + more, (now, *rest)


@pytest.mark.parametrize(("seed", "free"), [(1, None), (2, None), (3, (0, 2, 3)), (4, (1, 3))])
def test_what_is_still_to_come_is_the_least_of_every_way_on(seed, free):
    task = drawn_task(seed, free=free)
    best = min(cost for cost, _ in orders(task))
    found = bound_of(task, reached=best)
    assert found.points <= best
    penalty, nowhere = found.penalty, len(task.costs.items)
    for at in range(1, task.places + 1):
        for last, far in product(range(nowhere), range(nowhere + 1)):
            ways = [cost for cost, _ in relaxed_from(task, at, last, far, penalty)]
            assert found.ahead[at][last, far] == pytest.approx(min(ways, default=np.inf))
    least, _ = min(relaxed_from(task, 0, None, nowhere, penalty))
    assert found.points == np.ceil(least + penalty.sum() - 1e-6)


def orders(task):
    """Every order that plays each set piece once, with its cost."""
    pieces = [item.piece for item in task.costs.items]
    for order in product(*(task.items_at(at) for at in range(task.places))):
        if len({pieces[item] for item in order}) == task.places:
            yield task.costs.total(order), order


@pytest.mark.parametrize(("seed", "free"), [(1, None), (2, None), (3, (0, 2, 3)), (5, (1, 2, 3))])
def test_a_beam_wide_enough_for_all_finds_every_end_and_the_best(seed, free):
    """The bound leaves nothing out: each state's cheapest beginning is kept."""
    task = drawn_task(seed, free=free)
    every = sorted(orders(task))
    ends = _beam(task, bound_of(task, reached=every[0][0]), 10_000)
    costs = [task.costs.total(order) for order in ends]
    assert costs == sorted(costs)
    assert costs[0] == every[0][0]
    assert {order for _, order in every} >= set(ends)
    assert next(exact_orders(task)).cost == every[0][0]
    found, bound = best_found(task)
    assert bound <= found[0].cost == every[0][0]
    assert [one.cost for one in found] == sorted(one.cost for one in found)
    assert all(task.costs.total(one.order) == one.cost for one in found)


def test_many_orders_are_weighed_at_once_as_one_by_one():
    task = drawn_task(7)
    every = list(orders(task))
    weighed = Weigh(task).costs(np.array([order for _, order in every]))
    assert weighed.tolist() == [cost for cost, _ in every]


def test_one_step_away_lies_what_is_moved_exchanged_or_traded():
    """Three set pieces a b c, a with its twin A. Moved: one, two or three running; exchanged; and a
    run with a in it traded."""
    task = task_of(["left", "right", "both", "both"], [[0] * 3] * 4, pieces=[0, 0, 1, 2])
    a, twin, b, c = range(4)
    near = [tuple(map(int, row)) for row in Weigh(task).near((a, b, c))]
    moved = [(b, a, c), (b, c, a), (b, a, c), (a, c, b), (c, a, b), (a, c, b), (c, a, b), (b, c, a)]
    exchanged = [(b, a, c), (c, b, a), (a, c, b)]
    assert sorted(near) == sorted([*moved, *exchanged, *[(twin, b, c)] * 3])
    fixed = task_of(["both"] * 3, [[0] * 3] * 3, free=(0, 2))
    assert set(map(tuple, Weigh(fixed).near((0, 1, 2)).tolist())) == {(2, 1, 0)}
    alone = task_of(["both"] * 3, [[0] * 3] * 3, free=())
    assert Weigh(alone).near((0, 1, 2)).tolist() == [[0, 1, 2]]


def test_an_order_is_bettered_until_nothing_helps():
    """Each set piece wants the place of its own number: 0 there, 5 anywhere else."""
    place = [[0 if at == piece else 5 for at in range(5)] for piece in range(5)]
    task = task_of(["both"] * 5, place)
    weigh = Weigh(task)
    for order in permutations(range(5)):
        found = weigh.bettered(order)
        assert (found.cost, found.order) == (0, (0, 1, 2, 3, 4))


def test_of_each_state_the_one_with_the_best_hope_is_kept():
    """States: which are taken, which was last, which is remembered. The third is the first once
    more at a worse hope; at most so many are kept, the best first."""
    taken = np.array([[1, 1, 0], [1, 0, 1], [1, 1, 0], [1, 1, 0], [0, 1, 1]], dtype=bool)
    now, far = np.array([1, 2, 1, 1, 2]), np.array([3, 3, 3, 0, 3])
    hope = np.array([5.0, 1.0, 6.0, 4.0, 9.0])
    assert _distinct_best(hope, taken, now, far, 9).tolist() == [1, 3, 0, 4]
    assert _distinct_best(hope, taken, now, far, 2).tolist() == [1, 3]


@pytest.mark.parametrize(
    ("seed", "free"),
    [(1, None), (2, None), (3, (0, 2, 3)), (4, (1, 3)), (5, (1, 2, 3)), (6, ()), (7, (0,))],
)
def test_every_order_comes_in_turn_from_the_exact_search(seed, free):
    """Each with what it costs, the cheapest first, as they are found one by one."""
    task = drawn_task(seed, free=free)
    found = list(exact_orders(task))
    every = list(orders(task))
    assert [one.cost for one in found] == sorted(cost for cost, _ in every)
    assert {(one.cost, tuple(one.order)) for one in found} == {
        (cost, tuple(order)) for cost, order in every
    }


@pytest.mark.parametrize("seed", range(1, 7))
def test_the_best_order_is_walked_to_straight(monkeypatch, seed):
    """What is still to come is known for every state, so that at each place only the items that may
    come next are weighed: four places, six items."""
    asked, whole = [], exact._Ahead.still
    monkeypatch.setattr(
        exact._Ahead, "still", lambda self, *told: asked.append(told) or whole(self, *told)
    )
    task = drawn_task(seed)
    best = next(exact_orders(task))
    assert best.cost == min(cost for cost, _ in orders(task))
    assert len(asked) <= 4 * 6
    asked.clear()
    assert next(exact_orders(plain_task())).cost == 11
    assert len(asked) == 3 + 2 + 1  # where all orders cost the same too
