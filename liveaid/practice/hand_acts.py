"""A deck's written acts held against its trace: each stroke's begin, end and way, each let go.

What only brings the record to its next place is matched too, so that it is not taken for an act
too many, but it is not scored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from liveaid.practice.act_score import Outcome
from liveaid.practice.attempt import NEAR_CUE_S, DeckActs
from liveaid.practice.match import match_by_habit
from liveaid.practice.planned_acts import SCORED, WINDOW_BEATS
from liveaid.practice.strokes_heard import StrokeHeard, strokes_heard
from liveaid.routine.acts import BROUGHT, STROKES, Act

LEAST_SHARE = 0.35
"""A movement that no act asks for is an act too many from this part of the usual way on; below it
is a correction (tuned on simulated hands)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandScore:
    """One written act beside what was heard, or one heard that none was written for."""

    act: Act | None
    """None: added."""
    outcome: Outcome
    at_s: float | None = None
    """When it began."""
    due_s: float | None = None
    turn_ms: float | None = None
    """How late it turned or stood, where that was heard."""
    longer_percent: float | None = None
    """How much further it went than written, below 0 less far."""


def held_acts(
    acts: Sequence[Act],
    deck: DeckActs,
    when: Callable[[float], float],
    *,
    start_s: float,
    end_s: float,
    brought: Sequence[tuple[float, float]] = (),
) -> list[HandScore]:
    """Every written act with what was heard for it, and what was heard beyond, in order of time.

    `when` gives the time of a beat of the set piece. A take begins and ends at `start_s`, `end_s`.
    From which to which second the record is `brought` to another set piece's cue or from one,
    nothing is heard beyond.
    """
    beat_s = when(1.0) - when(0.0)
    moves = strokes_heard(deck.motion, start_s=start_s - 0.25 * beat_s, end_s=end_s)
    scores: list[HandScore] = []
    for forward in (True, False):
        wanted = [act for act in acts if _moves(act, forward)]
        heard = [move for move in moves if move.forward is forward]
        scores += _one_way(wanted, heard, deck, when, beat_s, brought)
    scores += _catches(acts, deck, when, beat_s, start_s=start_s, end_s=end_s)
    scores = _with_their_strokes(scores)
    return sorted(scores, key=lambda one: one.due_s if one.due_s is not None else one.at_s or 0.0)


def _moves(act: Act, forward: bool) -> bool:
    moved = act.kind in (*STROKES, *BROUGHT, "let go", "spin back") and act.way_s != 0.0
    return moved and (act.way_s > 0.0) is forward


def _one_way(
    wanted: Sequence[Act],
    heard: Sequence[StrokeHeard],
    deck: DeckActs,
    when: Callable[[float], float],
    beat_s: float,
    brought: Sequence[tuple[float, float]],
) -> Iterator[HandScore]:
    due = [when(act.beat) for act in wanted]
    at = [move.at_s for move in heard]
    found = match_by_habit(due, at, window_s=WINDOW_BEATS["stroke"] * beat_s)
    for i, j in found.pairs:
        if _scored(wanted[i]):
            yield _heard(wanted[i], heard[j], deck, when)
    for i in found.missed:
        if _scored(wanted[i]):
            yield HandScore(act=wanted[i], outcome="missed", due_s=due[i])
    usual = [abs(act.way_s) for act in wanted if _scored(act)]
    least = LEAST_SHARE * median(usual) if usual else float("inf")
    brings = [(when(act.beat), when(act.end_beat)) for act in wanted if act.kind in BROUGHT]
    brings += brought
    for j in found.added:
        if any(start <= at[j] < end for start, end in brings):
            continue  # a record is brought in as many pushes as the hand likes
        if heard[j].forward and abs(heard[j].to_s - heard[j].from_s) >= least:
            yield HandScore(act=None, outcome="added", at_s=at[j])


def _scored(act: Act) -> bool:
    return act.written and act.kind in SCORED


def _heard(
    act: Act, move: StrokeHeard, deck: DeckActs, when: Callable[[float], float]
) -> HandScore:
    due = when(act.beat)
    if act.kind == "let go":
        return HandScore(act=act, outcome="heard", at_s=_let_go_s(act, move, deck), due_s=due)
    turn_ms = None if move.ends_s is None else 1000.0 * (move.ends_s - when(act.end_beat))
    longer = 100.0 * (abs(move.to_s - move.from_s) / abs(act.way_s) - 1.0)
    return HandScore(
        act=act, outcome="heard", at_s=move.at_s, due_s=due, turn_ms=turn_ms, longer_percent=longer
    )


def _let_go_s(act: Act, move: StrokeHeard, deck: DeckActs) -> float:
    """When the record, at speed, was at its place: the release that the movement is."""
    times = [
        one.line.when(act.from_s)
        for one in deck.releases
        if abs(one.from_s - act.from_s) <= NEAR_CUE_S and abs(one.start_s - move.at_s) < 0.3
    ]
    return min(times, key=lambda time: abs(time - move.at_s), default=move.at_s)


def _catches(
    acts: Sequence[Act],
    deck: DeckActs,
    when: Callable[[float], float],
    beat_s: float,
    *,
    start_s: float,
    end_s: float,
) -> Iterator[HandScore]:
    """The record taken by the hand, where the map asks for it."""
    wanted = [act for act in acts if act.kind == "catch" and act.written]
    due = [when(act.beat) for act in wanted]
    at = [t for t in deck.taken_s if start_s - 0.5 * beat_s <= t <= end_s + 1.5 * beat_s]
    if not wanted:
        return
    found = match_by_habit(due, at, window_s=WINDOW_BEATS["return"] * beat_s)
    for i, j in found.pairs:
        yield HandScore(act=wanted[i], outcome="heard", at_s=at[j], due_s=due[i])
    for i in found.missed:
        yield HandScore(act=wanted[i], outcome="missed", due_s=due[i])


def _with_their_strokes(scores: Sequence[HandScore]) -> list[HandScore]:
    """A stroke missed counts once: the pull or catch that would have followed goes with it."""
    gone = {
        one.act.end_beat
        for one in scores
        if one.act is not None and one.outcome == "missed" and one.act.kind in ("push", "let go")
    }
    return [
        HandScore(act=one.act, outcome="skipped", due_s=one.due_s)
        if one.outcome == "missed"
        and one.act is not None
        and one.act.kind in ("pull", "catch")
        and any(abs(one.act.beat - beat) < 0.02 for beat in gone)
        else one
        for one in scores
    ]
