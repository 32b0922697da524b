"""The way through the section map that a performance takes: set pieces and pauses, in order, and
what each fault does to them."""

from __future__ import annotations

from dataclasses import dataclass, replace
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


def with_fault(steps: list[Step], fault: Fault, routine: Routine) -> list[Step]:
    """The steps with a settled fault in them, at the first step that plays its set piece.

    Unchanged when no step plays it any more, because another fault took it out.
    """
    index = next((i for i, step in enumerate(steps) if step.piece == fault.piece), None)
    if index is None:
        return steps
    before, step, after = steps[:index], steps[index], steps[index + 1 :]
    beat = fault.beat or 0.0
    match fault.kind:
        case "skip":
            return [*before, *_marked(after, Mark(fault))]
        case "repeat":
            return [*before, step, *_marked([step], Mark(fault)), *after]
        case "early":
            return [*before, replace(step, to_beat=beat), *_marked(after, Mark(fault))]
        case "late":
            late = replace(step, to_beat=step.to_beat + (fault.by or 0.0))
            return [*before, *_marked([late], Mark(fault, step.to_beat, late.to_beat)), *after]
        case "needle-jump":
            return [*before, *_jumped(step, fault, routine), *after]
        case "wrong-cue":
            return [*before, _from_wrong_cue(step, fault, routine), *after]
        case "restart":
            cut = replace(step, to_beat=beat)
            anew = [*plain_steps(routine), steps[-1]]
            return [*before, cut, pause(fault.by or 0.0, Mark(fault)), *anew]
        case "platter-stop":
            return [*before, replace(step, halt=Halt(beat, fault.by or 0.0)), *after]
        case "drop-out":
            return [*before, *_marked([step], Mark(fault, beat)), *after]
        case _:
            return steps


def _marked(steps: list[Step], mark: Mark) -> list[Step]:
    """The steps with a mark on the first."""
    return [
        replace(step, marks=(*step.marks, mark)) if i == 0 else step for i, step in enumerate(steps)
    ]


def _jumped(step: Step, fault: Fault, routine: Routine) -> list[Step]:
    """Two parts of one step: up to the jump, and on from where the needle came down."""
    beat = fault.beat or 0.0
    lands = beat + (fault.by or 0.0) / routine.pieces[step.piece].beat_s
    lands = min(max(lands, 0.0), step.to_beat - 0.25)
    rest = Step(step.piece, lands, step.to_beat, how="needle")
    return [replace(step, to_beat=beat), *_marked([rest], Mark(fault))]


def _from_wrong_cue(step: Step, fault: Fault, routine: Routine) -> Step:
    side: Side = "right" if routine.pieces[step.piece].count == "right" else "left"
    cue_s = routine.pieces[fault.to_piece or 0].plan(side).cue_s
    wrong = WrongCue(side, cue_s or 0.0, fault.beat or 0.0)
    return _marked([replace(step, wrong=wrong)], Mark(fault, 0.0, fault.beat))[0]
