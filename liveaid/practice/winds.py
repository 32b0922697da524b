"""Whether each record that a hand has to bring stood at its cue in time.

A wind is done when the record is within reach of its cue and stays there until it is due. When it
is due is told by the count of the set piece before: a start that came late because the record was
not there yet must not put it right.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from liveaid.practice.act_score import Played, WindScore
from liveaid.practice.limits import Limits
from liveaid.practice.trace import DeckTrace, Trace
from liveaid.record.places import READY_S
from liveaid.routine import Routine
from liveaid.routine.way import Change, changes

_LATEST_BEATS = 4.0
"""A record not at its cue so long after it was due is not being brought there any more."""


@dataclass(frozen=True, slots=True)
class _Span:
    """The visits from where a deck fell silent to where it is due."""

    before: Played
    last: Played
    """The one just before it is due, by whose count."""
    after: Played


def winds_of(
    routine: Routine, trace: Trace, played: Sequence[Played]
) -> Mapping[int, tuple[WindScore, ...]]:
    """By the place of a visit, the winds that had to be done by its first acts."""
    found: dict[int, list[WindScore]] = {}
    for move in changes(routine):
        for place, span in _spans(played, move) if move.by_a_hand else ():
            score = _wind(routine, trace[move.side], move, span)
            if score is not None:
                found.setdefault(place, []).append(score)
    return {place: tuple(scores) for place, scores in found.items()}


def _spans(played: Sequence[Played], move: Change) -> Iterator[tuple[int, _Span]]:
    """Every time a take went straight from the one set piece to the other."""
    assert move.before is not None
    wanted = list(range(move.before, move.after + 1))
    pieces = [one.visit.piece for one in played]
    for first in range(len(pieces) - len(wanted) + 1):
        last = first + len(wanted) - 1
        if pieces[first : last + 1] == wanted and played[last].visit.from_beat <= 1.0:
            yield last, _Span(played[first], played[last - 1], played[last])


def _wind(routine: Routine, deck: DeckTrace, move: Change, span: _Span) -> WindScore | None:
    """One wind; None where no count tells when it was due, or the deck was not heard."""
    count = span.last.count
    if count is None or move.cue_s is None or not move.turns:
        return None
    beats = float(routine.beats(span.last.visit.piece))
    beat_s = count.when(beats) - count.when(beats - 1.0)
    due_s = count.when(beats) + move.beat_due(routine) * beat_s
    ready_s = _there_s(deck, move.cue_s, span.before.visit.start_s, due_s, beat_s)
    spare_beats = None if ready_s is None else (due_s - ready_s) / beat_s
    return WindScore(
        side=move.side, turns=move.turns, due_s=due_s, ready_s=ready_s, spare_beats=spare_beats
    )


def _there_s(
    deck: DeckTrace, cue_s: float, from_s: float, due_s: float, beat_s: float
) -> float | None:
    """From when the record was at its cue: as it was due, or later; None when it never came.

    Between two messages it is put where a straight way between them meets the reach.
    """
    t, x = deck.now_s, deck.position_s
    here = (t >= from_s) & (t <= due_s + _LATEST_BEATS * beat_s)
    t, near = t[here], np.abs(x[here] - cue_s)
    if not len(t):
        return None
    due = int(np.searchsorted(t, due_s, side="right")) - 1
    inside = near <= READY_S
    if due >= 0 and inside[due]:
        outside = np.flatnonzero(~inside[: due + 1])
        first = int(outside[-1]) + 1 if len(outside) else 0
    else:
        later = np.flatnonzero(inside[max(due, 0) :])
        if not len(later):
            return None
        first = max(due, 0) + int(later[0])
    if first == 0:
        return float(t[0])
    share = (near[first - 1] - READY_S) / max(near[first - 1] - near[first], 1e-9)
    return float(t[first - 1] + share * (t[first] - t[first - 1]))


def late_words(winds: Sequence[WindScore], limits: Limits) -> Iterator[str]:
    """What is said of each wind that was not done in time.

    Where no time before it is asked for, it may be as late as any one act may be.
    """
    least = limits.wind_beats or -limits.worst_beats
    for one in winds:
        if one.spare_beats is None:
            yield f"{one.side} record not brought to its cue"
        elif one.spare_beats < least:
            told = f"only {one.spare_beats:.1f} beats before"
            late = f"{-one.spare_beats:.1f} beats late"
            yield f"{one.side} record at its cue {told if one.spare_beats > 0 else late}"
