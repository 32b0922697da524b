"""`strokes:` in the section map: read, refused beyond the set piece, and played."""

import pytest

from liveaid.practice.planned_acts import planned_events
from liveaid.routine.load import read_routine
from liveaid.routine.problems import RoutineError

MAP = """
title: Spice row
metre: 3
pieces:
  - name: Pestle
    bars: 2
    tempo: 100
    count: left
    left: {hand: runs, at: 1.8}
    right: {hand: works, from: 5.4, to: 6.0, strokes: [%s]}
"""


def test_strokes_become_planned_acts_of_their_hand():
    routine = read_routine((MAP % "0, 1.5, 5.75").encode())
    acts = [act for act in planned_events(routine, stops=False) if act.kind == "stroke"]
    assert [(act.side, act.beat, act.cue_s) for act in acts] == [
        ("right", 0.0, 5.4),
        ("right", 1.5, 5.4),
        ("right", 5.75, 5.4),
    ]


def test_every_stroke_beyond_the_set_piece_is_named_with_its_line():
    with pytest.raises(RoutineError) as refused:
        read_routine((MAP % "0, 6, 7.5").encode(), "map.yaml")
    assert str(refused.value).splitlines() == [
        "map.yaml, line 10: pieces[0].right.strokes[1]: found 6; "
        "a beat below 6, the set piece's length, would do",
        "map.yaml, line 10: pieces[0].right.strokes[2]: found 7.5; "
        "a beat below 6, the set piece's length, would do",
    ]


def test_strokes_out_of_order_are_refused():
    with pytest.raises(RoutineError, match=r"strokes.*rising order"):
        read_routine((MAP % "0, 2, 1").encode())
