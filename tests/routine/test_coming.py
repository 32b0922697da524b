"""The acts to come in words, and their small picture, against beats counted by hand."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from liveaid.render.acts_picture import BEAT, acts_pictures
from liveaid.routine import Routine
from liveaid.routine.acts import acts_of
from liveaid.routine.coming import Coming, drawn
from liveaid.routine.load import read_routine

PLACES = {"yes": {"from": 10.0, "to": 10.36}, "no": {"from": 10.6, "to": 10.9}}


@pytest.fixture(scope="module")
def routine() -> Routine:
    scratch = {"hand": "works", "from": 10.0, "to": 11.0, "places": PLACES}
    pieces = [
        {"name": "A", "bars": 1, "tempo": 120, "left": {"hand": "runs", "at": 0}},
        {
            "name": "B", "bars": 2, "tempo": 120, "left": {"hand": "runs", "at": 2},
            "right": {**scratch, "acts": {0: "baby yes", 2: "chirp no", 5: "let go yes for 1/2"}},
        },
        {
            "name": "C", "bars": 1, "tempo": 120, "juggle": {0: "left 0 to 2", 2: "right 0 to 2"},
            "left": {"hand": "works", "from": 30, "to": 32},
            "right": {"hand": "works", "from": 30, "to": 32},
        },
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": pieces})


def test_the_next_acts_are_told_with_side_part_and_beats_to_go(routine: Routine):
    coming = Coming(routine)
    assert [(c["side"], c["act"], c["part"], c["in_beats"]) for c in coming.after(0, 1.0)] == [
        ("right", "baby", "yes", 3.0),
        ("right", "chirp", "no", 5.0),
        ("right", "let go", "yes", 8.0),
    ]
    assert [(c["says"], c["in_beats"]) for c in coming.after(1, 2.0)] == [
        ("right: let go yes", 3.0),
        ("left: let go", 6.0),
        ("right: let go", 8.0),
    ]
    assert coming.after(2, 2.5) == []


def test_the_line_is_where_the_record_is_and_the_fader_lies_beneath(routine: Routine):
    lines = drawn(routine, 1)
    assert set(lines) == {"right"}
    line = dict(map(tuple, lines["right"]["line"]))
    # 0.36 s of 1.8 s a turn: 0.2 turns out at half a beat; half of it half-way there.
    assert (line[0.0], line[0.25], line[0.5], line[1.0]) == (0.0, 0.1, 0.2, 0.0)
    assert lines["right"]["open"] == [[0.0, 1.0], [2.0, 2.375], [2.625, 3.0], [5.0, 5.5]]
    assert lines["right"]["parts"][0] == {"name": "yes", "from": 0.0, "to": 0.2}
    assert drawn(routine, 0) == {}
    assert set(drawn(routine, 2)) == {"left", "right"}


def test_the_sheets_picture_has_a_block_for_every_opening_and_a_name_for_every_figure(
    routine: Routine,
):
    root = ET.fromstring(acts_pictures(routine, 1))
    rects = [(float(r.get("x")), float(r.get("width"))) for r in root.iter("rect")]
    assert rects == [(0.0, BEAT), (2 * BEAT, 13.5), (94.5, 13.5), (5 * BEAT, BEAT / 2)]
    assert [text.text for text in root.iter("text")] == ["baby yes", "chirp no", "let go yes"]
    assert "its place over time" in root.get("aria-label")
    assert acts_pictures(routine, 0) == ""


PLAIN = b"""\
title: T
sounds:
  call: {file: c.wav, parts: {yes: {from: 1.0, to: 1.25, attack: 1.05}, no: {from: 2.0, to: 2.3}}}
figures:
  pair: {beats: 2, acts: {0: let go yes for 1/4, 1: let go yes for 1/4}}
pieces:
  - {name: A, bars: 1, tempo: 120}
  - name: B
    bars: 4
    tempo: 120
    left: {hand: works, from: 30, to: 33, acts: {2: push over 1/4 turn for 1}}
    right:
      hand: works
      acts: {0: baby yes, 2: let go no for 1/2, 2 1/2: catch, 4: hold, 6: pair, 9: spin back for 1}
"""


def test_of_what_comes_the_next_three_are_told_with_the_beats_to_go():
    """Set piece B begins with beat 4. A figure is told once, but every record it lets go; a catch
    and what brings a record between follow of themselves. Of one beat the left comes first."""
    coming = Coming(read_routine(PLAIN))

    def told(piece, beat):
        return [(c["in_beats"], c["says"], c["act"], c["part"], c["piece"], c["side"])
                for c in coming.after(piece, beat)]  # fmt: skip

    rows = [
        (4.0, "right: baby yes", "baby", "yes", 1, "right"),
        (6.0, "left: push", "push", None, 1, "left"),
        (6.0, "right: let go no", "let go", "no", 1, "right"),
        (8.0, "right: hold no", "hold", "no", 1, "right"),
        (10.0, "right: let go yes", "let go", "yes", 1, "right"),
        (11.0, "right: let go yes", "let go", "yes", 1, "right"),
        (13.0, "right: spin back yes", "spin back", "yes", 1, "right"),
    ]
    later = [(beat - 2.5, *rest) for beat, *rest in rows]
    assert told(0, 0.0) == rows[:3]
    assert told(0, 2.5) == later[:3]
    assert told(1, 0.0) == [(beat - 4.0, *rest) for beat, *rest in rows[1:4]]
    assert told(1, 6.0) == [(1.0, *rows[5][1:]), (3.0, *rows[6][1:])]
    assert told(1, 9.5) == []


def test_lines_are_drawn_in_turns_from_the_lowest_place():
    """A push from 0.05 to 0.25 s is a ninth of a turn, from rest to rest (Flash and Hogan 1985): of
    its way 10 s^3 - 15 s^4 + 6 s^5 is done at each sixth of its time. It stands, and goes back with
    the fader shut."""
    lines = b"acts: {0: push yes for 1, 1: hold, 2: pull for 1 closed}  # {0: baby"
    told = drawn(read_routine(PLAIN.replace(b"acts: {0: baby", lines)), 1)["right"]
    done = [10 * s**3 - 15 * s**4 + 6 * s**5 for s in (n / 6 for n in range(7))]
    out = [[round(n / 6, 3), round(share / 9, 4)] for n, share in enumerate(done)]
    back = [[round(2 + n / 6, 3), round((1 - share) / 9, 4)] for n, share in enumerate(done)]
    assert told == {
        "line": [*out, *back],
        "open": [[0.0, 1.0]],
        "parts": [{"name": "yes", "from": 0.0, "to": round(1 / 9, 4)}],
    }


def test_two_parts_are_drawn_where_they_lie_and_a_needle_lifts_off():
    text = PLAIN.replace(b"acts: {0: baby", b"acts: {0: push no for 1, 2: needle yes for 1,"
                         b" 3: let go yes for 1/4, 4: push no for 1/2}  # {0: baby")  # fmt: skip
    told = drawn(read_routine(text), 1)["right"]
    parts = {part["name"]: (part["from"], part["to"]) for part in told["parts"]}
    acts = acts_of(read_routine(text), 1, "right")
    low = min(min(act.from_s, act.to_s) for act in acts)
    first = next(act for act in acts if act.part == "no")
    assert parts["no"] == pytest.approx(
        ((first.from_s - low) / 1.8, (first.to_s - low) / 1.8), abs=1e-4
    )
    assert told["open"] == [[0.0, 1.0], [3.0, 3.25], [4.0, 4.5]]
    assert set(drawn(read_routine(text), 0)) == set()
