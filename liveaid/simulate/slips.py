"""What each fault does to the steps of a performance."""

from __future__ import annotations

from dataclasses import replace

from liveaid.routine import Routine
from liveaid.simulate.faults import Fault
from liveaid.simulate.steps import Halt, Mark, Step, WrongCue, pause, plain_steps


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
    lands = beat + (fault.by or 0.0) * routine.pieces[step.piece].tempo_bpm / 60.0
    lands = min(max(lands, 0.0), step.to_beat - 0.25)
    rest = Step(step.piece, lands, step.to_beat, how="needle")
    return [replace(step, to_beat=beat), *_marked([rest], Mark(fault))]


def _from_wrong_cue(step: Step, fault: Fault, routine: Routine) -> Step:
    side = routine.pieces[step.piece].count
    cue_s = routine.pieces[fault.to_piece or 0].plan("right" if side == "right" else "left").cue_s
    wrong = WrongCue("right" if side == "right" else "left", cue_s or 0.0, fault.beat or 0.0)
    return _marked([replace(step, wrong=wrong)], Mark(fault, 0.0, fault.beat))[0]
