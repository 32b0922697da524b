"""Where a set piece leaves a record: at which deck-file second, and whether it still runs; and
whether it gets from there to its next cue by itself.

A record that runs is left where it has run to, still running. A worked one stands where its last
act leaves it:

- a scratch is pushed and pulled, so it ends where it began: at the cue, strokes written or not;
- a juggled record is brought back to its cue as the other deck comes in, so it stands there too;
- but the last record let go in a juggle that is written out has no one to come in after it: it
  runs on from its cue to the end of the set piece, or stands at its span's end if that comes first;
- where the map writes acts, the last one says it.

Pure; all from the map, at pitch 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from liveaid.record.places import THERE_S
from liveaid.routine.acts import RUNNING, Act, written_acts
from liveaid.routine.model import SIDES, Piece, Plan, Rests, Routine, Runs, Side, other_side
from liveaid.routine.once import once
from liveaid.routine.timeline import sounds_again

_SAME_BEAT = 1e-6


@dataclass(frozen=True, slots=True)
class Left:
    """Where a record is at the moment a set piece is done with it."""

    at_s: float
    """Deck-file second."""
    runs: bool
    """Whether it still runs then; False: a hand holds it."""


def left_at(routine: Routine, side: Side, piece: int) -> Left | None:
    """Where a set piece leaves one deck's record; None when it rests there or is not placed."""
    acts = written_acts(routine, piece, side)
    if acts and routine.pieces[piece].plan(side).placed:
        return Left(acts[-1].to_s, runs=runs_out(acts, routine.beats(piece)))
    at = routine.pieces[piece]
    return left_by(at, side, at.plan(side), beats=routine.beats(piece))


def left_by(piece: Piece, side: Side, plan: Plan, *, beats: int) -> Left | None:
    """The same for a plan that may lie elsewhere on the deck than the set piece says.

    `plan`: what the side does, with its own deck-file seconds. `beats`: length of the set piece.
    """
    if isinstance(plan, Rests) or not plan.placed or plan.cue_s is None:
        return None
    if isinstance(plan, Runs):
        return Left(plan.cue_s + beats * piece.beat_s, runs=True)
    last = _last_release(piece, side)
    if last is None or plan.to_s is None:
        return Left(plan.cue_s, runs=False)
    runs_to = plan.cue_s + (beats - last) * piece.beat_s
    return Left(min(runs_to, plan.to_s), runs=runs_to <= plan.to_s + THERE_S)


def cue_of(routine: Routine, side: Side, piece: int) -> float | None:
    """Deck-file second a record must stand at to begin a set piece; None: rests or not placed."""
    plan = routine.pieces[piece].plan(side)
    acts = written_acts(routine, piece, side) if plan.placed else ()
    return acts[0].from_s if acts else plan.cue_s


def runs_out(acts: Sequence[Act], beats: int) -> bool:
    """Whether the last of a deck's acts leaves its record running as the set piece ends."""
    return acts[-1].kind in RUNNING and acts[-1].end_beat >= beats - 1e-6


def _last_release(piece: Piece, side: Side) -> float | None:
    """The beat of a written juggle's last release, when it is this side's."""
    mine, others = (piece.plan(each).stroke_beats for each in (side, other_side(side)))
    return mine[-1] if piece.is_juggle and mine and others and mine[-1] > others[-1] else None


@once
def runs_through(routine: Routine) -> frozenset[tuple[int, Side]]:
    """The set pieces and decks whose record simply runs on into them: nothing to wind or start."""
    return frozenset(
        (after, side)
        for side in SIDES
        for before, after in cues_in_turn(routine, side)
        if before is not None and _runs_on(routine, side, before, after)
    )


def cues_in_turn(routine: Routine, side: Side) -> list[tuple[int | None, int]]:
    """Each set piece in which a deck sounds, with the one it sounded in before; None: its first."""
    sounding = [i for i, piece in enumerate(routine.pieces) if side in piece.sounding]
    return list(zip([None, *sounding], sounding, strict=False))


def by_itself(left: Left, cue_s: float, *, rests_s: float, waits_s: float = 0.0) -> bool:
    """Whether a record left like this comes to a cue with no hand at it.

    `rests_s`: seconds from where it falls silent to the start of the set piece that wants it;
    `waits_s`: how much longer a worked record may take to pass its cue, where a hand takes it.
    """
    way_s = cue_s - left.at_s
    return left.runs and rests_s - THERE_S <= way_s + 1e-9 <= rests_s + waits_s + THERE_S + 2e-9


def _runs_on(routine: Routine, side: Side, before: int, after: int) -> bool:
    """Whether the record gets to its next cue by itself."""
    left, cue = left_at(routine, side, before), cue_of(routine, side, after)
    if left is None or cue is None:
        return _same_passage(routine, side, before, after)
    rests_s = sum(routine.piece_s(piece) for piece in range(before + 1, after))
    due = sounds_again(routine, after, side)
    waits_s = due.beat * routine.pieces[after].beat_s if due.piece == after else 0.0
    return by_itself(left, cue, rests_s=rests_s, waits_s=waits_s)


def _same_passage(routine: Routine, side: Side, before: int, after: int) -> bool:
    """Whether plans not yet placed ask for one sound that runs, going on where it was."""
    old, new = routine.pieces[before].plan(side), routine.pieces[after].plan(side)
    if not isinstance(old, Runs) or isinstance(new, Rests) or old.sound is None:
        return False
    ends = old.bars_in + routine.pieces[before].bars
    goes_on = abs(ends - new.bars_in) * routine.metre < _SAME_BEAT
    return after == before + 1 and old.sound == new.sound and goes_on
