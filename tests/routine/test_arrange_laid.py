"""arrange by the real layout, the clock, pairs and optional set pieces, worked by hand."""

from __future__ import annotations

from liveaid.routine import Routine
from liveaid.routine.arrange import arrange
from liveaid.routine.arrange.laid import left_out
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
