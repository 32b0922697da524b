"""The axis the follower believes over: the routine's beats, cut into cells.

One stretch of cells a set piece, and three single cells for what is no beat: `before` the first
set piece, `after` the last, and `elsewhere`, where the decks fit no place in the map.
Positions are deck-file seconds; beats count from the set piece's start.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.routine import SIDES, Routine, Side, other_side

CELLS_PER_BEAT = 8
"""An eighth of a beat, about 80 ms at 92 BPM: twice the timing error of a hand."""

RUNS, WORKS, RESTS, FREE = range(4)
HANDS = {"runs": RUNS, "works": WORKS, "rests": RESTS}

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class DeckMap:
    """What one deck is to do in every stretch; arrays of one value a stretch, NaN where none."""

    hand: Ints
    from_s: Floats
    """Where the passage or span begins; for a record that runs, the second of beat 0."""
    to_s: Floats
    cue_s: Floats
    next_cue_s: Floats
    """The cue this deck sounds from next, later on."""
    left_from_s: Floats
    """Where the passage this deck sounded in before begins, and ends."""
    left_to_s: Floats
    leads: npt.NDArray[np.bool_]
    """Where it runs and carries the count, or runs alone."""
    strokes: tuple[Floats | None, ...]
    """The beats a worked record is to be let go at, where the map names them."""


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """Cells over a routine: `first[s]` is the first cell of stretch s, `first[-1]` their number."""

    beats: Ints
    """Beats in each stretch; 0 for before, after and elsewhere."""
    first: Ints
    lengths: Ints
    """Cells in each stretch."""
    beat_s: Floats
    """Seconds of record in a beat at pitch 0."""
    decks: dict[Side, DeckMap]
    reach_s: float
    """Seconds of deck file in use: what a position is uniform over when nothing is known."""

    @property
    def before(self) -> int:
        """The stretch before the first set piece."""
        return 0

    @property
    def after(self) -> int:
        """The stretch after the last set piece."""
        return len(self.beats) - 2

    @property
    def elsewhere(self) -> int:
        """The stretch of no known place."""
        return len(self.beats) - 1

    @property
    def size(self) -> int:
        """How many cells there are."""
        return int(self.first[-1])

    def is_piece(self, stretch: int) -> bool:
        """Whether a stretch is a set piece."""
        return 0 < stretch < self.after

    def stretch_at(self, cell: int) -> int:
        """The stretch a cell belongs to."""
        return int(np.searchsorted(self.first, cell, side="right")) - 1


def axis_of(routine: Routine) -> Axis:
    """The axis of a placed routine. ValueError when a cue has no deck-file second yet."""
    unplaced = [piece.name for piece in routine.pieces if not piece.placed]
    if unplaced:
        raise ValueError(
            f"{routine.title}: no deck-file seconds in {', '.join(unplaced)}"
            "; a placed map, as render writes it to decks/routine.yaml, would do"
        )
    beats = np.array([0, *(routine.beats(i) for i in range(len(routine.pieces))), 0, 0])
    cells = np.maximum(beats * CELLS_PER_BEAT, 1)
    decks = {side: _deck_map(routine, side) for side in SIDES}
    ends = [deck.to_s[np.isfinite(deck.to_s)] for deck in decks.values()]
    return Axis(
        beats=beats,
        first=np.concatenate([[0], np.cumsum(cells)]),
        lengths=cells,
        beat_s=np.array([1.0, *(60.0 / piece.tempo_bpm for piece in routine.pieces), 1.0, 1.0]),
        decks=decks,
        reach_s=float(max((end.max() for end in ends if end.size), default=0.0)) + 20.0,
    )


def _deck_map(routine: Routine, side: Side) -> DeckMap:
    """One deck's map: before, every set piece, after, elsewhere."""
    rows = [(RESTS, np.nan, np.nan, np.nan)]
    for index, piece in enumerate(routine.pieces):
        plan = piece.plan(side)
        span = (np.nan, np.nan) if plan.hand == "rests" else passage(routine, index, side)
        cue = np.nan if plan.cue_s is None else plan.cue_s
        rows.append((HANDS[plan.hand], *span, cue))
    rows += [(RESTS, np.nan, np.nan, np.nan), (FREE, np.nan, np.nan, np.nan)]
    hand, from_s, to_s, cue_s = (np.array(column) for column in zip(*rows, strict=True))
    heard = np.flatnonzero(np.isfinite(from_s))
    last = [heard[heard < stretch] for stretch in range(len(rows))]
    later = [_cue_after(routine, side, index) for index in range(-1, len(rows) - 2)]
    return DeckMap(
        hand=hand,
        from_s=from_s,
        to_s=to_s,
        cue_s=cue_s,
        next_cue_s=np.array([*later, np.nan]),
        left_from_s=np.array([from_s[i[-1]] if i.size else np.nan for i in last]),
        left_to_s=np.array([to_s[i[-1]] if i.size else np.nan for i in last]),
        leads=np.array([False, *_leads(routine, side), False, False]),
        strokes=(None, *_strokes(routine, side), None, None),
    )


def _leads(routine: Routine, side: Side) -> Iterator[bool]:
    for piece in routine.pieces:
        alone = piece.plan(other_side(side)).hand != "runs"
        yield piece.plan(side).hand == "runs" and (alone or piece.count in (side, "clock"))


def _strokes(routine: Routine, side: Side) -> Iterator[Floats | None]:
    for piece in routine.pieces:
        strokes = getattr(piece.plan(side), "strokes", None)
        yield np.array(strokes) if strokes else None


def passage(routine: Routine, index: int, side: Side) -> tuple[float, float]:
    """First and last deck-file second a sounding deck is meant to read in one set piece."""
    plan = routine.pieces[index].plan(side)
    if plan.hand == "works":
        assert plan.from_s is not None
        assert plan.to_s is not None
        return plan.from_s, plan.to_s
    assert plan.cue_s is not None
    return plan.cue_s, plan.cue_s + routine.piece_s(index)


def _cue_after(routine: Routine, side: Side, index: int) -> float:
    later = routine.next_cue(side, index) if index < len(routine.pieces) else None
    return np.nan if later is None or later[1] is None else later[1]
