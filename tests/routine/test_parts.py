"""Where the parts of a set piece lie on its record before it is rendered, worked out by hand.

At 33 1/3 a turn is 1.8 s, so an hour of the sticker's clock face is 0.15 s. Parts lie at least
0.06 s apart, and each begins at an hour of its own.
"""

from __future__ import annotations

import pytest

from liveaid.routine import Routine
from liveaid.routine.parts import label_of, laid_parts
from liveaid.routine.written_numbers import LineError


def routine_of(parts, *, sounds=None, **plan):
    """Right is worked at 120 BPM; `parts`: name to from, to and, where there is one, attack."""
    words = {"from": 0, "to": 1, "attack": 2}
    told = {name: {word: at[n] for word, n in words.items() if n < len(at)}
            for name, at in parts.items()}  # fmt: skip
    tree = {
        "title": "T",
        "sounds": {"s": {"file": "s.wav", "kind": "effect", "parts": told}, **(sounds or {})},
        "pieces": [{
            "name": "P", "bars": 4, "tempo": 120, "left": {"hand": "runs", "at": 0},
            "right": {"hand": "works", "sound": "s", **plan},
        }],
    }  # fmt: skip
    return Routine.model_validate(tree)


def laid(routine, wanted):
    """From, begin and to of each part, by label, to 0.1 ms."""
    found = laid_parts(routine, 0, routine.pieces[0].plan("right"), wanted.split())
    return {
        label: tuple(round(s, 4) for s in (at.from_s, at.begin_s, at.to_s))
        for label, at in found.items()
    }


def test_the_way_the_hand_goes_decides_which_lies_first():
    """a is 0.3 s, b 0.2 s. a, then b: a from 0 to 0.3, b from the next hour after 0.36, 0.45: the
    hand goes 0.15 s. The other way round b would end at 0.2, a begin at 0.3 and end at 0.6, and the
    hand go back 0.6 s."""
    r = routine_of({"a": (1.0, 1.3), "b": (2.0, 2.2)})
    assert laid(r, "a b") == {"a": (0.0, 0.0, 0.3), "b": (0.45, 0.45, 0.65)}
    assert laid(r, "b a") == {"b": (0.0, 0.0, 0.2), "a": (0.3, 0.3, 0.6)}
    # b, then twice a and b. With a first: twice 0.65 s back and twice 0.15 s on, 1.6 s in all; with
    # b first twice 0.1 s on and twice 0.6 s back, 1.4 s.
    assert laid(r, "b a b a b") == {"b": (0.0, 0.0, 0.2), "a": (0.3, 0.3, 0.6)}
    # So it is too where a comes first, twice there and twice back.
    assert laid(r, "a b a b a") == {"b": (0.0, 0.0, 0.2), "a": (0.3, 0.3, 0.6)}


def test_attacks_lie_at_the_hours():
    """a begins to be heard 0.05 s after its start, b 0.1 s. a from 0 to 0.3 begins at 0.05; b needs
    0.3 + 0.06 + 0.1 - 0.05 = 0.41 s from there, 2.7 hours: 3, 0.45 s, so it begins at 0.5 s."""
    r = routine_of({"a": (1.0, 1.3, 1.05), "b": (2.0, 2.2, 2.1)})
    assert laid(r, "a b") == {"a": (0.0, 0.05, 0.3), "b": (0.4, 0.5, 0.6)}
    found = laid_parts(r, 0, r.pieces[0].plan("right"), ["a", "b"])
    assert found["b"].way_s == pytest.approx(0.1)
    assert found["a"].way_s == pytest.approx(0.25)


def test_an_hour_that_is_taken_is_left_to_the_next():
    """a lasts 1.7 s; 1.76 s is 11.7 hours, the twelfth is a's own: b is at the next, 1.95 s."""
    r = routine_of({"a": (0.0, 1.7), "b": (2.0, 2.2)})
    assert laid(r, "a b") == {"a": (0.0, 0.0, 1.7), "b": (1.95, 1.95, 2.15)}


