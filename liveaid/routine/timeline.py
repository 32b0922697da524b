"""When each set piece and beat falls, at pitch 0; where a deck falls silent and sounds again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate

from liveaid.routine.acts import written_acts
from liveaid.routine.model import SIDES, Routine, Runs, Side, Works, other_side

JUGGLE_TURN_BEATS = 2.0
"""A juggle's decks take turns of one or two beats; the other is brought back meanwhile
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A beat of the routine: set piece from 0, beats from its start."""

    piece: int
    beat: float


def starts_s(routine: Routine) -> tuple[float, ...]:
    """Second at which each set piece starts, and one more: the end."""
    lengths = (routine.piece_s(index) for index in range(len(routine.pieces)))
    return tuple(accumulate(lengths, initial=0.0))


def pick_up_beats(routine: Routine, piece: int) -> float:
    """Beats before a set piece's first beat at which its first written act begins; 0: none does."""
    beats = (
        acts[0].beat
        for side in SIDES
        if piece < len(routine.pieces) and (acts := written_acts(routine, piece, side))
    )
    return -min(0.0, min(beats, default=0.0))


def lead_in_s(routine: Routine) -> float:
    """Seconds before the routine's first beat at which its first act begins: its pick-up."""
    return pick_up_beats(routine, 0) * routine.pieces[0].beat_s


def beats_between(routine: Routine, start: Moment, end: Moment) -> Iterator[tuple[int, int, float]]:
    """Every beat from one moment to another as (set piece, beat, share of it inside)."""
    for piece in range(start.piece, min(end.piece, len(routine.pieces) - 1) + 1):
        first = start.beat if piece == start.piece else 0.0
        last = end.beat if piece == end.piece else float(routine.beats(piece))
        for beat in range(math.floor(first), math.ceil(last)):
            share = min(beat + 1.0, last) - max(float(beat), first)
            if share > 0:
                yield piece, beat, share


def beat_before(routine: Routine, piece: int, beat: float) -> Moment:
    """A beat of a set piece as a moment; one below 0, a pick-up, lies in a set piece before it."""
    while beat < 0 and piece > 0:
        piece -= 1
        beat += routine.beats(piece)
    return Moment(piece, beat)


def falls_silent(routine: Routine, piece: int, side: Side) -> Moment:
    """When a deck that sounds in a set piece has nothing more to do in it.

    With strokes written out: when the last one has played out its span, or has lasted a beat
    where the span is unknown, or when the other deck takes over in a juggle. Else the end.
    """
    plan, end = routine.pieces[piece].plan(side), float(routine.beats(piece))
    acts = written_acts(routine, piece, side)
    if acts:
        return beat_before(routine, piece, min(end, acts[-1].end_beat))
    if not isinstance(plan, Works) or not plan.strokes:
        return Moment(piece, end)
    last = plan.strokes[-1]
    length = max(1.0, (plan.span_s or 0.0) / routine.pieces[piece].beat_s)
    other = routine.pieces[piece].plan(other_side(side))
    taken_over = [stroke for stroke in other.stroke_beats if stroke > last]
    return Moment(piece, min(end, last + length, *taken_over))


def sounds_again(routine: Routine, piece: int, side: Side) -> Moment:
    """When a deck must stand at its cue: the set piece's start, or its first written stroke or act.

    A pick-up's first act lies in the set piece before.
    """
    acts = written_acts(routine, piece, side)
    if acts:
        return beat_before(routine, piece, acts[0].beat)
    return Moment(piece, next(iter(routine.pieces[piece].plan(side).stroke_beats), 0.0))


def leave_early_beats(routine: Routine, piece: int, side: Side) -> float:
    """Beats before a set piece's end that a deck may give up while the other carries the music.

    A bar where the other deck runs and this one does not carry the count; a turn of a juggle;
    else none. Written strokes say it themselves (common practice, no source).
    """
    at, plan = routine.pieces[piece], routine.pieces[piece].plan(side)
    if plan.stroke_beats or at.count == side or written_acts(routine, piece, side):
        return 0.0
    return _give_beats(routine, piece, side)


def enter_late_beats(routine: Routine, piece: int, side: Side) -> float:
    """Beats into a set piece that a worked deck may come late while the other carries the music.

    A record that is let run must start on its beat: none (common practice, no source).
    """
    plan = routine.pieces[piece].plan(side)
    if isinstance(plan, Runs) or plan.stroke_beats or written_acts(routine, piece, side):
        return 0.0
    return _give_beats(routine, piece, side)


def _give_beats(routine: Routine, piece: int, side: Side) -> float:
    if isinstance(routine.pieces[piece].plan(other_side(side)), Runs):
        return float(min(routine.metre, routine.beats(piece)))
    if routine.pieces[piece].is_juggle:
        return min(JUGGLE_TURN_BEATS, float(routine.beats(piece)))
    return 0.0
