"""The routine as the follower reads it: what each deck does in every set piece, in plain numbers.

Sections are the set pieces, one `before` the first and one `over` after the last. Positions are
deck-file seconds; beats count from the section's start. A second that is none is NaN.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from liveaid.routine import SIDES, Routine, Side, Works
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.left import cue_of

Hand: TypeAlias = Literal["runs", "works", "rests"]
NONE = math.nan


@dataclass(frozen=True, slots=True)
class DeckPart:
    """What one deck does in one section."""

    hand: Hand = "rests"
    from_s: float = NONE
    """Where the passage or span begins; for a record that runs, the second of beat 0."""
    to_s: float = NONE
    cue_s: float = NONE
    next_cue_s: float = NONE
    """The cue this deck sounds from next, later on."""
    left_to_s: float = NONE
    """Where the passage this deck sounded in before ends."""
    cues_s: tuple[float, ...] = ()
    """All cues of this deck in the routine."""
    juggled: bool = False
    """Whether a hand works the other deck in turn."""
    strokes: tuple[float, ...] = ()
    """The beats a worked record is let go at, where the map names them."""


@dataclass(frozen=True, slots=True)
class PlanSection:
    """One set piece, or what comes before and after all."""

    index: int
    """From 0; -1 before the first."""
    beats: float
    """Infinite before and after."""
    beat_s: float
    """Seconds of record in a beat at pitch 0."""
    lead: Side | None
    """The running deck whose position tells the beat: the one that counts, else any."""
    parts: dict[Side, DeckPart]

    def read_beat(self, position_s: float) -> float:
        """The beat that the leading deck's position tells."""
        assert self.lead is not None
        return (position_s - self.parts[self.lead].from_s) / self.beat_s


@dataclass(frozen=True, slots=True)
class FollowPlan:
    """All sections; `sections[i + 1]` is set piece i."""

    sections: tuple[PlanSection, ...]
    starts: tuple[float, ...]
    """Beats of the routine before each section; `before` and the first both start at 0."""
    starts_s: tuple[float, ...]
    """Seconds before each section at pitch 0."""

    @property
    def pieces(self) -> int:
        """How many set pieces there are; also the index of `over`."""
        return len(self.sections) - 2

    def at(self, index: int) -> PlanSection:
        """The section of a set piece; -1 is before, `pieces` over."""
        return self.sections[index + 1]

    def is_piece(self, index: int) -> bool:
        """Whether a section is a set piece."""
        return 0 <= index < self.pieces

    def whole_beat(self, index: int, beat: float) -> float:
        """Beats from the routine's start; before it lies two beats before any, and what goes on
        beyond its last beat stays there."""
        return -2.0 if index < 0 else self.starts[index + 1] + min(beat, self.at(index).beats)


def plan_of(routine: Routine) -> FollowPlan:
    """The plan of a placed routine. ValueError when a cue has no deck-file second yet."""
    unplaced = [piece.name for piece in routine.pieces if not piece.placed]
    if unplaced:
        raise ValueError(
            f"{routine.title}: no deck-file seconds in {', '.join(unplaced)}"
            "; a placed map, as render writes it to decks/routine.yaml, would do"
        )
    columns = {side: list(_parts(routine, side)) for side in SIDES}
    sections, starts, starts_s = [], [0.0], [0.0]
    for index in range(-1, len(routine.pieces) + 1):
        parts = {side: columns[side][index + 1] for side in SIDES}
        inside = 0 <= index < len(routine.pieces)
        beats = float(routine.beats(index)) if inside else 0.0
        beat_s = routine.pieces[index].beat_s if inside else 1.0
        lead = _lead(routine, index) if inside else None
        sections.append(PlanSection(index, beats if inside else math.inf, beat_s, lead, parts))
        starts.append(starts[-1] + beats)
        starts_s.append(starts_s[-1] + beats * beat_s)
    return FollowPlan(tuple(sections), tuple(starts[:-1]), tuple(starts_s[:-1]))


def _lead(routine: Routine, index: int) -> Side | None:
    piece = routine.pieces[index]
    running: list[Side] = [side for side in SIDES if piece.plan(side).hand == "runs"]
    return min(running, key=lambda side: side != piece.count, default=None)


def _parts(routine: Routine, side: Side) -> Iterator[DeckPart]:
    own = [cue_of(routine, side, index) for index in range(len(routine.pieces))]
    cues_s = tuple(sorted({cue_s for cue_s in own if cue_s is not None}))
    left_to_s = NONE
    for index in range(-1, len(routine.pieces) + 1):
        part = replace(_part(routine, index, side), left_to_s=left_to_s, cues_s=cues_s)
        if part.hand != "rests":
            left_to_s = part.to_s
        # After the last beat the routine may begin again.
        later = routine.next_cue(side, -1 if index == len(routine.pieces) else index)
        cue_s = None if later is None else own[later[0]]
        yield replace(part, next_cue_s=NONE if cue_s is None else cue_s)


def _part(routine: Routine, index: int, side: Side) -> DeckPart:
    if not 0 <= index < len(routine.pieces):
        return DeckPart()
    plan = routine.pieces[index].plan(side)
    if plan.hand == "rests":
        return DeckPart()
    cue_s = cue_of(routine, side, index)
    assert cue_s is not None
    if plan.hand == "runs":
        return DeckPart("runs", cue_s, cue_s + routine.piece_s(index), cue_s)
    assert plan.from_s is not None
    assert plan.to_s is not None
    strokes = _let_go(routine, index, side)
    juggled = all(routine.pieces[index].plan(each).hand == "works" for each in SIDES)
    return DeckPart("works", plan.from_s, plan.to_s, cue_s, juggled=juggled, strokes=strokes)


def _let_go(routine: Routine, index: int, side: Side) -> tuple[float, ...]:
    piece = routine.pieces[index]
    if not written_out(piece, side):
        plan = piece.plan(side)
        return (plan.strokes or ()) if isinstance(plan, Works) else ()
    acts = acts_of(routine, index, side)
    return tuple(act.beat for act in acts if act.kind == "let go" and act.beat >= 0.0)
