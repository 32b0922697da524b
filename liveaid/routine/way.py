"""The way of each record through the routine: where it is left, its next cue, how it gets there.

Worked out once, from the map alone, at pitch 0; every room reads it. A deck's way is a row of
changes, each from the set piece it last sounded in to the next one it sounds in. There are four
ways to a cue:

- set before: a deck's first cue; it is brought there before the routine starts;
- runs on: a record left running comes to it by itself, unheard through a rest or straight on;
- by hand, needle: a hand has to bring it, whichever is quicker. 0 turns where it already stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from liveaid.record.bring import Bringing, bring
from liveaid.record.figures import figure
from liveaid.record.places import is_there, on_course, stands_at
from liveaid.routine.hands import free_s
from liveaid.routine.left import Left, cue_of, cues_in_turn, left_at, runs_through
from liveaid.routine.model import SIDES, Routine, Side
from liveaid.routine.once import once
from liveaid.routine.plain_data import plain
from liveaid.routine.timeline import (
    JUGGLE_TURN_BEATS,
    Moment,
    beats_between,
    enter_late_beats,
    falls_silent,
    leave_early_beats,
    sounds_again,
)

Brought: TypeAlias = Literal["set before", "runs on", "by hand", "needle"]
Verdict: TypeAlias = Literal["set before", "runs on", "easy", "tight", "impossible", "not placed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One deck on its way from the set piece it last sounded in to its next cue."""

    side: Side
    before: int | None
    """Set piece it last sounded in; None for a deck's first cue."""
    after: int
    """Set piece the cue is for."""
    silent: Moment
    """When it falls silent; for a first cue the same as `due`."""
    due: Moment
    """When it must stand at its cue, or run past it."""
    from_s: float | None
    """Deck-file second at which it is left when it falls silent."""
    still_runs: bool
    """Whether it still runs then; False: a hand holds it."""
    cue_s: float | None
    """Deck-file second of the cue; None: not placed."""
    way: Brought | None
    """How it gets to the cue; None: not placed."""
    turns: float | None
    """Turns of the platter to bring it, + forward, - back; 0 where it runs on or stands there."""
    hand: Side | None
    """The hand that brings it: the one on its own side; None where none has to."""
    by_hand_s: float | None
    """Seconds to wind and settle it by hand."""
    by_needle_s: float | None
    """Seconds to lift the needle, set it down, and settle it from where it lands."""
    needed_s: float | None
    """Seconds of the quicker of the two; None where no hand is needed or it is not placed."""
    available_s: float
    available_beats: float
    free_s: float
    """Seconds of those in which a hand is free."""
    leave_early_beats: float
    """Beats the deck may leave early while the other carries the music."""
    come_late_beats: float
    """Beats the deck may come in late while the other carries the music."""
    give_s: float
    """Seconds of both together."""
    spare_beats: float | None
    """Beats left over of what a free hand has; below 0 when short; None where none is needed."""
    verdict: Verdict

    @property
    def by_a_hand(self) -> bool:
        """Whether a hand has to bring it while the routine runs."""
        return self.way in ("by hand", "needle")

    def beat_due(self, routine: Routine) -> float:
        """The beat of its own set piece on which it is due; below 0 where a pick-up comes first."""
        return self.due.beat - sum(map(routine.beats, range(self.due.piece, self.after)))

    def to_json(self) -> dict[str, Any]:
        """The change as plain data; set pieces and beats from 0, seconds rounded to 0.1 ms."""
        told = plain(self)
        silent, due = told.pop("silent"), told.pop("due")
        return told | {"silent_from_beat": silent["beat"], "due_beat": due["beat"]}


@once
def changes(routine: Routine) -> tuple[Change, ...]:
    """Every change of both decks, in the order in which they are due."""
    each = [
        _change(routine, side, before, after)
        for side in SIDES
        for before, after in cues_in_turn(routine, side)
    ]
    return tuple(sorted(each, key=lambda move: (move.due.piece, move.due.beat, move.side)))


def next_change(routine: Routine, side: Side, piece: int, beat: float = 0.0) -> Change | None:
    """A deck's next cue as seen from a beat of a set piece, whatever its hand does now.

    `piece` is -1 before the start. A worked record whose first stroke is still to come has that
    set piece's own cue for its next. None when no more is to come.
    """
    for move in changes(routine):
        if move.side == side and (move.due.piece, move.due.beat) > (piece, beat):
            return move
    return None


