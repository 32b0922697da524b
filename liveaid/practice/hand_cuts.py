"""Each written deck's fader over one set piece of a take, and a sentence on it."""

from __future__ import annotations

import statistics
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from liveaid.practice.fader_cuts import CutScore, FaderMove, cut_scores, fader_moves
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.visits import Visit
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.fader_edges import fader_edges

SHUT = 0.03
"""A level below this, or a crossfader this near to the far end, lets nothing through (as the
follower takes it)."""
WORTH_S = 0.005
"""Off by less on the whole is on time: a fader's messages come some milliseconds apart."""


@dataclass(frozen=True, slots=True)
class HandCuts:
    """One deck's openings and closings in one set piece."""

    side: Side
    scores: tuple[CutScore, ...] | None
    """None: no mixer was heard."""

    @property
    def missed(self) -> int:
        """How many were written and not made."""
        return sum(one.at_s is None for one in self.scores or ())

    @property
    def added(self) -> int:
        """How many were made and not written."""
        return sum(one.beat is None for one in self.scores or ())


def hand_cuts(
    routine: Routine, visit: Visit, when: Callable[[float], float], mixer: Sequence[FaderHeard]
) -> tuple[HandCuts, ...]:
    """Every deck whose acts are written out and need the fader, `when` the time of a beat.

    What lies before the visit's first beat and its pick-up, or beyond its last beat, is neither
    missed nor added.
    """
    found = []
    for side in SIDES:
        acts = acts_of(routine, visit.piece, side)
        if not written_out(routine.pieces[visit.piece], side) or not fader_edges(acts):
            continue
        if not mixer:
            found.append(HandCuts(side, None))
            continue
        half_s = 0.5 * (when(1.0) - when(0.0))
        first = min(acts[0].beat, 0.0) if visit.from_beat <= 0.0 else visit.from_beat
        low, high = when(first) - half_s, when(visit.to_beat) + half_s
        moves = deck_moves(mixer, side, hamster=routine.performer.hamster)
        moves = [move for move in moves if low <= move.at_s <= high]
        scores = cut_scores(acts, side, moves, when)
        inside = tuple(one for one in scores if _inside(one, first, visit.to_beat))
        found.append(HandCuts(side, inside))
    return tuple(found)


def _inside(one: CutScore, first: float, last: float) -> bool:
    made = one.at_s is not None
    return made or (one.beat is not None and first <= one.beat <= last)


def deck_moves(mixer: Sequence[FaderHeard], side: Side, *, hamster: bool) -> list[FaderMove]:
    """What opened or shut one deck: the crossfader where its level is up, its level where the
    crossfader lets it through. As moves of the crossfader, 0 where only left is heard."""
    cross = [(m.now_s, 1 - m.value if hamster else m.value) for m in mixer if _is(m, "crossfader")]
    # A level that rises opens its deck: for the left that is a way toward 0.
    level = [(m.now_s, m.value if side == "right" else 1 - m.value) for m in mixer if _is(m, side)]
    both = [m for m in fader_moves(cross) if not _shut(level, m.at_s, side)]
    both += [m for m in fader_moves(level) if not _shut(cross, m.at_s, side)]
    return sorted(both, key=lambda move: move.at_s)


def _is(message: FaderHeard, control: str) -> bool:
    return message.control == control


def _shut(places: Sequence[tuple[float, float]], at_s: float, side: Side) -> bool:
    """Whether a fader stood where nothing of the deck comes through; not when never heard."""
    index = bisect_right(places, (at_s, float("inf"))) - 1
    if index < 0:
        return False
    place = places[index][1]
    return place < SHUT if side == "right" else place > 1.0 - SHUT


def fader_sentences(cuts: Iterable[HandCuts]) -> Mapping[Side, str]:
    """One sentence a deck over all its set pieces: late or early, left out, too many."""
    listed = list(cuts)
    found: dict[Side, str] = {}
    for side in SIDES:
        mine = [one for one in listed if one.side == side]
        if mine:
            found[side] = f"fader, {side} record: {_said(mine)}"
    return found


def _said(mine: Sequence[HandCuts]) -> str:
    scores = [one for part in mine for one in part.scores or ()]
    if all(part.scores is None for part in mine):
        return "not heard"
    parts = [bias_says(scores)]
    missed, added = sum(part.missed for part in mine), sum(part.added for part in mine)
    parts += [f"{missed} left out"] if missed else []
    parts += [f"{added} too many"] if added else []
    return ", ".join(part for part in parts if part)


def bias_s(scores: Iterable[CutScore]) -> float | None:
    """How late they are on the whole (median); None when none was made.

    By those due at one moment, where there are any: the room of a standing record hides the rest.
    """
    made = [one for one in scores if one.off_s is not None]
    exact = [one for one in made if not one.room_beats] or made
    return statistics.median([one.off_s or 0.0 for one in exact]) if exact else None


def bias_says(scores: Sequence[CutScore]) -> str:
    """`18 ms late: move it sooner`; empty when none was made."""
    off = bias_s(scores)
    if off is None:
        return ""
    if abs(off) < WORTH_S:
        return "on time"
    told, do = ("late", "move it sooner") if off > 0 else ("early", "move it later")
    return f"{abs(1000 * off):.0f} ms {told}: {do}"
