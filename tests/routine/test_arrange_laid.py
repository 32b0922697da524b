"""arrange by the real layout, the clock, pairs and optional set pieces, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from liveaid.routine import Routine
from liveaid.routine.arrange import arrange
from liveaid.routine.arrange.cost import TERMS, Weights, costs_of
from liveaid.routine.arrange.laid import in_order, laid_rows, left_out
from liveaid.routine.layout.lay import lay_out_routine
from liveaid.routine.layout.material import Material
from liveaid.routine.way import changes

RATE_HZ = 44_100
MATERIALS = {
    name: Material(name=name, frames=600 * RATE_HZ, rate_hz=RATE_HZ, tempo_bpm=120.0, gridded=True)
    for name in "ab"
}
SOUNDS = {name: {"file": f"{name}.wav", "tempo": 120} for name in "ab"}
REST = {"hand": "rests"}


def made(*pieces, **more) -> Routine:
    """Set pieces of four bars at 120 BPM, 8 s, all of energy 3."""
    each = [
        {"name": name, "bars": 4, "tempo": 120, "left": left, "right": REST, **own}
        for name, left, own in pieces
    ]
    return Routine.model_validate({"title": "T", "sounds": SOUNDS, "pieces": each, **more})


def runs(sound, bars_in=0):
    return {"hand": "runs", "sound": sound, "bars_in": bars_in}


def lay(routine: Routine) -> Routine | None:
    return lay_out_routine(routine, MATERIALS).placed


def names(answer):
    return [item.taken.name for item in answer.items]


def test_the_winding_is_what_the_layout_gives_not_a_constant():
    # As written b lies between two halves of one sound: two changes with no time. In the order
    # a1 a2 b the record runs on once: one is left.
    r = made(("a1", runs("a"), {}), ("b", runs("b"), {}), ("a2", runs("a", 4), {}))
    found = arrange(r, free=[0, 1, 2], lay=lay)
    assert names(found.answers[0])[:2] == ["a1", "a2"] or names(found.answers[0])[1:] == [
        "a1",
        "a2",
    ]
    best = found.answers[0].laid
    assert sum(move.way == "runs on" for move in changes(best)) == 1
    wound = sum(abs(move.turns) for move in changes(best) if move.by_a_hand)
    assert found.answers[0].by_term["winding"] == round(6 * wound)
    assert not found.is_as_written


def test_when_the_written_order_is_the_best_it_says_so():
    r = made(("a1", runs("a"), {}), ("a2", runs("a", 4), {}), ("b", runs("b"), {}))
    found = arrange(r, free=[1], lay=lay)
    assert found.is_as_written


def test_pairs_that_belong_together_stay_together():
    free = [
        ("x", runs("a"), {"energy": 2}), ("call", runs("a", 20), {}), ("y", runs("b"), {}),
        ("answer", runs("b", 20), {"follows": "call"}),
    ]  # fmt: skip
    found = arrange(made(*free), free=[0, 1, 2, 3])
    order = names(found.answers[0])
    assert order.index("answer") == order.index("call") + 1


def test_the_least_music_that_keeps_the_limit_is_left_out():
    # 8 + 8 + 4 + 16 = 36 s against 30 s: of the optional 8, 4 and 16 s the 8 s suffice.
    r = made(
        ("a", runs("a"), {}), ("b", runs("b"), {"optional": True}),
        ("c", runs("a", 8), {"optional": True, "bars": 2}),
        ("d", runs("b", 8), {"optional": True, "bars": 8}),
        limit="0:30",
    )  # fmt: skip
    assert left_out(r) == (1,)
    found = arrange(r, free=[0, 2, 3])
    assert found.left_out == (1,)
    assert sorted(item.piece for item in found.answers[0].items) == [0, 2, 3]


def test_nothing_is_left_out_of_a_routine_that_keeps_its_limit():
    r = made(("a", runs("a"), {}), ("b", runs("b"), {"optional": True}), limit="0:16")
    assert left_out(r) == ()


def placed(*cues, **more) -> Routine:
    """Set pieces of 8 s on the left deck at these seconds; None: it rests, and the right one runs
    on from 0."""
    sides = [
        {"left": {"hand": "runs", "at": at}, "right": REST} if at is not None
        else {"left": REST, "right": {"hand": "runs", "at": 8.0 * n}}
        for n, at in enumerate(cues)
    ]  # fmt: skip
    each = [
        {"name": f"P{n}", "bars": 4, "tempo": 120, "part": "intro", "energy": 2} | plans
        for n, plans in enumerate(sides)
    ]
    return Routine.model_validate({"title": "T", "pieces": each, **more})


def rows_of(routine: Routine, order=None):
    costs = costs_of(routine, [False] * len(routine.pieces), Weights())
    order = order or range(len(routine.pieces))
    rows = laid_rows(costs, order, in_order(costs, routine, order), Weights())
    return [{t: int(p) for t, p in zip(TERMS, row, strict=True) if p} for row in rows]


def test_an_order_laid_out_costs_its_real_winds_and_energy_by_the_clock():
    """Middles at 1/4 and 3/4 of the time: the arc wants 2.5 and 4.6667. From 8 s on to 17 s: 5
    turns at 6, 2.1667 s are 4.3333 beats short at 1000; 60 for the tight change."""
    assert rows_of(placed(0.0, 17.0)) == [
        {"energy": 20}, {"energy": 107, "winding": 30, "short": 4333, "tight": 60},
    ]  # fmt: skip
    # It runs on.
    assert rows_of(placed(0.0, 8.0)) == [{"energy": 20}, {"energy": 107}]


def test_with_a_rest_between_only_the_turns_are_paid():
    """Middles at 1/6, 1/2 and 5/6: 2.3333, 3 and 4.5 are wanted. In the order 1, 3, 2 no rest."""
    energy = [13, 40, 100]
    rows = rows_of(placed(0.0, None, 17.0))
    assert [row["energy"] for row in rows] == energy
    assert rows[2] == {"energy": 100, "winding": 30}
    other = rows_of(placed(0.0, None, 17.0), (0, 2, 1))
    assert other[1] == {"energy": 40, "winding": 30, "short": 4333, "tight": 60}


@pytest.mark.parametrize(
    ("limit", "bars", "gone"),
    [
        ("0:24", (4, 4, 4), ()),  # 24 s are just 24 s
        ("0:23", (4, 4, 4), (1,)),
        ("0:16", (4, 4, 4), (1,)),
        ("0:15", (4, 4, 4), (1, 2)),
        ("0:16", (4, 4, 2, 2), (1,)),  # one of 8 s before two of 4
        ("0:20", (4, 4, 2, 2), (2,)),
        ("0:07", (4, 4, 4), ()),  # nothing does
        (None, (4, 4, 4), ()),
    ],
)
def test_as_little_as_keeps_the_limit_is_left_out(limit, bars, gone):
    """Four bars are 8 s, two 4; all but the first may go."""
    pieces = [(f"P{n}", runs("a", 4 * n), {"bars": b, "optional": n > 0})
              for n, b in enumerate(bars)]  # fmt: skip
    assert left_out(made(*pieces, **({"limit": limit} if limit else {}))) == gone


def test_a_routine_is_never_left_out_as_a_whole():
    pieces = [(f"P{n}", runs("a", 4 * n), {"optional": True}) for n in range(2)]
    assert left_out(made(*pieces, limit="0:08")) == (0,)
    assert left_out(made(*pieces, limit="0:07")) == ()


def test_what_is_left_moves_and_trades_decks_by_its_own_number():
    """The second of four goes; the third may move and the last trade decks."""
    pieces = [(f"P{n}", runs("a", 4 * n), {"optional": n == 1}) for n in range(4)]
    r = made(*pieces, limit="0:24")
    found = arrange(r, free=[1, 2], swap=[1, 3], best=9)
    assert found.left_out == (1,)
    orders = {tuple(item.piece for item in answer.items) for answer in found.answers}
    assert orders == {(0, 2, 3)}
    whole = arrange(r, free=[2, 3], swap=[3], best=9)
    assert {tuple(item.piece for item in answer.items) for answer in whole.answers} == {
        (0, 2, 3), (0, 3, 2),
    }  # fmt: skip
    swapped = {item.piece for answer in whole.answers for item in answer.items if item.swapped}
    assert swapped <= {3}
    assert [item.piece for item in whole.written.items] == [0, 2, 3]


def test_an_order_that_cannot_be_laid_out_costs_what_the_search_says():
    r = placed(0.0, 17.0)
    found = arrange(r, free=[], lay=lambda routine: None)
    assert (found.laid_orders, found.answers[0].laid) == (0, None)
    assert found.answers[0].cost == arrange(r, free=[]).answers[0].cost
    laid = arrange(r, free=[], lay=lambda routine: routine)
    assert (laid.laid_orders, laid.exact, laid.bound) == (1, False, 0)
    assert laid.answers[0].cost == 20 + 107 + 30 + 4333 + 60


def test_a_wind_back_costs_its_turns_as_one_on_and_what_may_be_late_is_not_short():
    """2 s are needed, .5 free and .25 given: 1.25 s lack, 2.5 beats of .5 s."""
    moves = {"by_a_hand": True, "needed_s": 2.0, "turns": -5.0, "free_s": 0.5, "give_s": 0.25,
             "verdict": "impossible", "after": 1}  # fmt: skip
    r = placed(0.0, 17.0)
    costs = costs_of(r, [False, False], Weights())
    found = []
    for changed in (
        {}, {"by_a_hand": False}, {"needed_s": 0.0}, {"verdict": "tight"}, {"verdict": "easy"},
        {"turns": None},
    ):  # fmt: skip
        with pytest.MonkeyPatch.context() as patch:
            told = [SimpleNamespace(**moves | changed)]
            patch.setattr("liveaid.routine.arrange.laid.changes", lambda _, told=told: told)
            found.append(tuple(laid_rows(costs, (0, 1), r, Weights())[1][:3]))
    assert found == [
        (30, 2500, 60), (0, 0, 0), (0, 0, 0), (30, 0, 60), (30, 0, 0), (0, 2500, 60),
    ]  # fmt: skip
