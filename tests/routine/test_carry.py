"""What an edited map still finds on the deck files there are, plan by plan."""

import pytest

from liveaid.routine import Routine
from liveaid.routine.carry import carried

SOUNDS = {"rain": {"file": "rain.wav", "tempo": 120}, "hey": {"file": "hey.wav"}}


def routine_of(*plans, sounds=SOUNDS, **more):
    """Set pieces of four bars at 120 BPM by what the left hand does in each."""
    pieces = []
    for number, plan in enumerate(plans):
        own = {key: plan.pop(key) for key in ("name", "bars", "tempo", "juggle") if key in plan}
        pieces.append(
            {"name": f"P{number}", "bars": 4, "tempo": 120, "count": "clock", "left": plan} | own
        )
    return Routine.model_validate({"title": "T", "sounds": sounds, "pieces": pieces} | more)


def runs(**more):
    return {"hand": "runs", "sound": "rain"} | more


def works(**more):
    return {"hand": "works", "sound": "hey"} | more


def seconds(now, then, placed):
    """Where each left plan begins on the deck, or None where the decks do not hold it all."""
    found = carried(now, then, placed)
    return found and [
        piece.left.at_s if piece.left.hand == "runs" else getattr(piece.left, "from_s", None)
        for piece in found.pieces
    ]


THEN = (runs(), works(**{"from": 0.5, "to": 1.5, "cue": 0.75}), runs(bars_in=4))
PLACED = (runs(at=1.8), works(**{"from": 20.0, "to": 21.0, "cue": 20.25}), runs(bars_in=4, at=9.8))


def all_of(*changes, **more):
    """The map as it was, with some plans changed by their place."""
    plans = [dict(plan) for plan in THEN]
    for place, change in changes:
        plans[place] |= change
    return routine_of(*plans, **more)


@pytest.mark.parametrize(
    ("now", "held"),
    [
        (all_of(), [1.8, 20.0, 9.8]),
        (all_of((0, {"name": "New name"})), [1.8, 20.0, 9.8]),
        (all_of((0, {"bars": 3})), [1.8, 20.0, 9.8]),  # it is shorter
        (all_of((0, {"bars": 5})), None),
        (all_of((0, {"tempo": 121})), None),
        (all_of((0, {"bars_in": 2})), None),
        (all_of((0, {"bars_in": 4})), [9.8, 20.0, 9.8]),  # as the third is
        (all_of((0, {"sound": "hey"})), None),
        (all_of((1, {"bars": 3})), None),  # a span is as long as it was made
        (all_of((1, {"from": 0.75, "to": 1.75, "cue": 1.0})), [1.8, 20.0, 9.8]),  # as long, alike
        (all_of((1, {"to": 1.75})), None),
        (all_of((1, {"cue": 1.0})), None),
        (all_of((1, {"acts": {"0": "push for 1"}})), None),
        (routine_of(runs(), runs(sound="hey"), runs(bars_in=4)), None),
        (routine_of(runs(), works(), runs(bars_in=4)), None),  # nothing says it is as long
    ],
)
def test_what_the_deck_files_hold_of_an_edited_map(now, held):
    then = routine_of(*(dict(plan) for plan in THEN))
    assert seconds(now, then, routine_of(*(dict(plan) for plan in PLACED))) == held


def test_a_metre_a_speed_or_a_sound_that_is_heard_otherwise_needs_new_ones():
    then = routine_of(*(dict(plan) for plan in THEN))
    placed = routine_of(*(dict(plan) for plan in PLACED))
    for more in (
        {"metre": 3}, {"turntable": {"rpm": 45}},
        {"sounds": SOUNDS | {"rain": {"file": "rain.wav", "tempo": 121}}},
    ):  # fmt: skip
        assert carried(all_of(**more), then, placed) is None
    spare = SOUNDS | {"bell": {"file": "bell.wav"}}
    found = carried(all_of(sounds=spare), then, placed)
    assert found.sounds["bell"].file == "bell.wav"
    assert found.decks == placed.decks


def test_a_rest_needs_no_place_and_a_new_set_piece_one_that_sounds_alike():
    then = routine_of(*(dict(plan) for plan in THEN))
    placed = routine_of(*(dict(plan) for plan in PLACED))
    now = routine_of({"hand": "rests"}, runs(name="P0"), runs(name="Once more", bars_in=4))
    assert seconds(now, then, placed) == [None, 1.8, 9.8]
