"""What acts ask of both hands at once, whole and by hand.

120 BPM: half a second a beat. By the table in liveaid/record/figures.py 0.15 s from a hand's own
record to the fader, 0.2 s elsewhere, 0.3 s to set the pitch, 8 taps a second and 20 rolled.
"""

from __future__ import annotations

from typing import Any

import pytest

from liveaid.routine import Routine
from liveaid.routine.check.demands import Demand, WorkedDemand, worked
from liveaid.routine.check.together import (
    both_heard,
    judge_fader,
    judge_let_go,
    judge_pitch,
    judge_two_hands,
)


def decks(left: dict[Any, str], right: dict[Any, str]) -> WorkedDemand:
    parts = {"a": {"from": 10.0, "to": 10.45}}
    plans = {
        "left": {"hand": "works", "from": 30.0, "to": 32.0, "acts": left},
        "right": {"hand": "works", "from": 10.0, "to": 13.0, "acts": right, "places": parts},
    }
    piece = {"name": "P", "bars": 8, "tempo": 120, **plans}
    return worked(Routine.model_validate({"title": "T", "pieces": [piece]}), 0)


BUSY = decks(
    {0: "push over 1/4 turn for 1 open 0 to 1/2", "2 1/2": "pull over 1/4 turn for 1",
     5.08: "let go for 1/2"},
    {0: "push a for 1 cuts 4", 1: "pull for 1 clicks 2", 2: "push a for 1 rolled cuts 3",
     4: "set pitch +2 for 1/2", 5: "let go a for 1/2"},
)  # fmt: skip


def told(demands) -> list[tuple[float, str, float, float]]:
    return [(d.beat, d.says, round(d.needs, 4), round(d.has, 4)) for d in demands]


def test_two_hands_are_sent_where_they_have_to_be_each_in_turn():
    """The seconds a hand has are those from the end of its last stay to the next one's begin."""
    way = "a hand has to come from {} to {}".format
    assert told(judge_two_hands(BUSY)) == [
        # Until 1.0 (0.5 s) both hands push; the fader is to be shut at an eighth, 0.0625 s.
        (0.125, way("the left record (push)", "the fader"), 0.15, -0.4375),
        # Last at the fader a sixth of a beat before.
        (2.5, way("the fader", "the left record (pull)"), 0.15, 0.0833),
        (2.5, way("the right record (push)", "the fader"), 0.15, -0.25),
        (4.0, way("the fader", "right's pitch fader"), 0.2, 0.5),
        (4.5, way("the left record (pull)", "the right record (back-cue)"), 0.2, 0.5),
        (5.0, way("right's pitch fader", "the fader"), 0.2, 0.25),
        (5.08, way("the right record (let go)", "the left record (let go)"), 0.2, 0.04),
    ]
    first = next(judge_two_hands(BUSY))
    assert (first.kind, first.piece, first.side, first.unit) == ("hands", 0, None, "s")


def test_in_a_juggle_the_hand_that_let_go_moves_the_fader_and_comes_back():
    lines = {0: "left 0 to 1", 1: "right 0 to 1 back wind", 2: "left 0 to 1", 3: "right 0 to 2"}
    spans = {
        side: {"hand": "works", "from": at, "to": at + 8.0}
        for side, at in (("left", 10.0), ("right", 20.0))
    }
    piece = {"name": "J", "bars": 4, "tempo": 120, "juggle": lines, **spans}
    routine = Routine.model_validate({"title": "T", "pieces": [piece]})
    # Half a second of record back, 0.2778 turns: 0.5 log2(12 * 0.2778 + 1) / log2(13) = 0.2858 s,
    # and 0.035 s to hold it: it begins 0.3208 s before the beat, 0.1792 s after the last.
    way = "a hand has to come from {} to {}".format
    assert told(judge_two_hands(worked(routine, 0))) == [
        (1.0, way("the left record (let go)", "the fader"), 0.15, 0.5),
        (1.0, way("the fader", "the left record (back-cue)"), 0.15, 0.1792),
        (2.0, way("the right record (let go)", "the fader"), 0.15, 0.5),
        (2.0, way("the fader", "the right record (wind)"), 0.15, 0.1792),
        (3.0, way("the left record (let go)", "the fader"), 0.15, 0.5),
    ]


