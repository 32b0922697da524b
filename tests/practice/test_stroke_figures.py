"""Strokes told: begun, turned, how far, open how long; worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from liveaid.practice.act_score import ActScore
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import OpeningScore, openings_of
from liveaid.practice.stroke_figures import (
    StrokesScore,
    stroke_row,
    strokes_of,
    strokes_sentences,
)
from liveaid.practice.written import WORTH_MS

STROKE = ActScore(
    kind="stroke", side="right", beat=4.0, outcome="heard", beat_s=0.6,
    heard_s=3.012, due_s=3.0, by="left", turn_ms=-8.0, way_turns=0.2, longer_percent=-10.0,
    openings=(OpeningScore(from_beat=4.0, to_beat=4.25, opens_ms=3.0, closes_ms=21.0),),
)  # fmt: skip


def cut(beat: float, off_ms: float | None, *, opens: bool) -> CutScore:
    at_s = None if off_ms is None else beat + off_ms / 1000
    return CutScore(opens=opens, beat=beat, at_s=at_s, off_ms=off_ms)


def test_each_opening_has_both_ends_and_its_length():
    """Opened 4 ms late, shut 10 ms early: 14 ms too short. The second is shut by no cut of its own:
    the next act sounds on. The third was never opened."""
    spans = ((4.0, 4.25), (4.5, 5.0), (6.0, 6.5))
    cuts = [
        cut(4.0, 4.0, opens=True), cut(4.25, -10.0, opens=False), cut(4.5, 2.0, opens=True),
        cut(6.0, None, opens=True), cut(6.5, 0.0, opens=False),
        CutScore(opens=True, beat=None, at_s=4.1, off_ms=None),
    ]  # fmt: skip
    first, second, third = openings_of(spans, cuts)
    assert (first.opens_ms, first.closes_ms, first.longer_ms) == (4.0, -10.0, -14.0)
    assert (second.opens_ms, second.closes_ms, second.longer_ms) == (2.0, None, None)
    assert (third.missed, third.longer_ms, first.missed) == (True, None, False)


def test_a_hands_strokes_are_told_by_their_medians():
    """Begun 12, 12 and 60 ms late: 12. Turned -8, 0, 4: 0. Way -10, -10, 40 %: -10."""
    acts = [
        STROKE,
        replace(STROKE, turn_ms=0.0, openings=()),
        replace(STROKE, heard_s=3.06, turn_ms=4.0, longer_percent=40.0, openings=()),
        replace(STROKE, kind="release", way_turns=None),
        replace(STROKE, outcome="missed", heard_s=None),
    ]
    (right,) = strokes_of(acts)
    assert (right.side, right.strokes, right.openings) == ("right", 3, 1)
    assert (right.starts_ms, right.turns_ms, right.longer_percent) == (
        pytest.approx(12.0), 0.0, -10.0,
    )  # fmt: skip
    assert right.open_longer_ms == 18.0
    assert strokes_sentences([right]) == {
        "right": "right hand's strokes: begun 12 ms late, turned on time, 10 % too short,"
        " open 18 ms too long"
    }
    assert strokes_sentences([replace(right, strokes=2)]) == {}


def test_set_pieces_weigh_by_their_strokes():
    """2 strokes 30 ms late and 4 on the beat: 10 ms late; ways 8 and -1: 2 %, as far as written."""
    (few,) = strokes_of([replace(STROKE, heard_s=3.03, longer_percent=8.0, openings=())] * 2)
    (many,) = strokes_of([replace(STROKE, heard_s=3.0, longer_percent=-1.0, openings=())] * 4)
    assert strokes_sentences([few, many])["right"] == (
        "right hand's strokes: begun 10 ms late, turned 8 ms early, as far as written"
    )


@pytest.mark.parametrize(
    ("act", "row"),
    [
        (STROKE, ("4", "right", "stroke", "+12", "-8", "0.20 turns -10 %", "+3", "+21")),
        (
            replace(STROKE, outcome="missed"),
            ("4", "right", "stroke", "missed", "", "", "", ""),
        ),
    ],
)
def test_a_stroke_in_a_line(act, row):
    assert stroke_row(act) == row


def told(**medians):
    plain = {"starts_ms": 0.0, "turns_ms": 0.0, "longer_percent": None, "open_longer_ms": None}
    return strokes_sentences([StrokesScore(side="left", strokes=3, openings=2, **plain | medians)])[
        "left"
    ].removeprefix("left hand's strokes: ")


def test_what_is_said_at_its_bounds():
    """5 % and 5 ms are worth a word; what nothing told is said or left out."""
    assert told(starts_ms=None, turns_ms=None) == "begun by no count, turned by no count"
    on_time = "begun on time, turned on time, "
    assert [
        told(longer_percent=percent).removeprefix(on_time) for percent in (4.99, 5.0, -4.99, -5.0)
    ] == ["as far as written", "5 % too far", "as far as written", "5 % too short"]
    worth = WORTH_MS
    assert [
        told(open_longer_ms=ms).removeprefix(on_time)
        for ms in (worth - 0.01, worth, 0.01 - worth, -worth)
    ] == [
        "open as long as written", f"open {worth:.0f} ms too long",
        "open as long as written", f"open {worth:.0f} ms too short",
    ]  # fmt: skip


def test_a_set_piece_without_openings_weighs_nothing_in_how_long_they_were():
    """20 ms of two, and of none 90."""
    few = StrokesScore(side="left", strokes=3, starts_ms=0.0, turns_ms=0.0, longer_percent=None,
                       openings=2, open_longer_ms=20.0)  # fmt: skip
    none = replace(few, openings=0, open_longer_ms=90.0)
    assert strokes_sentences([few, none])["left"].endswith("turned on time, open 20 ms too long")


def test_a_strokes_row_leaves_empty_what_is_not_known():
    bare = replace(STROKE, by=None, due_s=None, turn_ms=None, longer_percent=None, openings=())
    assert stroke_row(bare) == ("4", "right", "stroke", "", "", "0.20 turns", "", "")
    half = replace(STROKE, openings=(OpeningScore(from_beat=4.0, to_beat=4.25, opens_ms=None,
                                                  closes_ms=-4.0), STROKE.openings[0]))  # fmt: skip
    assert stroke_row(half)[-2:] == ("+3", "-4 +21")
