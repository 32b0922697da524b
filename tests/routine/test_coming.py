"""The acts to come in words, and their small picture, against beats counted by hand."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from liveaid.render.acts_picture import BEAT, acts_pictures
from liveaid.routine import Routine
from liveaid.routine.coming import Coming, drawn

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
