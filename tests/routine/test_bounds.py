"""What a section map may ask for: the last value that would do, and the first that would not.

The bounds are generous limits of what exists on a stage (common practice, no source): a mistyped
figure is told, an unusual one is not.
"""

from __future__ import annotations

import pytest
import yaml

from liveaid.routine import Routine, RoutineError
from liveaid.routine.load import read_routine
from liveaid.routine.model import clock_time


def map_with(path: str, value: object) -> bytes:
    """A small map with one field, by its path, set."""
    tree: dict = {
        "title": "T",
        "sounds": {"a": {"file": "a.wav"}},
        "pieces": [{"name": "P", "bars": 4, "tempo": 120,
                    "left": {"hand": "runs"}, "right": {"hand": "works"}}],
    }  # fmt: skip
    *steps, last = path.split(".")
    at = tree
    for step in steps:
        at = at[int(step)] if isinstance(at, list) else at.setdefault(step, {})
    at[last] = value
    return yaml.safe_dump(tree).encode()


@pytest.mark.parametrize(
    ("path", "ok", "wrong", "would_do"),
    [
        ("limit", "120:00", "120:01", "7200 or less would do"),
        ("limit", "0:01", "0:00", "more than 0 would do"),
        ("metre", 32, 33, "32 or less would do"),
        ("metre", 1, 0, "1 or more would do"),
        ("title", "x" * 200, "x" * 201, "a shorter text would do"),
        ("turntable.rpm", 16, 15.9, "16 or more would do"),
        ("turntable.rpm", 100, 100.1, "100 or less would do"),
        ("turntable.pitch_range", 0.1, 0, "more than 0 would do"),
        ("turntable.pitch_range", 100, 101, "100 or less would do"),
        ("turntable.side", "0:01", "0:00", "more than 0 would do"),
        ("performer.wind_speed", 20, 20.1, "20 or less would do"),
        ("performer.wind_speed", 0.1, 0, "more than 0 would do"),
        ("performer.needle_time", 60, 61, "60 or less would do"),
        ("performer.needle_time", 0.1, 0, "more than 0 would do"),
        ("performer.needle_turns", 0, -0.1, "0 or more would do"),
        ("performer.needle_turns", 100, 101, "100 or less would do"),
        ("performer.settle_time", 0, -0.1, "0 or more would do"),
        ("performer.settle_time", 60, 61, "60 or less would do"),
        ("performer.stroke_rate", 20, 21, "20 or less would do"),
        ("performer.stroke_rate", 0.1, 0, "more than 0 would do"),
        ("performer.reach", 5, 5.1, "5 or less would do"),
        ("performer.reach", 0.1, 0, "more than 0 would do"),
        ("performer.hand_speed", 20, 21, "20 or less would do"),
        ("performer.hand_speed", 0.1, 0, "more than 0 would do"),
        ("performer.fader_move", 0, -0.1, "0 or more would do"),
        ("performer.fader_move", 2, 2.1, "2 or less would do"),
        ("performer.hand_move", 0, -0.1, "0 or more would do"),
        ("performer.hand_move", 2, 2.1, "2 or less would do"),
        ("performer.margin", 0, -1, "0 or more would do"),
        ("performer.margin", 64, 65, "64 or less would do"),
        ("sounds.a.tempo", 20, 19.9, "20 or more would do"),
        ("sounds.a.tempo", 300, 300.1, "300 or less would do"),
        ("sounds.a.first_beat", 86400, 86401, "86400 or less would do"),
        ("sounds.a.first_beat", 0, -0.1, "0 or more would do"),
        ("sounds.a.tuning", -50, -51, "-50 or more would do"),
        ("sounds.a.tuning", 50, 51, "50 or less would do"),
        ("sounds.a.tone", 0.1, 0, "more than 0 would do"),
        ("pieces.0.bars", 1000, 1001, "1000 or less would do"),
        ("pieces.0.tempo", 300, 301, "300 or less would do"),
        ("pieces.0.tempo", 20, 19, "20 or more would do"),
        ("pieces.0.energy", 5, 6, "5 or less would do"),
        ("pieces.0.energy", 1, 0, "1 or more would do"),
        ("pieces.0.left.bars_in", 10000, 10001, "10000 or less would do"),
        ("pieces.0.left.bars_in", 0, -1, "0 or more would do"),
        ("pieces.0.left.at", 86400, 86401, "86400 or less would do"),
        ("pieces.0.right.strokes", [0, 15.5], [0, 16],
         "a beat below 16, the set piece's length, would do"),
        ("pieces.0.right.strokes", [0, 1], [1, 1], "beats in rising order would do"),
    ],
)  # fmt: skip
def test_the_last_value_that_would_do(path: str, ok: object, wrong: object, would_do: str):
    read_routine(map_with(path, ok))
    with pytest.raises(RoutineError) as caught:
        read_routine(map_with(path, wrong))
    (problem,) = caught.value.problems
    assert problem.would_do == would_do
    assert problem.field.replace("[", ".").replace("]", "").startswith(path)


