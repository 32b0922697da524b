"""What two hands have to do, beat by beat, before any record is wound.

Which hand does what is common practice, no source: a worked record takes the hand on its own side
and the crossfader the other; two worked records take both hands in turns, and the hand that has
just let go moves the crossfader; a record that runs takes a hand only while it is let go; two that
run together take one hand on the channel faders; a pitch change takes a hand for a beat.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine.model import SIDES, Performer, Piece, Routine, Runs, Side, Works, other_side
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
    technique = piece.technique.lower()
    works = any(isinstance(piece.plan(side), Works) for side in SIDES)
    return works and not any(name in technique for name in ONE_HANDED)


def jobs(routine: Routine, index: int, beat: int, through: frozenset[Side]) -> tuple[Job, ...]:
    """What playing one beat asks of the hands; `through`: decks that simply run on into the piece.

    In a juggle the crossfader is not counted: whichever hand has let go moves it.
    """
    piece = routine.pieces[index]
    worked = tuple(Job("works", side) for side in SIDES if _hand_on(piece.plan(side), beat))
    asked = list(worked)
    if beat == 0:
        asked += [Job("releases", side) for side in SIDES if _starts(piece, side, through)]
        asked += [Job("pitch", side) for side in sorted(through) if _tempo_moves(routine, index)]
    if len(worked) == 1 and needs_crossfader(piece):
        asked.append(Job("crossfader"))
    if all(isinstance(piece.plan(side), Runs) for side in SIDES):
        asked.append(Job("channel faders"))
    return tuple(asked)


def free_s(
    routine: Routine, start: Moment, end: Moment, through: dict[int, frozenset[Side]]
) -> float:
    """Seconds between two moments in which playing leaves at least one hand free."""
    total = 0.0
    for piece, beat, share in beats_between(routine, start, end):
        if len(jobs(routine, piece, beat, through.get(piece, frozenset()))) < 2:
            total += share * 60.0 / routine.pieces[piece].tempo_bpm
    return total


def _hand_on(plan: object, beat: int) -> bool:
    """Whether a hand is at a worked record: always, or around its written strokes.

    It is there in the beat of a stroke and in the beat before, to bring the record to its cue.
    """
    if not isinstance(plan, Works):
        return False
    if not plan.strokes:
        return True
    return any(beat <= stroke < beat + 2 for stroke in plan.strokes)


def _starts(piece: Piece, side: Side, through: frozenset[Side]) -> bool:
    return isinstance(piece.plan(side), Runs) and side not in through


def _tempo_moves(routine: Routine, index: int) -> bool:
    return (
        index > 0
        and abs(routine.pieces[index].tempo_bpm - routine.pieces[index - 1].tempo_bpm)
        > 1e-6 * routine.pieces[index].tempo_bpm
    )
