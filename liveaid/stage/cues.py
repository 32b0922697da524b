"""Which deck the performer has to have ready next, set piece by set piece. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from liveaid.routine import Routine, Side
from liveaid.routine.way import Change, changes


def next_cues(routine: Routine) -> tuple[tuple[Side, ...], ...]:
    """For each set piece, the decks that must stand at a new cue first thereafter; () at the end.

    A record that runs on, or stands where it is worked next, needs no cue: the way says which.
    """
    asked = [move for move in changes(routine) if _asks(move)]
    return tuple(_after(asked, index) for index in range(len(routine.pieces)))


def _after(asked: Sequence[Change], index: int) -> tuple[Side, ...]:
    later = [move for move in asked if move.after > index]
    first = min((move.after for move in later), default=None)
    return tuple(sorted(move.side for move in later if move.after == first))


def _asks(move: Change) -> bool:
    """Whether a hand has to bring the record to this cue."""
    return move.way == "set before" or (move.by_a_hand and bool(move.needed_s))
