"""Which deck the performer has to have ready next, set piece by set piece. Pure."""

from __future__ import annotations

from liveaid.routine import SIDES, Routine, Runs, Side

_SAME_S = 0.02
"""Two deck-file seconds closer than this are the same place (a hand cannot set it closer)."""


def next_cues(routine: Routine) -> tuple[tuple[Side, ...], ...]:
    """For each set piece, the decks that must stand at a new cue first thereafter; () at the end.

    A record that simply runs on, or stays in the span it is worked in, needs no cue.
    """
    return tuple(_after(routine, index) for index in range(len(routine.pieces)))


def _after(routine: Routine, index: int) -> tuple[Side, ...]:
    for later in range(index + 1, len(routine.pieces)):
        sides = tuple(side for side in SIDES if _needs_cue(routine, later, side))
        if sides:
            return sides
    return ()


def _needs_cue(routine: Routine, index: int, side: Side) -> bool:
    cue_s = routine.pieces[index].plan(side).cue_s
    if cue_s is None:
        return False
    before = routine.pieces[index - 1].plan(side)
    left_at_s = before.cue_s
    if isinstance(before, Runs) and before.at_s is not None:
        left_at_s = before.at_s + routine.piece_s(index - 1)
    return left_at_s is None or abs(left_at_s - cue_s) > _SAME_S
