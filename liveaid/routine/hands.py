"""What two hands have to do, beat by beat, before any record is wound.

Which hand does what is common practice, no source: a worked record takes the hand on its own side
and the crossfader the other; two worked records take both hands in turns, and the hand that has
just let go moves the crossfader; a record that runs takes a hand only while it is let go; two that
run together take one hand on the channel faders; a pitch change takes a hand for a beat.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine.acts import RUNNING, written_acts
from liveaid.routine.left import runs_through
from liveaid.routine.model import (
    SIDES,
    Performer,
    Piece,
    Routine,
    Runs,
    Side,
    Works,
    other_side,
)
from liveaid.routine.timeline import Moment, beats_between

Task: TypeAlias = Literal[
    "works", "releases", "crossfader", "channel faders", "pitch", "winds", "needle"
]

ONE_HANDED = ("baby scratch", "scribble", "tear", "drag", "backspin", "back-spin", "open fader")
"""Techniques in which the crossfader stays open (common practice, no source)."""

STRAIN_S = 60.0
"""Seconds one hand may work a record before the usual caution is due (no source)."""


@dataclass(frozen=True, slots=True)
class Job:
    """Something a hand does for a beat; `side` None for what belongs to both decks."""

    task: Task
    side: Side | None = None

    def __str__(self) -> str:
        if self.task == "needle":
            return f"lifts the {self.side} needle"
        if self.task == "pitch":
            return f"sets the {self.side} pitch"
        return self.task if self.side is None else f"{self.task} {self.side}"


def crossfader_end(performer: Performer, side: Side) -> Side:
    """The end of the crossfader at which a deck is heard: its own, or the other with hamster."""
    return other_side(side) if performer.hamster else side


def needs_crossfader(piece: Piece) -> bool:
    """Whether a hand stays at the crossfader: a worked record, unless the technique needs none."""
    works = any(isinstance(piece.plan(side), Works) for side in SIDES)
    return works and not piece.is_called(*ONE_HANDED)


def jobs(routine: Routine, index: int, beat: int) -> tuple[Job, ...]:
    """What playing one beat asks of the hands.

    In a juggle the crossfader is not counted: whichever hand has let go moves it.
    """
    piece = routine.pieces[index]
    worked = tuple(Job("works", side) for side in SIDES if _hand_on(routine, index, side, beat))
    let_go = tuple(
        Job("releases", side) for side in SIDES if beat == 0 and _starts(routine, index, side)
    )
    asked = [*worked, *let_go]
    if beat == 0:
        asked += [Job("pitch", side) for side in SIDES if _steps(routine, index, side)]
    # A hand that lets go on the beat is at the fader the moment after: a plain start asks for no
    # third hand, unless a stroke is written on that very beat.
    at_once = not let_go or _stroke_at(piece, beat)
    if len(worked) == 1 and needs_crossfader(piece) and at_once:
        asked.append(Job("crossfader"))
    elif _runs_twice(piece) and len(let_go) < 2:
        asked.append(Job("channel faders"))
    elif beat == 0 and len(asked) < 2 and _others_are_heard(routine, index):
        asked.append(Job("crossfader"))
    return tuple(asked)


def _others_are_heard(routine: Routine, index: int) -> bool:
    """Whether other decks sound in a set piece than in the one before: the fader has to move."""
    return index > 0 and routine.pieces[index].sounding != routine.pieces[index - 1].sounding


def _runs_twice(piece: Piece) -> bool:
    return all(isinstance(piece.plan(side), Runs) for side in SIDES)


def _stroke_at(piece: Piece, beat: int) -> bool:
    """Whether some stroke is written in a beat."""
    return any(
        beat <= stroke < beat + 1 for side in SIDES for stroke in piece.plan(side).stroke_beats
    )


def hands_beside(routine: Routine, index: int, beat: int, side: Side | None) -> int:
    """Hands that playing one beat takes beside the one that brings a deck's record, if any is.

    A hand that is at that very record before its first act is there to bring it.
    """
    return sum(job != Job("works", side) for job in jobs(routine, index, beat))


def free_s(routine: Routine, start: Moment, end: Moment, side: Side | None = None) -> float:
    """Seconds between two moments in which playing leaves a hand to bring a deck's record."""
    return sum(
        share * routine.pieces[piece].beat_s
        for piece, beat, share in beats_between(routine, start, end)
        if hands_beside(routine, piece, beat, side) < 2
    )


def _hand_on(routine: Routine, index: int, side: Side, beat: int) -> bool:
    """Whether a hand is at a worked record: always, or around its written strokes or acts.

    It is there in the beat of one and in the beat before, to bring the record to its cue; a record
    let go by an act takes none while it runs.
    """
    plan = routine.pieces[index].plan(side)
    if not isinstance(plan, Works):
        return False
    acts = written_acts(routine, index, side)
    if acts:
        return any(
            (act.beat < beat + 2 and act.end_beat > beat and act.kind not in RUNNING)
            or beat <= act.beat < beat + 2
            for act in acts
        )
    if not plan.strokes:
        return True
    return any(beat <= stroke < beat + 2 for stroke in plan.strokes)


def _starts(routine: Routine, index: int, side: Side) -> bool:
    """Whether a record that runs is let go as a set piece begins, not running on into it."""
    runs = isinstance(routine.pieces[index].plan(side), Runs)
    return runs and (index, side) not in runs_through(routine)


def _steps(routine: Routine, index: int, side: Side) -> bool:
    """Whether a record that runs on has to be brought to another tempo by a hand at its pitch.

    A worked record has none to be set; one made from a sound of the map has the step in its file.
    """
    plans = [routine.pieces[at].plan(side) for at in (index - 1, index)]
    by_hand = all(isinstance(plan, Runs) and plan.sound is None for plan in plans)
    return (
        (index, side) in runs_through(routine)
        and by_hand
        and abs(routine.pieces[index].tempo_bpm - routine.pieces[index - 1].tempo_bpm)
        > 1e-6 * routine.pieces[index].tempo_bpm
    )
