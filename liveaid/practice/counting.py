"""Which count a set piece's acts are held against: a running record's, or the hands' own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from liveaid.practice.attempt import Attempt, Start
from liveaid.practice.beat_times import BeatTimes, beats_of_hands, beats_of_record
from liveaid.practice.hear import Release
from liveaid.practice.match import match
from liveaid.practice.planned_acts import (
    LET_GO,
    WINDOW_BEATS,
    Planned,
    juggle_acts,
    written,
)
from liveaid.routine import SIDES, Side, Works, other_side

_ROUNDS = 3
"""How often the hands' count is drawn anew from the acts it put on their beats."""
_LONG_S = 0.25
"""A record let run for this long tells its speed."""


def counted(attempt: Attempt, starts: Mapping[Side, Start | None]) -> BeatTimes | None:
    """When each beat of a visit was; None when neither a record nor a hand told."""
    return _by_record(attempt, starts) or counted_by_hands(attempt)


def own_turns(attempt: Attempt, count: BeatTimes) -> tuple[Planned, ...]:
    """What the hands must have meant in a juggle that the map does not write out.

    Each release goes on its nearest beat, decks taking turns. Where one deck comes twice with two
    beats or more between, and turns alternate otherwise, the other deck's turn half-way between
    was left out.
    """
    turns = sorted(
        (float(round(count.beat_at(at))), side) for side in SIDES for at in attempt.let_go_s(side)
    )
    turns = [(beat, side) for beat, side in turns if 0 <= beat < attempt.beats]
    kept = [act for act in attempt.plan if act.kind not in LET_GO]
    meant = juggle_acts(attempt.piece, attempt.visit.piece, _alternating(turns), attempt.beats)
    return (*kept, *meant)


def _by_record(attempt: Attempt, starts: Mapping[Side, Start | None]) -> BeatTimes | None:
    """The count by the deck that carries it, or by the other one where that is not heard."""
    piece, visit, beat_s = attempt.piece, attempt.visit, attempt.beat_s
    for side in sorted(piece.running, key=lambda side: side != piece.count):
        start = starts[side]
        turns = start.turns_off if start else 0
        found = beats_of_record(
            attempt.decks[side].motion,
            by=side,
            at_s=attempt.cue_s(side) + turns * attempt.routine.turntable.turn_s,
            beat_s=beat_s,
            beats=attempt.beats,
            start_s=visit.start_s - 0.5 * beat_s if start is None else start.at_s + 0.03,
            end_s=visit.end_s + 0.5 * beat_s,
        )
        if found is not None:
            return found
    return None


def counted_by_hands(attempt: Attempt) -> BeatTimes | None:
    """The count where no deck runs: on from the beat before, bent by what the hands did."""
    visit, due = attempt.visit, attempt.due
    inside = [
        one
        for side in SIDES
        for one in attempt.let_go(side)
        if visit.start_s - attempt.beat_s <= one.start_s <= visit.end_s
    ]
    lines = [one.line for one in inside if one.end_s - one.start_s > _LONG_S]
    about_s = due.at_s if due is not None else _first_act_s(attempt, inside)
    acts: list[tuple[float, float]] = [(0.0, about_s)]
    count: BeatTimes | None = None
    for _ in range(_ROUNDS):
        count = beats_of_hands(
            by=due.by if due else None,
            start_s=due.at_s if due else None,
            about_s=about_s,
            beat_s=attempt.beat_s,
            beats=int(attempt.beats),
            lines=lines,
            acts=acts,
        )
        acts = _on_their_beats(attempt, count) if count else []
    return count


def _first_act_s(attempt: Attempt, inside: Sequence[Release]) -> float:
    """Where beat 0 lies when the first release lies on a beat."""
    start_s, beat_s = attempt.visit.start_s, attempt.beat_s
    first = min((one.start_s for one in inside), default=start_s)
    return first - round((first - start_s) / beat_s) * beat_s


def _on_their_beats(attempt: Attempt, count: BeatTimes) -> list[tuple[float, float]]:
    """Beats and times of what the hands did, for bending the count."""
    pairs: list[tuple[float, float]] = []
    for side in SIDES:
        if not isinstance(attempt.piece.plan(side), Works):
            continue
        times = attempt.let_go_s(side)
        planned = [a.beat for a in attempt.plan if a.side == side and a.kind in LET_GO]
        if written(attempt.piece):
            window_s = WINDOW_BEATS["release"] * attempt.beat_s
            found = match([count.when(b) for b in planned], times, window_s=window_s)
            pairs += [(planned[i], times[j]) for i, j in found.pairs]
        elif attempt.piece.is_juggle:
            pairs += [(float(round(count.beat_at(t))), t) for t in times]
    return [(b, t) for b, t in pairs if 0 <= b < attempt.beats]


def _alternating(turns: list[tuple[float, Side]]) -> list[tuple[float, Side]]:
    """The turns with those put in that the other deck left out."""
    same = [(a, b) for a, b in pairwise(turns) if a[1] == b[1]]
    if len(turns) < 4 or len(same) > 0.4 * (len(turns) - 1):
        return turns
    left_out = [
        (float(round((a[0] + b[0]) / 2)), other_side(a[1])) for a, b in same if b[0] - a[0] >= 2
    ]
    return sorted(turns + left_out)