def test_at_45_an_hour_is_a_ninth_of_a_second():
    # A turn is 1.3333 s, an hour 0.1111 s: 0.36 s is 3.24 hours, the fourth is at 0.4444 s.
    r = routine_of({"a": (1.0, 1.3), "b": (2.0, 2.2)})
    r45 = r.model_copy(update={"turntable": r.turntable.model_copy(update={"rpm": 45.0})})
    assert laid(r45, "a b")["b"] == (0.4444, 0.4444, 0.6444)


def test_more_than_six_parts_lie_in_the_order_of_their_first_use():
    """0.06 s each: the next hour after 0.12 s is 0.15 s. Six go where the hand's way is least: from
    a to f and back to a once, then through all: f beside a. Seven stay as they come."""
    parts = {name: (n, n + 0.06) for n, name in enumerate("abcdefg")}
    seven = laid(routine_of(parts), "g f e d c b a")
    assert [at[0] for at in seven.values()] == [0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9]
    assert list(seven) == list("gfedcba")
    six = laid(routine_of(parts), "a f a f a f a b c d e")
    assert (six["a"][0], six["f"][0]) in {(0.0, 0.15), (0.15, 0.0)}
    seventh = laid(routine_of(parts), "a b c d e f g a f a f a f")
    assert (seventh["a"][0], seventh["f"][0]) == (0.0, 0.75)


@pytest.mark.parametrize(
    ("kind", "more", "lasts"),
    [
        ("instrumental", {"tempo": 100}, 0.25),  # its beat goes to 120 BPM: 0.3 s / 1.2
        ("instrumental", {}, 0.3),
        ("effect", {"tempo": 100}, 0.3),
        ("effect", {"tempo": 100, "loop": True}, 0.25),
    ],
)
def test_a_part_of_a_sound_with_a_beat_goes_to_the_set_pieces_tempo(kind, more, lasts):
    sound = {"file": "s.wav", "kind": kind, "parts": {"a": {"from": 1.0, "to": 1.3}}, **more}
    assert laid(routine_of({}, sounds={"s": sound}), "a") == {"a": (0.0, 0.0, lasts)}


def test_parts_lie_from_the_begin_of_the_span_on():
    r = routine_of({"a": (1.0, 1.3), "b": (2.0, 2.2)}, **{"from": 10.0, "to": 12.0})
    assert laid(r, "a b") == {"a": (10.0, 10.0, 10.3), "b": (10.45, 10.45, 10.65)}


def test_in_a_placed_map_parts_lie_where_the_map_says():
    places = {"a": {"from": 10.2, "to": 10.5, "attack": 10.25}}
    r = routine_of({"a": (1.0, 1.3)}, places=places, **{"from": 10.0, "to": 12.0})
    assert laid(r, "a") == {"a": (10.2, 10.25, 10.5)}
    assert laid_parts(r, 0, r.pieces[0].plan("right"), [])["a"].sound == "s"


TWO = {"t": {"file": "t.wav", "kind": "effect", "parts": {"a": {"from": 0.0, "to": 0.5}}}}


def label(name, sound=None, *, parts=None, sounds=None):
    r = routine_of({"a": (1.0, 1.3)} if parts is None else parts, sounds=sounds)
    return label_of(r, r.pieces[0].plan("right"), name, sound)


def test_a_part_is_told_with_its_sound_where_two_have_it():
    assert label("a") == "a"
    assert label("a", "s") == "a"
    assert label("a", "s", sounds=TWO) == "a of s"
    assert label("a", "t", sounds=TWO) == "a of t"


@pytest.mark.parametrize(
    ("name", "sound", "more", "found", "would_do"),
    [
        ("a", None, {"sounds": TWO}, "a", "a of s or a of t would do"),
        ("b", None, {}, "b", "one of a would do"),
        ("a", "u", {}, "a of u", "one of a would do"),
        ("a", None, {"parts": {}}, "a", "a part named under a sound's `parts` would do"),
    ],
)
def test_a_part_that_is_not_there_is_told_with_those_there_are(name, sound, more, found, would_do):
    with pytest.raises(LineError) as error:
        label(name, sound, **more)
    assert (error.value.found, error.value.would_do) == (found, would_do)
