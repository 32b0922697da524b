"""A map written back in another order: every line but the moved ones byte for byte."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine.load import read_routine
from liveaid.routine.rewrite import TextPlace, rewritten

MAP = """\
# My map. Not a line of this may be lost.
title:   'Night Market'     # quotes and spaces as I like them
limit: 3:00

sounds:   {bells: {file: "sounds/bells.wav",  kind: instrumental}}   # one line
pieces:
  # -- the first one
  - name: Doors open        # <- a remark
    bars: 8
    tempo:   92
    count: left
    left:  {hand: runs,   sound: bells}
    right: {hand: works, sound: bells}   # works

  # -- the second one
  # has two lines of comment
  - {name: "Lanterns", bars: 4, tempo: 9.2e1}
  -
    name: Rain
    bars: 2
    tempo: 92
    prompt: |
      hold it

      there
    left:
      hand: rests


  # -- and the last
  - name: Home
    bars: 2
    tempo: 92
    right: {hand: works, sound: bells}
# the end
"""
NAMES = ("Doors open", "Lanterns", "Rain", "Home")


def names(text):
    return tuple(piece.name for piece in read_routine(text.encode()).pieces)


def test_the_order_that_is_there_gives_the_very_same_bytes():
    assert rewritten(MAP, [TextPlace(i) for i in range(4)]) == MAP


def test_a_set_piece_moves_with_its_comments_and_blank_lines_stay():
    moved = rewritten(MAP, [TextPlace(1), TextPlace(0), TextPlace(2), TextPlace(3)])
    first = MAP.index("  # -- the first one")
    second = MAP.index("  # -- the second one")
    third = MAP.index("  -\n")
    one, two = MAP[first:second].rstrip("\n") + "\n", MAP[second:third]
    assert moved == MAP[:first] + two + "\n" + one + MAP[third:]


@given(st.permutations(range(4)))
def test_any_order_keeps_every_line(order):
    found = rewritten(MAP, [TextPlace(old) for old in order])
    assert names(found) == tuple(NAMES[old] for old in order)
    assert sorted(found.splitlines()) == sorted(MAP.splitlines())


@given(st.permutations(range(4)), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_line_breaks_and_a_missing_last_one_stay(order, line_break, ended):
    text = MAP.replace("# the end\n", "").replace("\n", line_break)
    text = text if ended else text.removesuffix(line_break)
    found = rewritten(text, [TextPlace(old) for old in order])
    assert names(found) == tuple(NAMES[old] for old in order)
    assert found.count("\n") == text.count("\n")
    assert found.count("\r") == text.count("\r")
    assert found.endswith("\n") == ended


def test_a_set_piece_left_out_leaves_the_others_as_they_were():
    found = rewritten(MAP, [TextPlace(0), TextPlace(2), TextPlace(3)])
    assert names(found) == ("Doors open", "Rain", "Home")
    assert set(found.splitlines()) < set(MAP.splitlines())


def test_traded_decks_change_those_words_and_nothing_else():
    found = rewritten(
        MAP, [TextPlace(0, traded=True), TextPlace(1), TextPlace(2), TextPlace(3, traded=True)]
    )
    changed = [
        (old, new)
        for old, new in zip(MAP.splitlines(), found.splitlines(), strict=True)
        if old != new
    ]
    assert changed == [
        ("    count: left", "    count: right"),
        ("    left:  {hand: runs,   sound: bells}", "    left:  {hand: works, sound: bells}"),
        ("    right: {hand: works, sound: bells}   # works",
         "    right: {hand: runs,   sound: bells}   # works"),
        ("    right: {hand: works, sound: bells}", "    left: {hand: works, sound: bells}"),
    ]  # fmt: skip


def test_a_flow_list_of_three_keeps_what_parts_its_places():
    one, two, three = (f"{{name: {name}, bars: 1, tempo: 90}}" for name in "ABC")
    text = f"title: x\npieces: [{one},  {two},   {three} ] # y\n"
    for order, middle in (
        ((2, 0, 1), f"{three},  {one},   {two}"), ((2, 0), f"{three},  {one}"), ((1,), two),
    ):  # fmt: skip
        found = rewritten(text, [TextPlace(old) for old in order])
        assert found == f"title: x\npieces: [{middle} ] # y\n"


def test_a_flow_list_is_put_in_order_too():
    text = "title: x\npieces: [{name: A, bars: 1, tempo: 90},  {name: B, bars: 2, tempo: 90}] # y\n"
    assert rewritten(text, [TextPlace(1), TextPlace(0)]) == (
        "title: x\npieces: [{name: B, bars: 2, tempo: 90},  {name: A, bars: 1, tempo: 90}] # y\n"
    )


def test_sounds_are_named_anew_from_another_folder():
    found = rewritten(MAP, [TextPlace(i) for i in range(4)], {"bells": "../it's/bells.wav"})
    assert found == MAP.replace('"sounds/bells.wav"', "'../it''s/bells.wav'")
    assert read_routine(found.encode()).sounds["bells"].file == "../it's/bells.wav"


def test_what_has_no_list_of_set_pieces_is_refused():
    with pytest.raises(ValueError, match="no list"):
        rewritten("title: x\n", [])


@pytest.mark.parametrize("order", [[1, 0], [0, 1]])
def test_every_map_that_comes_along_survives(order, request):
    for file in Path(request.config.rootpath).glob("scenes/*/routine.yaml"):
        text = file.read_text()
        count = len(read_routine(text.encode()).pieces)
        places = [*order, *range(2, count)]
        found = rewritten(text, [TextPlace(old) for old in places])
        assert sorted(found.splitlines()) == sorted(text.splitlines())
