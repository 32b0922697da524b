"""Whether strokes can be made: each in its time and reach, and so many in a row; records brought
to the next act's place in the time there is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from liveaid.record.bring import least_s
from liveaid.record.figures import figure
from liveaid.routine.acts import BROUGHT, RUNNING, STROKES, Act
from liveaid.routine.check.demands import Demand, WorkedDemand, named
from liveaid.routine.hands import bring_s, ran_before
from liveaid.routine.model import Side

ROW = 4
"""So many strokes in a row are kept up; fewer are one effort, judged by their acceleration alone
(common practice, no source)."""


def judge_stroke_times(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """Each push, pull and spin back: the way against the hand's acceleration and speed."""
    for before, act in pairwise((None, *at.acts[side])):
        if act is None or act.kind not in STROKES:
            continue
        needs = least_s(at.turns(act.way_s), at.hands)
        if before is not None and before.kind in RUNNING and act.follows(before):
            needs += figure("hold_s")
        way = at.turns(act.way_s)
        yield Demand(
            kind="stroke", piece=at.piece, beat=act.beat, side=side,
            says=f"{named(act)} goes over {way:.2f} turns", needs=needs, has=at.seconds(act.beats),
            way_out="a shorter way (`over`), or longer (`for`)",
        )  # fmt: skip


def judge_reach_of_strokes(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """How far the hand goes one way without letting go of the record."""
    way, first = 0.0, None
    for act in at.acts[side]:
        if act.kind not in STROKES:
            way, first = 0.0, None
            continue
        if first is None or (act.way_s > 0) != (way > 0):
            way, first = 0.0, act
        way += act.way_s
        if at.turns(way) > at.turns(act.way_s) + 1e-9 or first is act:
            yield Demand(
                kind="reach", piece=at.piece, beat=first.beat, side=side,
                says=f"{named(first)} takes the hand {at.turns(way):.2f} turns one way",
                needs=at.turns(way), has=at.hands.reach_turns, unit="turns",
                way_out="a shorter part, or `over` less of it",
            )  # fmt: skip


def judge_rows(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """Strokes there and back one after another: the fastest a hand keeps up, and for how long."""
    starts = [act for act in at.acts[side] if _begins_stroke(act)]
    for row in _rows(at, starts):
        if len(row) > ROW:
            yield _row(at, side, _fastest(row))
            if at.seconds(row[-1].beat - row[0].beat) > figure("tiring_s"):
                yield _row(at, side, row)


def _begins_stroke(act: Act) -> bool:
    return act.kind in ("push", "let go") and act.written


def _rows(at: WorkedDemand, starts: Sequence[Act]) -> Iterator[Sequence[Act]]:
    """Stretches of strokes each of which follows within what a hand would call at once."""
    near_s = 2.0 / at.hands.strokes_per_s
    row: list[Act] = []
    for act in starts:
        if row and at.seconds(act.beat - row[-1].beat) > near_s:
            yield row
            row = []
        row.append(act)
    yield row


def _fastest(row: Sequence[Act]) -> Sequence[Act]:
    """The ROW strokes of a row that come fastest, with the one after them."""
    return min(
        (row[place : place + ROW + 1] for place in range(len(row) - ROW)),
        key=lambda few: round(few[-1].beat - few[0].beat, 6),
    )


def _row(at: WorkedDemand, side: Side, row: Sequence[Act]) -> Demand:
    periods = len(row) - 1
    lasts_s = at.seconds(row[-1].beat - row[0].beat)
    rate = at.hands.strokes_per_s
    tired = lasts_s > figure("tiring_s")
    kept = rate * (figure("tired_share") if tired else 1.0)
    per_s = periods / lasts_s if lasts_s > 0 else float("inf")
    for_s = f" for {lasts_s:.1f} s" if tired else ""
    return Demand(
        kind="strokes in a row", piece=at.piece, beat=row[0].beat, side=side,
        says=f"strokes come {per_s:.1f} times a second{for_s}, and a hand keeps up {kept:.1f}",
        needs=1.0 / kept, has=lasts_s / periods if periods else float("inf"),
        way_out="fewer strokes to the beat, or the fader cutting one stroke into several",
    )  # fmt: skip


def judge_brought(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """A record brought to where the next act begins, within the time between the two."""
    acts = at.acts[side]
    for place, act in enumerate(acts):
        if act.kind not in BROUGHT or _left_to_the_hand(at, act):
            continue
        ran = ran_before(acts, place)
        yield Demand(
            kind="return" if ran else "way between", piece=at.piece, beat=act.beat, side=side,
            says=f"{side} is brought {at.turns(act.way_s):.2f} turns"
            f" {'forward' if act.way_s > 0 else 'back'}"
            + (f" to {act.part}" if act.part else ""),
            needs=bring_s(at.routine, acts, place), has=at.seconds(act.beats),
            way_out="what comes before it shorter (`for`), or what comes after it later",
        )  # fmt: skip


def _left_to_the_hand(at: WorkedDemand, act: Act) -> bool:
    """Whether it brings one deck's `strokes:` back: how long each runs is the hand's own choice,
    and what it costs is told by how often they come."""
    return act.path[-2:-1] == ("strokes",) and not all(at.acts.values())
