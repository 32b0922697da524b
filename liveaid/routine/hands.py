"""What two hands have to do, before any record is wound: exactly where the map writes it, and what
that takes of each beat.

`stays_of` says from which beat to which a hand has to be where, by written acts and strokes;
`jobs` says what playing a beat takes: those stays, and whole beats of what is left to the hands.

Which hand does what is common practice, no source: a worked record takes the hand on its own side
and the crossfader the other, where the lines move it, or all through where they leave it to the
technique; two worked records take both hands in turns, and the hand that has just let go moves the
crossfader; a record that runs takes a hand only while it is let go; two that run together take
one hand on the channel faders; a pitch change takes a hand for a beat.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.record.bring import bring
from liveaid.record.figures import figure
from liveaid.routine.acts import BROUGHT, RUNNING, Act, acts_of, written_out
from liveaid.routine.fader_edges import fader_edges
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
from liveaid.routine.once import once
from liveaid.routine.timeline import Moment, beats_between

Place: TypeAlias = Literal["left", "right", "fader", "pitch"]

Task: TypeAlias = Literal[
    "works", "releases", "crossfader", "channel faders", "pitch", "winds", "needle"
]

ONE_HANDED = ("baby scratch", "scribble", "tear", "drag", "backspin", "back-spin", "open fader")
"""Techniques in which the crossfader stays open (common practice, no source)."""

STRAIN_S = 60.0
"""Seconds one hand may work a record before the usual caution is due (no source)."""
_NO_TIME_BEATS = 1e-6


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


@dataclass(frozen=True, slots=True)
class Stay:
    """A hand at one place from one beat of a set piece to another."""

    place: Place
    side: Side | None
    """The deck it is for; None: the fader, for either."""
    beat: float
    """Where what it is for is written; a record is brought some time after that."""
    start_beat: float
    end_beat: float
    """The same where it takes but a moment."""
    does: str

    @property
    def last_beat(self) -> int:
        """The last beat that any of it lies in."""
        return max(math.floor(self.start_beat), math.ceil(self.end_beat - _NO_TIME_BEATS) - 1)


@once
def stays_of(routine: Routine, index: int) -> tuple[Stay, ...]:
    """Where a hand has to be in a set piece by all that is written with its beat, in order.

    Acts and strokes at their records, what is brought as late as can be; the fader where an act
    needs it moved. What is left to the hands is not told.
    """
    stays = [stay for side in SIDES for stay in _at_record(routine, index, side)]
    edges = (edge for side in SIDES for edge in fader_edges(acts_of(routine, index, side)))
    moved = {round(edge.beat, 6) for edge in edges}
    stays += [Stay("fader", None, beat, beat, beat, "the fader") for beat in moved]
    return tuple(sorted(stays, key=lambda stay: (stay.start_beat, stay.place == "fader")))


def _at_record(routine: Routine, index: int, side: Side) -> Iterator[Stay]:
    acts, beat_s = acts_of(routine, index, side), routine.pieces[index].beat_s
    for place, act in enumerate(acts):
        does, at, ends = f"the {side} record ({act.kind})", act.beat, act.end_beat
        if act.kind == "let go":
            yield Stay(side, side, at, at, at, does)
        elif act.kind == "set pitch":
            until = min(at + figure("set_pitch_s") / beat_s, ends)
            yield Stay("pitch", side, at, at, until, f"{side}'s pitch fader")
        elif act.kind in BROUGHT:
            begins = max(ends - bring_s(routine, acts, place) / beat_s, at)
            yield Stay(side, side, at, begins, ends, does)
        elif act.kind != "catch" and act.beats > 0:
            yield Stay(side, side, at, at, ends, does)


def bring_s(routine: Routine, acts: Sequence[Act], place: int) -> float:
    """Seconds to hold a record that runs and bring it where an act of bringing takes it."""
    act = acts[place]
    hold_s = figure("hold_s") if ran_before(acts, place) else 0.0
    takes = bring(act.way_s / routine.turntable.turn_s, routine.performer)
    return hold_s + (takes.by_needle_s if act.kind == "needle" else takes.by_hand_s)


def ran_before(acts: Sequence[Act], place: int) -> bool:
    """Whether the record runs up to an act, past a catch that lasts no time."""
    before = [act for act in acts[:place] if act.kind != "catch"][-1:]
    return any(act.kind in RUNNING and acts[place].follows(act) for act in before)


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
    alone = worked[0].side if len(worked) == 1 and not piece.is_juggle else None
    if alone and at_once and _at_crossfader(routine, index, alone, beat):
        asked.append(Job("crossfader"))
    elif _runs_twice(piece) and len(let_go) < 2:
        asked.append(Job("channel faders"))
    elif beat == 0 and len(asked) < 2 and not piece.is_juggle and _others_are_heard(routine, index):
        asked.append(Job("crossfader"))
    return tuple(asked)


def _at_crossfader(routine: Routine, index: int, side: Side, beat: int) -> bool:
    """Whether a hand stays at the crossfader for the one worked record: where its lines move it, or
    else all through, unless the technique needs none."""
    piece = routine.pieces[index]
    if not written_out(piece, side):
        return needs_crossfader(piece)
    at_fader = (stay for stay in stays_of(routine, index) if stay.place == "fader")
    return any(beat <= stay.start_beat < beat + 1 for stay in at_fader)


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
    """Whether a hand is at a worked record in a beat, or on its way to it: by the stays that its
    lines ask for; in the beat of a bare stroke and the one before, for how it is brought back is
    left to the hand; else always."""
    piece = routine.pieces[index]
    plan = piece.plan(side)
    if not isinstance(plan, Works):
        return False
    if not written_out(piece, side):
        return not plan.strokes or any(beat <= stroke < beat + 2 for stroke in plan.strokes)
    comes = routine.performer.hand_move_s / piece.beat_s
    return any(
        stay.side == side and stay.start_beat - comes < beat + 1 and stay.last_beat >= beat
        for stay in stays_of(routine, index)
    )


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