@pytest.mark.parametrize(
    ("written", "seconds"),
    [("3:00", 180.0), ("0:01.5", 1.5), ("1:02:03", 3723.0), ("90:00", 5400.0), ("0:59.25", 59.25)],
)
def test_times_are_read_as_clocks_are(written: str, seconds: float):
    assert read_routine(map_with("limit", written)).limit_s == seconds


@pytest.mark.parametrize("written", ["3:60", "3", "1:2:03", ":30", "3:0"])
def test_what_is_no_time_is_told(written: str):
    with pytest.raises(RoutineError) as caught:
        read_routine(map_with("limit", f"{written} min"))
    assert caught.value.problems[0].would_do == 'minutes and seconds such as "3:00" would do'


@pytest.mark.parametrize(
    ("seconds", "written"),
    [(0.0, "0:00"), (59.9996, "1:00"), (61.5, "1:01.500"), (3723.0, "62:03"), (5.25, "0:05.250")],
)
def test_times_are_written_as_they_are_read(seconds: float, written: str):
    assert clock_time(seconds) == written


def routine(**more) -> Routine:
    return read_routine(yaml.safe_dump({"title": "T", **more}).encode())


def piece(bars=4, **more):
    return {"name": more.pop("name", "P"), "bars": bars, "tempo": 120, **more}


def test_what_is_left_out_is_the_usual():
    """A turntable at 33 1/3 with 8 % of pitch and ten minutes a side, four beats in a bar."""
    r = routine(pieces=[piece()])
    assert (r.turntable.turn_s, r.turntable.pitch_range_percent) == (pytest.approx(1.8), 8.0)
    assert (r.turntable.side_s, r.metre, r.limit_s) == (600.0, 4, None)
    assert (r.performer.margin_beats, r.performer.hamster) == (2.0, False)
    assert (r.decks.of("left").file, r.decks.of("right").file) == (
        "decks/left.wav", "decks/right.wav",
    )  # fmt: skip
    (p,) = r.pieces
    assert (p.part, p.energy, p.count, p.optional) == ("story", 3, "clock", False)
    # A hand brings three turns of 1.8 s back in a second.
    assert r.back_speed == pytest.approx(5.4)


@pytest.mark.parametrize(
    ("bars", "metre", "would_do"),
    [
        ("2 1/3", 4, "whole beats of 4 in a bar, 2 1/4 or 2 1/2, would do"),
        ("2 1/3", 3, None),
        ("1/8", 4, "whole beats of 4 in a bar, 1/4, would do"),
        (2.26, 4, "whole beats of 4 in a bar, 2 1/4 or 2 1/2, would do"),
        (2.24, 4, "whole beats of 4 in a bar, 2 or 2 1/4, would do"),
    ],
)
def test_bars_are_of_whole_beats(bars, metre, would_do):
    def load():
        return routine(metre=metre, pieces=[piece(bars)])

    if would_do is None:
        assert load().beats(0) == 7
        return
    with pytest.raises(RoutineError) as caught:
        load()
    assert [each.would_do for each in caught.value.problems] == [would_do]


