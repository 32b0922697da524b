"""The routine as the follower reads it: a small one in whole, every number by hand."""

from __future__ import annotations

import math
from dataclasses import astuple

import pytest

from liveaid.follow.plan import plan_of
from liveaid.routine import Routine

MAP = Routine.model_validate({"title": "T", "pieces": [
    {"name": "One", "bars": 1, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 2.0}},
    {"name": "Two", "bars": 2, "tempo": 60, "count": "right", "left": {"hand": "runs", "at": 20.0},
     "right": {"hand": "runs", "at": 5.0}},
    {"name": "Three", "bars": 1, "tempo": 120,
     "left": {"hand": "works", "from": 30.0, "to": 31.0, "strokes": [0, 2]},
     "right": {"hand": "works", "from": 40.0, "to": 41.5, "strokes": [1, 3]}},
]})  # fmt: skip
"""4 beats of .5 s, 8 of 1 s, 4 of .5 s."""


def plain(part):
    """A deck's part without its cues; None for a second that is none."""
    hand, *seconds, _, juggled, strokes = astuple(part)
    return (hand, *(None if math.isnan(s) else s for s in seconds), juggled, strokes)


def test_a_routine_of_three_set_pieces():
    """(what it does, from, to, cue, next cue, where the one before ends, juggled, strokes)"""
    plan = plan_of(MAP)
    told = [
        (s.index, s.beats, s.beat_s, s.lead, plain(s.parts["left"]), plain(s.parts["right"]))
        for s in plan.sections
    ]
    nan = None
    assert told == [
        (-1, math.inf, 1.0, None, ("rests", nan, nan, nan, 2.0, nan, False, ()),
         ("rests", nan, nan, nan, 5.0, nan, False, ())),
        (0, 4.0, 0.5, "left", ("runs", 2.0, 4.0, 2.0, 20.0, nan, False, ()),
         ("rests", nan, nan, nan, 5.0, nan, False, ())),
        (1, 8.0, 1.0, "right", ("runs", 20.0, 28.0, 20.0, 30.0, 4.0, False, ()),
         ("runs", 5.0, 13.0, 5.0, 40.0, nan, False, ())),
        (2, 4.0, 0.5, None, ("works", 30.0, 31.0, 30.0, nan, 28.0, True, (0.0, 2.0)),
         ("works", 40.0, 41.5, 40.0, nan, 13.0, True, (1.0, 3.0))),
        # Over, it may begin again.
        (3, math.inf, 1.0, None, ("rests", nan, nan, nan, 2.0, 31.0, False, ()),
         ("rests", nan, nan, nan, 5.0, 41.5, False, ())),
    ]  # fmt: skip
    assert plan.starts == (0.0, 0.0, 4.0, 12.0, 16.0)
    assert plan.starts_s == (0.0, 0.0, 2.0, 10.0, 12.0)
    assert plan.pieces == 3
    for section in plan.sections:
        assert section.parts["left"].cues_s == (2.0, 20.0, 30.0)
        assert section.parts["right"].cues_s == (5.0, 40.0)


@pytest.mark.parametrize(
    ("index", "beat", "whole"),
    [(-1, 5.0, -2.0), (0, 3.0, 3.0), (1, 3.0, 7.0), (1, 9.0, 12.0), (2, 4.0, 16.0), (3, 0.0, 16.0)],
)
def test_beats_from_the_routines_start(index, beat, whole):
    assert plan_of(MAP).whole_beat(index, beat) == whole


def test_a_leading_record_tells_its_beat():
    """One's half seconds from 2.0, Two's seconds by right from 5.0."""
    plan = plan_of(MAP)
    assert (plan.at(0).read_beat(3.25), plan.at(1).read_beat(3.0)) == (2.5, -2.0)
    assert [plan.is_piece(index) for index in (-1, 0, 2, 3)] == [False, True, True, False]
