"""When a deck's fader was open over a take: as written, and as the mixer told it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from liveaid.practice.hand_cuts import deck_moves
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.visits import Visit
from liveaid.routine import Routine, Side
from liveaid.routine.acts import fader_of, written_out

Spans: TypeAlias = tuple[tuple[float, float], ...]
"""From and to, in the take's own seconds."""


def written_open(routine: Routine, visit: Visit, side: Side) -> Spans:
    """When a deck's fader is to be open in a set piece gone through; none where no acts are
    written. Beats are taken as even over the visit."""
    if not written_out(routine.pieces[visit.piece], side) or visit.to_beat <= visit.from_beat:
        return ()
    beat_s = (visit.end_s - visit.start_s) / (visit.to_beat - visit.from_beat)
    found = []
    for start, end in fader_of(routine, visit.piece).get(side, ()):
        start, end = max(start, visit.from_beat), min(end, visit.to_beat)
        if start < end:
            start_s, end_s = (visit.start_s + (b - visit.from_beat) * beat_s for b in (start, end))
            found.append((start_s, end_s))
    return tuple(found)


def heard_open(
    mixer: Sequence[FaderHeard], side: Side, *, hamster: bool, start_s: float, end_s: float
) -> Spans:
    """When a deck was open by what the mixer told, between two moments; none where it told no move
    of this deck's. Before the first move it stood where that began."""
    found: list[tuple[float, float]] = []
    opened_s: float | None = None
    moves = deck_moves(mixer, side, hamster=hamster)
    if moves and not moves[0].opens(side):
        opened_s = start_s
    for move in moves:
        if move.opens(side):
            opened_s = move.at_s if opened_s is None else opened_s
        elif opened_s is not None:
            found.append((opened_s, move.at_s))
            opened_s = None
    if opened_s is not None:
        found.append((opened_s, end_s))
    cut = ((max(a, start_s), min(b, end_s)) for a, b in found)
    return tuple((a, b) for a, b in cut if a < b)