def stands_ready(
    move: Change, position_s: float, speed: float, *,
    due_in_s: float | None = None, waits_s: float = 0.0,
) -> bool:  # fmt: skip
    """Whether a record counts as ready for its cue: it stands there, or runs on and will be there.

    `position_s`: deck-file second; `speed`: 1.0 nominal; `due_in_s`: seconds until it is due, for
    a record that runs on; `waits_s`: by how much sooner it may pass there, where a hand takes it.
    """
    if move.cue_s is None:
        return False
    if stands_at(position_s, move.cue_s, speed):
        return True
    runs = move.way == "runs on" and due_in_s is not None
    return runs and on_course(position_s, move.cue_s, speed, due_in_s or 0.0, waits_s)


def _change(routine: Routine, side: Side, before: int | None, after: int) -> Change:
    due = sounds_again(routine, after, side)
    silent = due if before is None else falls_silent(routine, before, side)
    left = None if before is None else left_at(routine, side, before)
    cue_s = cue_of(routine, side, after)
    runs_on = (after, side) in runs_through(routine)
    brought = None if runs_on else _brought(routine, left, cue_s)
    way = _way(before, cue_s, brought, runs_on=runs_on)
    early, late = _give(routine, side, before, after)
    shares = list(beats_between(routine, silent, due))
    free = free_s(routine, silent, due, side)
    needed_s = None if brought is None else brought.needed_s
    beat_s = routine.pieces[max(after - 1, 0)].beat_s
    spare = None if needed_s is None else (free - needed_s) / beat_s
    give_s = early * routine.pieces[before or 0].beat_s + late * routine.pieces[after].beat_s
    by_hand = way in ("by hand", "needle")
    return Change(
        side=side,
        before=before,
        after=after,
        silent=silent,
        due=due,
        from_s=None if left is None else left.at_s,
        still_runs=left is not None and left.runs,
        cue_s=cue_s,
        way=way,
        turns=0.0 if runs_on else _turns(routine, left, cue_s),
        hand=side if by_hand else None,
        by_hand_s=None if brought is None else brought.by_hand_s,
        by_needle_s=None if brought is None else brought.by_needle_s,
        needed_s=needed_s,
        available_s=sum(share * routine.pieces[piece].beat_s for piece, _, share in shares),
        available_beats=sum(share for _, _, share in shares),
        free_s=free,
        leave_early_beats=early,
        come_late_beats=late,
        give_s=give_s,
        spare_beats=spare,
        verdict="set before"
        if before is None
        else _verdict(routine, way, needed_s, spare, free + give_s),
    )


def _turns(routine: Routine, left: Left | None, cue_s: float | None) -> float | None:
    if left is None or cue_s is None:
        return None
    return (cue_s - left.at_s) / routine.turntable.turn_s


def _brought(routine: Routine, left: Left | None, cue_s: float | None) -> Bringing | None:
    """What it takes to bring the record: no time where it is held at its cue already, and but a
    hand that stops it where it runs past its cue as it falls silent."""
    turns = _turns(routine, left, cue_s)
    if turns is None or left is None or cue_s is None:
        return None
    if is_there(left.at_s, cue_s):
        stop_s = figure("hold_s") if left.runs else 0.0
        return Bringing(stop_s, bring(0.0, routine.performer).by_needle_s)
    return bring(turns, routine.performer)


def _way(
    before: int | None, cue_s: float | None, brought: Bringing | None, *, runs_on: bool
) -> Brought | None:
    if runs_on:
        return "runs on"
    if cue_s is None:
        return None
    if before is None:
        return "set before"
    return None if brought is None else brought.means


def _verdict(
    routine: Routine,
    way: Brought | None,
    needed_s: float | None,
    spare_beats: float | None,
    at_most_s: float,
) -> Verdict:
    if way == "runs on":
        return way
    if needed_s is None or spare_beats is None:
        return "not placed"
    if needed_s == 0.0 or spare_beats >= routine.performer.margin_beats - 1e-9:
        return "easy"
    return "tight" if needed_s <= at_most_s + 1e-9 else "impossible"


def _give(routine: Routine, side: Side, before: int | None, after: int) -> tuple[float, float]:
    """Beats a deck may leave early and come in late; between two juggles one turn in all."""
    if before is None:
        return 0.0, 0.0
    early = leave_early_beats(routine, before, side)
    late = enter_late_beats(routine, after, side)
    if routine.pieces[before].is_juggle and routine.pieces[after].is_juggle:
        return early, max(0.0, min(late, JUGGLE_TURN_BEATS - early))
    return early, late
