"""What two versions of a map differ in, every sentence of it as a performer reads it."""

from __future__ import annotations

import pytest

from liveaid.routine import Routine
from liveaid.routine.edits import Edit, edits, matched, new_names


def version(*pieces, sounds=None, **more) -> Routine:
    """A set piece a name, with what it has of its own beside it."""
    whole = []
    for n, each in enumerate(pieces):
        name, own = each if isinstance(each, tuple) else (each, {})
        left = {"hand": "runs", "sound": "a", "at": 8.0 * n, "bars_in": 4 * n}
        whole.append({"name": name, "bars": 4, "tempo": 120, "left": left} | own)
    known = {name: {"file": f"{name}.wav"} for name in "abc"} if sounds is None else sounds
    return Routine.model_validate({"title": "T", "sounds": known, "pieces": whole, **more})


def said(then: Routine, now: Routine) -> list[str]:
    return [str(edit) for edit in edits(then, now)]


def at(n, **own):
    """The set piece that was number n (from 0), however it is called or where it stands."""
    return {"left": {"hand": "runs", "sound": "a", "at": 8.0 * n, "bars_in": 4 * n}} | own


def test_nothing_changed_is_nothing_told():
    assert said(version("x", "y"), version("x", "y")) == []


@pytest.mark.parametrize(
    ("now", "told"),
    [
        (version("x", "y", ("z", {"tempo": 121.5})),
         ["set piece 3 z: tempo was 120, now 121.5"]),
        (version("x", ("y", {"prompt": "hold"}), "z"), ["set piece 2 y: prompt is now hold"]),
        (version("x", ("y", {"left": {"hand": "rests"}}), "z"),
         ["set piece 2 y: left.hand was runs, now rests",
          "set piece 2 y: left.sound was a, now nothing",
          "set piece 2 y: left.bars_in was 4, now nothing",
          "set piece 2 y: left.at was 8, now nothing"]),
        (version("x", "z"),
         ["set piece 2 z: left.bars_in was 8, now 4", "set piece 2 z: left.at was 16, now 8",
          "set piece 2 y is gone"]),
        (version("x", "y", "z", "w"), ["set piece 4 w is new"]),
        (version("x", ("new", at(1)), "z"), ["set piece 2 new: name was y, now new"]),
        (version(("z", at(2)), ("x", at(0)), ("y", at(1))), ["set piece 1 z was number 3"]),
        (version("x", "y", "z", title="U"), ["title was T, now U"]),
        (version("x", "y", "z", limit="3:00"), ["limit is now 3:00"]),
        (version("x", "y", "z", performer={"hamster": True}),
         ["performer.hamster was no, now yes"]),
        (version("x", "y", "z", sounds={"a": {"file": "a.wav"}, "b": {"file": "b.wav"}}),
         ["sound c is gone"]),
        (version("x", "y", "z", sounds={n: {"file": f"{n}.wav"} for n in "abcd"}),
         ["sound d is new"]),
        (version("x", "y", "z", sounds={"a": {"file": "a.wav"}, "b": {"file": "b.wav"},
                                        "c": {"file": "c.wav", "tempo": 90}}),
         ["sounds.c.tempo is now 90"]),
        (version("x", "y", "z", sounds={"a": {"file": "a.wav"}, "b": {"file": "b.wav"},
                                        "d": {"file": "c.wav"}}),
         ["sound d: name was c, now d"]),
    ],
)  # fmt: skip
def test_every_change_is_told_by_its_set_piece_and_field(now, told):
    assert said(version("x", "y", "z"), now) == told


def test_a_sound_called_otherwise_is_one_change_wherever_it_is_played():
    """Of two alike each new name takes one."""
    then = version("x", "y", sounds={"a": {"file": "s.wav"}, "b": {"file": "s.wav"}})
    plays = [{"left": at(n)["left"] | {"sound": "d"}} for n in range(2)]
    others = {"d": {"file": "s.wav"}, "e": {"file": "s.wav"}}
    now = version(("x", plays[0]), ("y", plays[1]), sounds=others)
    assert new_names(then, now) == {"a": "d", "b": "e"}
    assert said(then, now) == ["sound d: name was a, now d", "sound e: name was b, now e"]


def test_a_renamed_set_piece_is_the_nearest_that_is_played_alike():
    """Played alike in places 1, 2 and 5: the new one in place 4 was the fifth, then the second."""
    same = at(0)
    then = version(("p", same), ("q", same), "r", "s", ("t", same))
    now = version(("p", same), ("k", at(7)), "r", ("new", same), ("other", same))
    assert matched(then, now) == {0: 0, 2: 2, 3: 4, 4: 1}


def test_of_two_set_pieces_of_one_name_the_first_is_meant():
    then, now = version("x", ("x", at(5))), version("x")
    assert matched(then, now) == {0: 0}


def test_long_texts_are_cut_and_lists_written_out():
    """Of 60 characters the last three are dots."""
    long, just = "m" * 61, "m" * 60
    assert said(version("x"), version(("x", {"prompt": long}))) == [
        f"set piece 1 x: prompt is now {'m' * 57}..."
    ]
    assert said(version("x"), version(("x", {"prompt": just}))) == [
        f"set piece 1 x: prompt is now {just}"
    ]
    worked = {"left": {"hand": "works", "sound": "a", "from": 1.0, "to": 2.0}}
    struck = {"left": worked["left"] | {"strokes": [0, 1.5]}}
    assert said(version(("x", worked)), version(("x", struck))) == [
        "set piece 1 x: left.strokes is now 0, 1.5"
    ]


def test_an_edit_says_what_it_is_of():
    edit = Edit(piece=None, name="", field="metre", was="4", now=None)
    assert str(edit) == "metre was 4, now nothing"
