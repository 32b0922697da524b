"""The way through the section map that a performance takes: set pieces and pauses, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine import Routine, Side
from liveaid.simulate.faults import Fault

How: TypeAlias = Literal["flow", "needle", "brake", "stand", "spin up"]


@dataclass(frozen=True, slots=True)
class Mark:
    """Where in a step a fault shows: from one beat to another, or the step as a whole."""

    fault: Fault
    from_beat: float | None = None
    to_beat: float | None = None


@dataclass(frozen=True, slots=True)
class WrongCue:
    """A deck started from another set piece's cue, put right at a beat."""

    side: Side
    cue_s: float
    until_beat: float


@dataclass(frozen=True, slots=True)
class Halt:
    """The platter of the deck that carries the count is stopped at a beat and stands for a time."""

    beat: float
    stands_s: float


@dataclass(frozen=True, slots=True)
class Step:
    """One set piece from beat to beat, or with piece -1 a pause of `lasts_s`."""

    piece: int
    from_beat: float = 0.0
    to_beat: float = 0.0
    lasts_s: float = 0.0
    how: How = "flow"
    wrong: WrongCue | None = None
    halt: Halt | None = None
    marks: tuple[Mark, ...] = ()


def pause(lasts_s: float, *marks: Mark) -> Step:
    """A step in which both decks are made ready."""
    return Step(-1, lasts_s=lasts_s, marks=marks)


def plain_steps(routine: Routine, *, first: int = 0) -> list[Step]:
    """Every set piece in the map's order, from one on."""
    return [
        Step(index, to_beat=float(routine.beats(index)))
        for index in range(first, len(routine.pieces))
    ]