@pytest.mark.parametrize(("bars", "beats", "begun"), [(2, 8, 2), (2.25, 9, 3), (0.25, 1, 1)])
def test_a_bar_that_is_cut_short_counts_as_begun(bars, beats, begun):
    r = routine(pieces=[piece(bars), piece(name="Q")])
    assert (r.beats(0), r.bar_count(0), r.piece_s(0)) == (beats, begun, beats * 0.5)
    assert r.duration_s == beats * 0.5 + 8.0


JUGGLED = {"left": {"hand": "works"}, "right": {"hand": "works"}, "juggle": {0: "left 0 to 2"}}


@pytest.mark.parametrize(
    ("fields", "field", "would_do"),
    [
        ({**JUGGLED, "left": {"hand": "rests"}}, "pieces[0].juggle",
         "the left deck rests here; works would do"),
        ({**JUGGLED, "right": {"hand": "works", "strokes": [0]}}, "pieces[0].juggle",
         "either it or right's own strokes or acts would do"),
        ({"count": "left", "left": {"hand": "works"}}, "pieces[0].count",
         "the left deck works here; a deck that runs, or clock, would do"),
        ({"right": {"hand": "works", "strokes": [0], "acts": {0: "push"}}},
         "pieces[0].right.strokes", "either `strokes` or `acts` would do"),
        ({"right": {"hand": "works", "strokes": [0], "notes": {0: "A4"}}},
         "pieces[0].right.notes", "either `notes`, or `acts` or `strokes`, would do"),
        ({"right": {"hand": "works", "acts": {0: "push"}, "notes": {0: "A4"}}},
         "pieces[0].right.notes", "either `notes`, or `acts` or `strokes`, would do"),
    ],
)  # fmt: skip
def test_what_one_hand_can_not_be_told_twice(fields, field, would_do):
    with pytest.raises(RoutineError) as caught:
        routine(pieces=[piece(**fields)])
    assert [(each.field, each.would_do) for each in caught.value.problems] == [(field, would_do)]


@pytest.mark.parametrize(
    ("want", "low", "high"),
    [
        ({"tempo": "85..100"}, 85, 100), ({"tempo": 90}, 90, 90), ({"tempo": "90..90"}, 90, 90),
        ({"tempo": " 85.5 .. 100 "}, 85.5, 100), ({"tempo_from": 85}, 85, None),
    ],
)  # fmt: skip
def test_a_wish_for_a_tempo(want, low, high):
    r = routine(pieces=[piece()], idea={"wants": [{"part": "intro", **want}]})
    (found,) = r.idea.wants
    assert (found.tempo_from_bpm, found.tempo_to_bpm, found.energy) == (low, high, 3)


@pytest.mark.parametrize(
    ("want", "would_do"),
    [
        ({"tempo": "100..85"}, "the lower one first, 85..100, would do"),
        ({"tempo": "fast"}, "a range such as 85..100 would do"),
        ({"tempo": 90, "tempo_to": 95}, "either it or tempo_to would do"),
    ],
)
def test_a_wish_for_a_tempo_that_can_not_be_read(want, would_do):
    with pytest.raises(RoutineError) as caught:
        routine(pieces=[piece()], idea={"wants": [{"part": "intro", **want}]})
    assert [each.would_do for each in caught.value.problems] == [would_do]


@pytest.mark.parametrize(
    ("technique", "tear"),
    [("tear", True), ("Tears", True), ("double tear", True), ("teardrop", False), ("", False)],
)
def test_a_technique_is_called_by_whole_words(technique, tear):
    (p,) = routine(pieces=[piece(technique=technique)]).pieces
    assert p.is_called("tear", "drag") is tear


def test_the_next_set_piece_in_which_a_deck_sounds():
    runs = {"hand": "runs", "at": 0}
    later = {"hand": "works", "from": 30, "to": 31}
    r = routine(pieces=[piece(left=runs), piece(name="Q"), piece(name="R", left=later)])
    assert r.next_cue("left", 0) == (2, 30.0)
    assert r.next_cue("left", 2) is None
    assert r.next_cue("right", 0) is None
