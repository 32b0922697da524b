"""A section map that may have no set pieces yet: what the idea stage needs of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from liveaid.routine.load import read_bytes, read_routine
from liveaid.routine.model import Idea, Sound, Turntable
from liveaid.routine.strays import strays


@dataclass(frozen=True, slots=True)
class Sketch:
    """A routine before it is composed."""

    title: str
    idea: Idea | None
    limit_s: float | None
    metre: int
    turntable: Turntable
    sounds: Mapping[str, Sound]


def load_sketch(path: str | Path) -> Sketch:
    """The sketch in a section map's file. RoutineError with all that is wrong in the file."""
    routine = read_routine(
        read_bytes(path), str(path), pieces_needed=False, also=lambda source: strays(source, path)
    )
    return Sketch(
        title=routine.title,
        idea=routine.idea,
        limit_s=routine.limit_s,
        metre=routine.metre,
        turntable=routine.turntable,
        sounds=routine.sounds,
    )
