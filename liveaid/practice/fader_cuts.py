"""The fader held against the map: each opening and closing beside what the mixer sent."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from liveaid.practice.match import match
from liveaid.practice.written import Fine, Ms
from liveaid.routine import Side
from liveaid.routine.acts import Act
from liveaid.routine.fader_edges import Edge, fader_edges

REST_S = 0.03
"""A fader that sends nothing for so long has come to rest (common practice, no source)."""
LEAST_MOVE = 0.2
"""A change smaller than this part of the fader's way is no cut (common practice, no source)."""
_WINDOW_BEATS = 0.3
"""How far from where it is written a cut may be and still be that cut."""


@dataclass(frozen=True, slots=True)
class FaderMove:
    """The crossfader gone from one place to another: 0 left, 1 right."""

    at_s: float
    """When it was half-way."""
    from_place: float
    to_place: float

    def opens(self, side: Side) -> bool:
        """Whether it opened a deck."""
        toward_right = self.to_place > self.from_place
        return toward_right if side == "right" else not toward_right


@dataclass(frozen=True, slots=True, kw_only=True)
class CutScore:
    """One opening or closing: written, heard, or both."""

    opens: bool
    beat: Fine | None
    """Where it is written; None: added."""
    at_s: Fine | None
    """When it was made, in the trace's seconds; None: missed."""
    off_ms: Ms | None
    """How late, below 0 early; 0 anywhere in the room that a standing record leaves."""
    room_beats: Fine = 0.0
    """How long that room is; 0: due at one moment."""


def fader_moves(messages: Sequence[tuple[float, float]]) -> list[FaderMove]:
    """The crossfader's moves from its messages (time, place), in order of time."""
    moves: list[FaderMove] = []
    run: list[tuple[float, float]] = []
    for message in messages:
        if run and not _goes_on(run, message):
            moves += _move(run)
            run = run[-1:]
        run.append(message)
    return moves + _move(run)


def _goes_on(run: Sequence[tuple[float, float]], message: tuple[float, float]) -> bool:
    """Whether a message belongs to the move under way: soon after, and the same way."""
    if len(run) < 2:
        return True
    way = run[-1][1] - run[-2][1]
    return message[0] - run[-1][0] <= REST_S and (message[1] - run[-1][1]) * way >= 0.0


def _move(run: Sequence[tuple[float, float]]) -> list[FaderMove]:
    """The move that a run of messages is, the first of them where the fader rested before."""
    if len(run) < 2 or abs(run[-1][1] - run[0][1]) < LEAST_MOVE:
        return []
    half = 0.5 * (run[0][1] + run[-1][1])
    for (t0, x0), (t1, x1) in pairwise(run):
        if (x0 - half) * (x1 - half) <= 0.0 and x0 != x1:
            # The message before a move may be old: the fader set out at most REST_S before.
            begun = max(t0, t1 - REST_S)
            at = begun + (half - x0) / (x1 - x0) * (t1 - begun)
            return [FaderMove(at, run[0][1], run[-1][1])]
    return []


def cut_scores(
    acts: Sequence[Act],
    side: Side,
    moves: Sequence[FaderMove],
    when: Callable[[float], float],
) -> list[CutScore]:
    """Each opening and closing the acts need beside the moves made, in order of time.

    Moves within the room of a standing record are neither missed nor added.
    """
    window_s = _WINDOW_BEATS * (when(1.0) - when(0.0))
    edges, scores = fader_edges(acts), list[CutScore]()
    for opens in (True, False):
        wanted = [edge for edge in edges if edge.opens is opens]
        made_s = [move.at_s for move in moves if move.opens(side) is opens]
        due = [_nearest(edge, made_s, when) for edge in wanted]
        found = match(due, made_s, window_s=window_s)
        scores += [_written(wanted[i], made_s[j], due[i]) for i, j in found.pairs]
        scores += [_written(wanted[i], None, due[i]) for i in found.missed]
        scores += _added([made_s[j] for j in found.added], opens, acts, when)
    return sorted(scores, key=lambda one: one.at_s if one.at_s is not None else when(one.beat or 0))


def _written(edge: Edge, at_s: float | None, due_s: float) -> CutScore:
    off_ms = None if at_s is None else 1000.0 * (at_s - due_s)
    room = max(0.0, round(edge.to_beat - edge.from_beat, 6))
    return CutScore(opens=edge.opens, beat=edge.beat, at_s=at_s, off_ms=off_ms, room_beats=room)


def _nearest(edge: Edge, made_s: Sequence[float], when: Callable[[float], float]) -> float:
    """The moment within an edge's room that is nearest to a move that was made."""
    low, high = when(edge.from_beat), when(edge.to_beat)
    about = min(made_s, key=lambda at: max(low - at, at - high, 0.0), default=when(edge.beat))
    return min(max(about, low), high)


def _added(
    times: Sequence[float], opens: bool, acts: Sequence[Act], when: Callable[[float], float]
) -> Iterator[CutScore]:
    """Moves nobody asked for that change what is heard: made while the record moves."""
    spans = [(when(act.beat), when(act.end_beat)) for act in acts if act.way_s and act.beats]
    for at in times:
        if any(start + REST_S < at < end - REST_S for start, end in spans):
            yield CutScore(opens=opens, beat=None, at_s=at, off_ms=None)
