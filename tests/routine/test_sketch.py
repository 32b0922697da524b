"""A section map at the idea stage."""

from __future__ import annotations

from pathlib import Path

import pytest

from liveaid.routine import RoutineError, load_routine
from liveaid.routine.load import load_sketch

IDEA = """
title: Night Market
limit: "3:00"
turntable: {rpm: 45, pitch_range: 16}
idea: {theme: lanterns, wants: [{part: intro, energy: 2}]}
"""


def test_an_idea_needs_no_set_pieces_but_a_routine_does(tmp_path: Path):
    file = tmp_path / "routine.yaml"
    file.write_text(IDEA)
    sketch = load_sketch(file)
    assert sketch.idea is not None
    assert (sketch.idea.theme, sketch.idea.wants[0].part) == ("lanterns", "intro")
    assert (sketch.limit_s, sketch.turntable.rpm) == (180.0, 45.0)
    with pytest.raises(RoutineError, match="pieces"):
        load_routine(file)


def test_mistakes_in_a_sketch_are_all_told(tmp_path: Path):
    file = tmp_path / "routine.yaml"
    file.write_text(IDEA.replace("energy: 2", "energy: 9").replace("metre", "meter") + "meter: 3")
    with pytest.raises(RoutineError) as told:
        load_sketch(file)
    assert [p.field for p in told.value.problems] == ["idea.wants[0].energy", "meter"]


def test_a_wrong_part_is_told_once_and_with_what_would_do(tmp_path: Path):
    file = tmp_path / "routine.yaml"
    file.write_text(IDEA.replace("part: intro", "part: encore"))
    with pytest.raises(RoutineError) as told:
        load_sketch(file)
    (problem,) = told.value.problems
    assert (problem.found, problem.would_do) == (
        "encore", "intro, story, climax or outro would do"
    )  # fmt: skip


def test_set_pieces_that_are_there_have_to_be_right(tmp_path: Path):
    file = tmp_path / "routine.yaml"
    file.write_text(IDEA + "pieces: [{name: a, bars: 0, tempo: 90}]")
    with pytest.raises(RoutineError, match="bars"):
        load_sketch(file)
