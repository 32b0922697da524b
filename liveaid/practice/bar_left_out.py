"""A bar left out where nothing but the hands keeps the count, so that all after it comes early.

With a record running a bar left out leaves a hole, and the beats stay where they are. Where both
records are in the hands the next bar is simply played a bar too soon. So each bar is tried: is what
was heard better told by the set piece without it? Where bars are alike nothing tells which one it
was, and then none is named.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from liveaid.practice.attempt import Attempt
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.match import match
from liveaid.practice.planned_acts import LET_GO, WINDOW_BEATS, Planned
from liveaid.practice.strokes_heard import strokes_heard
from liveaid.routine import SIDES, Side
from liveaid.routine.acts import written_out

PRICE_ACTS = 2.0
"""A bar left out is believed when it explains more than so many acts that would be missed or added
without it (tuned on simulated hands)."""
ALIKE_ACTS = 0.5
"""Two bars that differ by less explain alike, so nothing tells which one it was."""
_LEAST_BAR_ACTS = 2
"""A bar that asks for fewer acts is not told by them."""

CountBy = Callable[[Attempt], BeatTimes | None]


@dataclass(frozen=True, slots=True, eq=False)
class WithoutBar:
    """A visit read as one that leaves a bar out."""

    attempt: Attempt
    """Its plan without the bar's acts; the visit in the written beats."""
    count: BeatTimes
    """Written beats against time; all of the bar lies in one moment."""
    gone: tuple[Planned, ...]
    """The acts of the bar."""
    unexplained: float
    """Acts that this reading leaves missed or added."""


def bar_left_out(attempt: Attempt, count: BeatTimes, count_by: CountBy) -> WithoutBar | None:
    """The bar without which the visit makes sense; None when it does as it is, or as written.

    `count_by` draws the count for a plan. Only for set pieces in which no record runs.
    """
    piece, metre = attempt.piece, attempt.routine.metre
    if piece.running:
        return None
    straight = _unexplained(attempt, count, attempt.visit.to_beat)
    if straight <= PRICE_ACTS:
        return None
    bars = attempt.routine.beats(attempt.visit.piece) // metre
    tried = [found for bar in range(bars) if (found := _without(attempt, bar * metre, count_by))]
    costs = sorted(found.unexplained for found in tried)
    if not tried or costs[0] + PRICE_ACTS >= straight:
        return None
    if len(costs) > 1 and costs[1] - costs[0] < ALIKE_ACTS:
        return None
    return min(tried, key=lambda found: found.unexplained)


def _without(attempt: Attempt, from_beat: float, count_by: CountBy) -> WithoutBar | None:
    """The visit read without one bar; None where it can't have been left out, or not be told."""
    metre = attempt.routine.metre
    to_beat = from_beat + metre
    gone = tuple(act for act in attempt.plan if from_beat <= act.beat < to_beat)
    if len(gone) < _LEAST_BAR_ACTS or to_beat > attempt.visit.to_beat + metre + 0.5:
        return None
    rest = [act for act in attempt.plan if not from_beat <= act.beat < to_beat]
    sooner = tuple(
        replace(act, beat=act.beat - metre) if act.beat >= to_beat else act for act in rest
    )
    played = replace(attempt, plan=sooner)
    count = count_by(played)
    if count is None:
        return None
    cost = _unexplained(played, count, attempt.visit.to_beat)
    visit = replace(attempt.visit, to_beat=min(attempt.visit.to_beat + metre, attempt.beats))
    written = replace(attempt, plan=tuple(rest), visit=visit)
    return WithoutBar(written, _with_gap(count, from_beat, metre), gone, cost)


def _with_gap(count: BeatTimes, from_beat: float, metre: int) -> BeatTimes:
    """The count in written beats: the bar takes no time, all after it comes a bar later."""
    at_s = count.when(from_beat)
    before, after = count.beats < from_beat - 1e-9, count.beats > from_beat + 1e-9
    beats = [*count.beats[before], from_beat, from_beat + metre, *(count.beats[after] + metre)]
    times = [*count.times_s[before], at_s, at_s + 1e-6, *count.times_s[after]]
    gap = (from_beat, from_beat + metre)
    return BeatTimes(np.array(beats), np.array(times), count.by, left_out=gap)


def _unexplained(attempt: Attempt, count: BeatTimes, to_beat: float) -> float:
    """Acts missed and added, and half of how far off the others are, in windows."""
    total = 0.0
    for side in SIDES:
        planned = [
            act.beat
            for act in attempt.plan
            if act.side == side and act.kind in (*LET_GO, "stroke") and act.beat <= to_beat
        ]
        window_s = attempt.beat_s * WINDOW_BEATS["stroke"]
        heard = _begun_s(attempt, side)
        due = [count.when(beat) for beat in planned]
        found = match(due, heard, window_s=window_s)
        off = sum(abs(due[i] - heard[j]) for i, j in found.pairs)
        total += len(found.missed) + len(found.added) + 0.5 * off / window_s
    return total


def _begun_s(attempt: Attempt, side: Side) -> list[float]:
    """When a hand let go or pushed."""
    if written_out(attempt.piece, side):
        visit = attempt.visit
        moves = strokes_heard(
            attempt.decks[side].motion,
            start_s=visit.start_s - 0.25 * attempt.beat_s,
            end_s=visit.end_s,
        )
        return [move.at_s for move in moves if move.forward]
    return attempt.let_go_s(side) if attempt.piece.is_juggle else attempt.pushed_s(side)