def test_openings_in_a_row_are_held_against_one_finger_or_several_in_turn():
    ways = ("fewer `cuts` or `clicks`, or `rolled`: several fingers in turn",
            "fewer `cuts` or `clicks`")  # fmt: skip
    # Four taps in a beat are 0.125 s apart. Three soundings of a third: the second begins after
    # its click, half a quarter of 1/3 later, so the last two lie 17/48 of a beat apart on average.
    assert list(judge_fader(BUSY, "right")) == [
        Demand(kind="fader", piece=0, beat=beat, side="right", needs=needs,
               has=pytest.approx(has), way_out=way,
               says=f"the fader is opened {said} times a second, and {who}")
        for beat, needs, has, said, who, way in (
            (0.0, 1 / 8, 0.125, "8.0", "a finger can 8", ways[0]),
            (1.0, 1 / 8, 0.5 * 17 / 48, "5.6", "a finger can 8", ways[0]),
            (2.0, 1 / 20, 0.5 / 3, "6.0", "fingers in turn can 20", ways[1]),
        )
    ]  # fmt: skip
    assert list(judge_fader(BUSY, "left")) == []


def test_a_pitch_is_held_against_the_faders_reach_and_the_time_to_set_it():
    reach = {"kind": "pitch", "piece": 0, "side": "right", "needs": pytest.approx(2.0),
             "has": 8.0, "unit": "%", "says": "pitch +2.00 % is asked for",
             "way_out": "a nearer tone, or the tones laid out on the record"}  # fmt: skip
    assert list(judge_pitch(BUSY, "right")) == [
        Demand(beat=4.0, **reach),
        Demand(
            kind="setting the pitch", piece=0, beat=4.0, side="right", needs=0.3, has=0.25,
            says="the pitch is set to +2.00 % by hand",
            way_out="longer notes, or the tones laid out on the record",
        ),
        Demand(beat=5.0, **reach),
    ]  # fmt: skip
    assert list(judge_pitch(BUSY, "left")) == []  # let go at pitch 0
    (low, _, _) = judge_pitch(decks({0: "hold"}, {0: "set pitch -3 for 1", 1: "let go a"}), "right")
    assert (low.says, round(low.needs, 6)) == ("pitch -3.00 % is asked for", 3.0)


@pytest.mark.parametrize(
    ("left_beat", "apart_s"), [(4.92, 0.04), (5.08, 0.04), (4.88, None), (5.12, None)]
)
def test_records_let_go_within_a_twentieth_of_a_second_are_let_go_at_once(left_beat, apart_s):
    """Of two turns on the right the nearer one; what is not heard needs no fader."""
    right = {1: "let go a for 1/2", 5: "let go a for 1/2", 7: "let go a for 1/2 closed"}
    lefts = {left_beat: "let go for 1/2", 7.01: "let go for 1/2"}
    found = list(judge_let_go(decks(lefts, right)))
    if apart_s is None:
        assert found == []
        return
    assert found == [
        Demand(
            kind="let go", piece=0, beat=min(left_beat, 5.0), side=None, needs=0.05,
            has=pytest.approx(apart_s),
            says="both records are let go at once, and the fader stands at one of them",
            way_out="one of the two on another beat",
        )
    ]  # fmt: skip


def test_where_only_one_deck_is_let_go_nothing_is_let_go_at_once():
    assert list(judge_let_go(decks({0: "let go for 1"}, {0: "push a for 1"}))) == []


def test_decks_heard_over_each_other_for_more_than_a_moment():
    """Of what lies between, 0.08 beats are 0.04 s: no more than a moment."""
    left = {0: "push over 1/4 turn for 1", 2: "pull over 1/4 turn for 1.08", 4: "let go for 1"}
    right = {0.5: "push a for 1", 3: "pull for 1/2", 4.25: "let go a for 1/2"}
    assert both_heard(decks(left, right)) == [(0.5, 1.0), (4.25, 4.75)]
