"""Which set pieces a take went through, and when: the follower's word, and what lies between.

The follower says where the performer is once it is sure. Between two sure places, and before the
first, the positions themselves tell: a set piece that fits the time and the records' places there
was played.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from liveaid.practice.trace import Trace
from liveaid.routine import SIDES, Routine, Runs, Side, Works

_FITS = 0.6
"""Part of the messages that must agree with a set piece for it to have been played there."""
_OFF_S = 0.5
"""How far a record may be from its place, in seconds of record, and still agree."""

_EARLY_S = 2.0
"""How much sooner than the first movement a set piece may seem to have begun."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A set piece as it was gone through: from one beat to another, about when."""

    piece: int
    from_beat: float
    to_beat: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Sure:
    """Where the follower was sure to be."""

    now_s: float
    piece: int
    beat: float
    beat_s: float
    """Seconds a beat lasted there."""

    def beats_in(self, routine: Routine) -> float:
        """Beats from the routine's start."""
        return sum(routine.beats(index) for index in range(self.piece)) + self.beat


def visits(
    routine: Routine, places: Sequence[Sure], trace: Trace, began_s: float, end_s: float
) -> list[Visit]:
    """The set pieces gone through from when the records began to move to the take's end."""
    sure = _where_sure(routine, places)
    sure[0] = _from_its_start(routine, sure[0], trace, began_s)
    filled = [*_before(routine, sure[0], trace, began_s), sure[0]]
    for visit in sure[1:]:
        filled += _between(routine, filled[-1], visit, trace)
        filled.append(_entered(routine, filled[-1], visit))
    return [*filled, *_after(routine, filled[-1], trace, end_s)]


def _where_sure(routine: Routine, places: Sequence[Sure]) -> list[Visit]:
    """Visits by the places alone; what was held for under a beat was never played."""
    groups: list[list[Sure]] = []
    for place in places:
        last = groups[-1][-1] if groups else None
        if last is None or not _goes_on(last, place):
            groups.append([])
        groups[-1].append(place)
    kept = [g for g in groups if g[-1].now_s - g[0].now_s >= 0.75 * g[0].beat_s] or groups[-1:]
    starts = [group[0].now_s - group[0].beat * group[0].beat_s for group in kept]
    visited = [
        _visit(routine, group, starts[k + 1] if k + 1 < len(kept) else None, starts[k])
        for k, group in enumerate(kept)
    ]
    tidy = visited[:1]
    for visit in visited[1:]:
        tidy[-1:] = _joined(routine, tidy[-1], visit)
    return tidy


def _goes_on(last: Sure, place: Sure) -> bool:
    """Whether a place is where the last one leads to, in the same set piece."""
    ahead = last.beat + (place.now_s - last.now_s) / last.beat_s
    return place.piece == last.piece and abs(place.beat - ahead) < 2.0


def _joined(routine: Routine, before: Visit, visit: Visit) -> list[Visit]:
    """Two visits one after another; one where a record was only held up, or a start was false."""
    if visit.piece != before.piece:
        return [before, visit]
    if visit.from_beat > 0 and visit.from_beat > before.to_beat - 1.5:
        return [replace(before, to_beat=visit.to_beat, end_s=visit.end_s)]
    if visit.from_beat == 0 and before.to_beat < routine.metre:
        return [visit]
    return [before, visit]


def _visit(routine: Routine, group: Sequence[Sure], next_s: float | None, start_s: float) -> Visit:
    """One visit: to the set piece's end when the next begins or the take ends about there."""
    first, last = group[0], group[-1]
    beats = float(routine.beats(last.piece))
    over_s = last.now_s + (beats - last.beat) * last.beat_s
    end_s = min(over_s, max(last.now_s, last.now_s if next_s is None else next_s))
    to_beat = beats - (over_s - end_s) / last.beat_s
    if over_s - end_s < last.beat_s:
        end_s, to_beat = over_s, beats
    if first.beat < 2.0:
        return Visit(first.piece, 0.0, to_beat, start_s, end_s)
    return Visit(first.piece, first.beat, to_beat, first.now_s, end_s)


def _from_its_start(routine: Routine, first: Visit, trace: Trace, began_s: float) -> Visit:
    """The first visit from its first beat on, where the records were there already."""
    starts = first.start_s - first.from_beat * routine.pieces[first.piece].beat_s / _ratio(
        routine, first
    )
    whole = replace(first, from_beat=0.0, start_s=starts)
    played = starts > began_s - _EARLY_S and _fits(routine, whole, trace)
    return whole if played else first


