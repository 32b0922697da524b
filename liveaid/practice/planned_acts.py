"""What a routine asks the hands to do at a beat: the acts a take is held against."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine import SIDES, Piece, Routine, Runs, Side, other_side
from liveaid.routine.act_line import ActKind
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.left import runs_through

EventKind: TypeAlias = Literal["start", "release", "return", "stroke", "pull", "stop"]
KINDS: tuple[EventKind, ...] = ("start", "release", "return", "stroke", "pull", "stop")

LET_GO: tuple[EventKind, ...] = ("start", "release")
"""A record leaves the hand."""
SCORED: dict[ActKind, EventKind] = {
    "push": "stroke", "pull": "pull", "let go": "release", "catch": "return",
}  # fmt: skip
"""The map's acts that are scored, by what a score calls them."""
WINDOW_BEATS: dict[EventKind, float] = {
    "start": 1.0, "release": 0.5, "return": 0.5, "stroke": 0.35, "pull": 0.35, "stop": 1.0,
}  # fmt: skip
"""How far from its beat an act may be and still be that act (tuned on simulated hands that are
60 ms off)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One act of a hand.

    start: the record, or the first juggled one, is at its cue on the set piece's first beat.
    release: a juggled record is at its cue on a later beat. return: a juggled record is taken by
    the hand, to be brought back to its cue. stroke: a push forward at a beat of `strokes:`
    or of the map's acts. pull: a pull of those.
    stop: a record is taken on the routine's last beat.
    """

    kind: EventKind
    side: Side
    piece: int
    beat: float
    """Beats from the set piece's start."""
    cue_s: float | None = None
    """Deck-file second the act begins from or comes back to."""


def planned_events(routine: Routine, *, stops: bool = True) -> tuple[Planned, ...]:
    """Every act the section map gives a beat for, in order of set piece and beat.

    A juggle or scratch without `strokes:` gives none but its set piece's start: what the hands
    play there is theirs. `stops` leaves the last beat's stop out when False, as for a set piece
    practised by itself.
    """
    found = [act for index in range(len(routine.pieces)) for act in _of_piece(routine, index)]
    if stops:
        found += _stops(routine)
    return tuple(sorted(found, key=lambda act: (act.piece, act.beat, act.side)))


def timed(routine: Routine, index: int) -> bool:
    """Whether a set piece asks the hands for anything that a take of it can be judged by."""
    return routine.pieces[index].is_juggle or any(
        act.piece == index for act in planned_events(routine)
    )


def written(piece: Piece) -> bool:
    """Whether a juggle has the releases of both decks in the map."""
    return piece.is_juggle and all(
        piece.plan(side).stroke_beats or written_out(piece, side) for side in SIDES
    )


def runs_on(routine: Routine, index: int, side: Side) -> bool:
    """Whether the record runs into a set piece by itself, by its way, with no hand at it."""
    return (index, side) in runs_through(routine)


def releases(piece: Piece) -> list[tuple[float, Side]]:
    """The releases of both decks of a juggle by its `strokes:`, by beat."""
    return sorted((beat, side) for side in SIDES for beat in piece.plan(side).stroke_beats)


def _of_piece(routine: Routine, index: int) -> Iterator[Planned]:
    piece = routine.pieces[index]
    for side in SIDES:
        plan = piece.plan(side)
        if isinstance(plan, Runs) and not runs_on(routine, index, side):
            yield Planned(kind="start", side=side, piece=index, beat=0.0, cue_s=plan.cue_s)
        elif written_out(piece, side):
            yield from of_acts(routine, index, side)
        elif not piece.is_juggle:
            for beat in plan.stroke_beats:
                yield Planned(kind="stroke", side=side, piece=index, beat=beat, cue_s=plan.cue_s)
    if written(piece) and not any(written_out(piece, side) for side in SIDES):
        yield from juggle_acts(piece, index, releases(piece), float(routine.beats(index)))


def of_acts(routine: Routine, index: int, side: Side) -> Iterator[Planned]:
    """What the lines of one deck ask for, act by act; what only brings the record is not scored."""
    for act in acts_of(routine, index, side):
        kind = SCORED.get(act.kind)
        if kind is not None and act.written:
            begins = kind == "release" and abs(act.beat) < 1e-9
            yield Planned(
                kind="start" if begins else kind, side=side, piece=index, beat=act.beat,
                cue_s=act.from_s,
            )  # fmt: skip


def juggle_acts(
    piece: Piece, index: int, turns: list[tuple[float, Side]], beats: float
) -> Iterator[Planned]:
    """Releases of a juggle, and the return each asks for as the other deck comes in."""
    for place, (beat, side) in enumerate(turns):
        cue = piece.plan(side).cue_s
        kind: EventKind = "start" if place == 0 else "release"
        yield Planned(kind=kind, side=side, piece=index, beat=beat, cue_s=cue)
        ends = next((b for b, other in turns[place + 1 :] if other == other_side(side)), beats)
        again = next((b for b, other in turns[place + 1 :] if other == side), beats)
        if ends < min(again, beats):
            yield Planned(kind="return", side=side, piece=index, beat=ends, cue_s=cue)


def _stops(routine: Routine) -> Iterator[Planned]:
    last = len(routine.pieces) - 1
    for side in routine.pieces[last].running:
        yield Planned(kind="stop", side=side, piece=last, beat=float(routine.beats(last)))
