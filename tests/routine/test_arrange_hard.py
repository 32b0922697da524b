"""Hard set pieces are kept apart where the order allows it."""

from __future__ import annotations

from itertools import permutations

from liveaid.routine import Routine
from liveaid.routine.arrange import arrange
from liveaid.routine.arrange.cost import TERMS, Weights, costs_of
from liveaid.routine.check.act_rules import hardness

PLACES = {"a": {"from": 10.0, "to": 10.45}}


def piece(name: str, acts: dict[str, str]) -> dict[str, object]:
    right = {"hand": "works", "from": 10.0, "to": 13.0, "acts": acts, "places": PLACES}
    return {"name": name, "bars": 2, "tempo": 120, "order": "free", "right": right}


# A quarter turn in 0.125 s needs 0.1118: 0.894 of what there is. In a beat: 0.224.
HARD, EASY = {"0": "push a for 1/4"}, {"0": "push a for 1"}


def routine() -> Routine:
    names = [("H1", HARD), ("H2", HARD), ("E1", EASY), ("E2", EASY)]
    return Routine.model_validate({"title": "T", "pieces": [piece(n, a) for n, a in names]})


def test_hardness_is_the_largest_part_of_what_hands_can_do():
    assert [round(hardness(routine(), index), 3) for index in range(4)] == [
        0.894,
        0.894,
        0.224,
        0.224,
    ]


def test_two_hard_ones_running_cost_what_the_weight_says():
    costs = costs_of(routine(), [False] * 4, Weights())
    hard = costs.pair_terms[TERMS.index("hard")]
    assert (hard[0, 1], hard[1, 0], hard[0, 2], hard[2, 3]) == (80, 80, 0, 0)


def test_the_best_order_has_no_two_hard_ones_side_by_side():
    """By trying all 24: the least cost is of an order with an easy one between."""
    costs = costs_of(routine(), [False] * 4, Weights())
    best = min(permutations(range(4)), key=costs.total)
    assert abs(best.index(0) - best.index(1)) > 1
    first = arrange(routine(), free=range(4), best=1).answers[0]
    order = [item.piece for item in first.items]
    places = [order.index(0), order.index(1)]
    assert abs(places[0] - places[1]) > 1