def _before(routine: Routine, first: Visit, trace: Trace, began_s: float) -> list[Visit]:
    """What was played before the follower was first sure, back to where the records began."""
    earlier: list[Visit] = []
    starts = first.start_s if first.from_beat == 0 else -np.inf
    for piece in range(first.piece - 1, -1, -1):
        ends, starts = starts, starts - routine.piece_s(piece) / _ratio(routine, first)
        visit = Visit(piece, 0.0, float(routine.beats(piece)), starts, ends)
        if starts < began_s - _EARLY_S or not _fits(routine, visit, trace):
            break
        earlier.insert(0, visit)
    return earlier


def _between(routine: Routine, before: Visit, after: Visit, trace: Trace) -> list[Visit]:
    """The set pieces between two visits, where they fit the time and the records' places."""
    missing = list(range(before.piece + 1, after.piece))
    gap_s = after.start_s - before.end_s
    asked_s = sum(routine.piece_s(piece) for piece in missing)
    if not missing or after.from_beat > 0 or gap_s <= 0:
        return []
    if abs(gap_s - asked_s) > 0.12 * asked_s + 1.0:
        return []
    filled, starts = [], before.end_s
    for piece in missing:
        ends = starts + routine.piece_s(piece) * gap_s / asked_s
        visit = Visit(piece, 0.0, float(routine.beats(piece)), starts, ends)
        if _fits(routine, visit, trace):
            filled.append(visit)
        starts = ends
    return filled


def _entered(routine: Routine, before: Visit, visit: Visit) -> Visit:
    """A set piece that follows on is taken from its start, though it was made out only later."""
    starts = visit.start_s - visit.from_beat * routine.pieces[visit.piece].beat_s
    follows = visit.piece == before.piece + 1 and 0 < visit.from_beat < 2 * routine.metre
    if follows and abs(starts - before.end_s) < routine.pieces[visit.piece].beat_s:
        return replace(visit, from_beat=0.0, start_s=before.end_s)
    return visit


def _after(routine: Routine, last: Visit, trace: Trace, end_s: float) -> list[Visit]:
    """What was played after the follower was last sure, up to the take's end."""
    later: list[Visit] = []
    starts, whole = last.end_s, last.to_beat == routine.beats(last.piece)
    for piece in range(last.piece + 1, len(routine.pieces)):
        beat_s = routine.pieces[piece].beat_s
        ends = min(starts + routine.piece_s(piece), end_s)
        beats = float(routine.beats(piece))
        if starts + routine.piece_s(piece) - ends > beat_s:
            beats = (ends - starts) / beat_s
        visit = Visit(piece, 0.0, beats, starts, ends)
        if not whole or beats < 1.0 or not _fits(routine, visit, trace):
            break
        later.append(visit)
        starts, whole = ends, beats == routine.beats(piece)
    return later


def _fits(routine: Routine, visit: Visit, trace: Trace) -> bool:
    """Whether the records were where the set piece wants them for most of the time."""
    parts = [part for side in SIDES if (part := _agrees(routine, visit, trace, side)) is not None]
    return bool(parts) and min(parts) >= _FITS


def _agrees(routine: Routine, visit: Visit, trace: Trace, side: Side) -> float | None:
    """Part of one deck's messages that agree with its plan; None when it sent none."""
    piece = routine.pieces[visit.piece]
    heard = trace[side].between(visit.start_s, visit.end_s)
    if len(heard.now_s) < 4:
        return None
    plan = piece.plan(side)
    if isinstance(plan, Runs):
        part = (heard.now_s - visit.start_s) / (visit.end_s - visit.start_s)
        beats = visit.from_beat + part * (visit.to_beat - visit.from_beat)
        wanted = (plan.at_s or 0.0) + beats * routine.pieces[visit.piece].beat_s
        near = np.abs(heard.position_s - wanted) < _OFF_S
    elif isinstance(plan, Works):
        low, high = (plan.from_s or 0.0) - _OFF_S, (plan.to_s or 0.0) + _OFF_S
        turn_s = routine.turntable.turn_s
        # Set by its sticker alone a record may be worked a whole turn beside its place.
        moved = [heard.position_s - turns * turn_s for turns in (0, -1, 1)]
        near = max(((at > low) & (at < high) for at in moved), key=np.mean)
    else:
        return None
    return float(near.mean())


def _ratio(routine: Routine, visit: Visit) -> float:
    """Tempo of a visit against the map's."""
    beats = visit.to_beat - visit.from_beat
    if beats < 4 or visit.end_s <= visit.start_s:
        return 1.0
    return beats * routine.pieces[visit.piece].beat_s / (visit.end_s - visit.start_s)
