"""What a deck's next cue asks for at this moment: the way to it, the wind, and whether it is ready.

The plan is the record's way (`routine.way`), worked out once; this lays the record's own place and
speed over it. The next cue is told whatever the hand does with the deck now.
"""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.follow.numbers import USUAL
from liveaid.follow.prompt import Way
from liveaid.record.bring import bring
from liveaid.record.places import has_left_course, stands_at
from liveaid.record.platter import sticker_degrees
from liveaid.routine import Routine, Side
from liveaid.routine.way import Change, changes, next_change, stands_ready


@dataclass(frozen=True, slots=True, kw_only=True)
class Here:
    """Where the routine is, as far as it is known."""

    piece: int
    """-1 before the start."""
    beat: float
    rate_bps: float | None
    """Beats a second now; None: as the map says."""
    sure: bool
    """At least half believed: a wind may be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCue:
    """One deck's next cue; fields as in `DeckNow`."""

    cue: float | None = None
    way: Way | None = None
    wind: float | None = None
    in_time: bool | None = None
    sticker: float | None = None
    ready: bool = False
    after: int | None = None
    due_beats: float | None = None


def next_cue(
    routine: Routine,
    side: Side,
    here: Here,
    *,
    position_s: float | None,
    speed: float | None,
) -> NextCue:
    """The next cue of one deck, `position_s` and `speed` (1.0 nominal) None where not known.

    A place without a speed is the last one heard: it stands there as far as anyone knows.
    """
    move = _not_let_go(routine, side, here, position_s, speed) or next_change(
        routine, side, here.piece, here.beat
    )
    if move is None or move.cue_s is None:
        return NextCue()
    due_beats, due_in_s = _due(routine, here, move)
    told = NextCue(
        cue=move.cue_s,
        way=move.way,
        sticker=round(sticker_degrees(move.cue_s, routine.turntable.rpm), 2) % 360.0,
        after=move.after,
        due_beats=due_beats,
    )
    if position_s is None or (speed is None and move.way == "runs on"):
        return told
    return _with_record(routine, move, told, here, position_s, speed or 0.0, due_in_s)


def _not_let_go(
    routine: Routine, side: Side, here: Here, position_s: float | None, speed: float | None
) -> Change | None:
    """The cue of the set piece that is just beginning, while the record still stands there."""
    if position_s is None:
        return None
    for move in changes(routine):
        here_due = move.side == side and move.due.piece == here.piece
        late = 0.0 <= here.beat - move.due.beat < USUAL.let_go_late_beats
        waits = move.cue_s is not None and stands_at(position_s, move.cue_s, speed or 0.0)
        if here_due and late and waits:
            return move
    return None


def _with_record(
    routine: Routine,
    move: Change,
    told: NextCue,
    here: Here,
    position_s: float,
    speed: float,
    due_in_s: float | None,
) -> NextCue:
    """What is told of the plan, with the record's own place and motion."""
    assert move.cue_s is not None
    turns = (move.cue_s - position_s) / routine.turntable.turn_s
    brings = bring(turns, routine.performer)
    waits_s = max(move.beat_due(routine), 0.0) * routine.pieces[move.after].beat_s
    ready = stands_ready(move, position_s, speed, due_in_s=due_in_s, waits_s=waits_s)
    way = told.way
    gone = due_in_s is not None and has_left_course(
        position_s, move.cue_s, speed, due_in_s, waits_s
    )
    if way == "runs on" and gone:
        way = brings.means  # now a hand has to bring it after all
    needs_hand = way != "runs on"
    late = needs_hand and not ready and due_in_s is not None and brings.needed_s > due_in_s
    return NextCue(
        cue=told.cue,
        way=way,
        wind=turns if needs_hand and here.sure else None,
        in_time=None if due_in_s is None or not here.sure else not late,
        sticker=told.sticker,
        ready=ready,
        after=told.after,
        due_beats=told.due_beats,
    )


def _due(routine: Routine, here: Here, move: Change) -> tuple[float | None, float | None]:
    """Beats and seconds until the cue is due, at the pitch played now; None before the start."""
    if here.piece < 0:
        return None, None
    beats = seconds = 0.0
    for piece in range(here.piece, min(move.due.piece, len(routine.pieces) - 1) + 1):
        first = here.beat if piece == here.piece else 0.0
        last = move.due.beat if piece == move.due.piece else float(routine.beats(piece))
        share = max(last - first, 0.0)
        beats += share
        seconds += share * routine.pieces[piece].beat_s
    pitch = 1.0 if here.rate_bps is None else here.rate_bps * routine.pieces[here.piece].beat_s
    return beats, seconds / pitch if pitch > 0.1 else None
