"""What is heard of each deck when a set piece is played as written. Pure, in seconds.

A deck that runs is heard throughout. A worked deck is heard from each stroke (the record let go
or pushed at its cue) until it has to be brought back for the next one; bringing it back is done
with the crossfader closed, at the performer's winding speed. Where both decks are worked, each is
heard until the other's next stroke: the decks take turns.

Without a list of strokes the plain pattern is: the sound let go from its cue on the beat, as
often as the whole of it fits (every 1, 2, 4, ... beats); in a juggle, the decks let go in turn, a
beat each, the left one first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from liveaid.routine import Routine, Side, Works
from liveaid.routine.act_moves import let_go_spans
from liveaid.routine.timeline import starts_s

LEAST_HEARD_S = 0.01
"""A stroke that leaves less than this to be heard is left out."""


@dataclass(frozen=True, slots=True)
class StrokeSound:
    """A stretch of a deck file that reaches the audience."""

    side: Side
    begin_s: float
    """Seconds from the routine's start."""
    end_s: float
    frame: int
    """Frame of the deck file at `begin_s`."""
    worked: bool


def heard_in(routine: Routine, index: int, *, rate_hz: int) -> list[StrokeSound]:
    """Everything heard in one set piece of a placed routine, by both decks."""
    start, length = starts_s(routine)[index], routine.piece_s(index)
    piece = routine.pieces[index]
    strokes = {
        side: _strokes(routine, index, side, plan)
        for side in piece.sounding
        if isinstance(plan := piece.plan(side), Works)
    }
    found = []
    for side in piece.sounding:
        plan = piece.plan(side)
        frame = round((plan.cue_s or 0.0) * rate_hz)
        if not isinstance(plan, Works):
            found.append(StrokeSound(side, start, start + length, frame, False))
            continue
        for begin, end in heard_strokes(
            strokes[side],
            others=[s for other, times in strokes.items() if other != side for s in times],
            length_s=length,
            span_s=_ahead_s(plan),
            back=routine.back_speed,
        ):
            found.append(StrokeSound(side, start + begin, start + end, frame, True))
    return sorted(found, key=lambda heard: (heard.begin_s, heard.side))


def _ahead_s(plan: Works) -> float:
    """Seconds of record from a worked span's cue to its end."""
    return (plan.to_s or 0.0) - (plan.cue_s or 0.0)


def heard_strokes(
    strokes: Sequence[float],
    *,
    others: Sequence[float],
    length_s: float,
    span_s: float,
    back: float,
) -> list[tuple[float, float]]:
    """From when to when each stroke is heard, in seconds from the set piece's start.

    As long as the record may run, and no longer than the span.
    """
    spans = let_go_spans(strokes, others, end=length_s, back=back)
    heard = [(begin, min(until, begin + span_s, length_s)) for begin, until in spans]
    return [(begin, end) for begin, end in heard if end - begin >= LEAST_HEARD_S]


def _strokes(routine: Routine, index: int, side: Side, plan: Works) -> list[float]:
    """Seconds from the set piece's start at which a worked deck is let go."""
    beat_s = routine.pieces[index].beat_s
    if plan.strokes is not None:
        return [beat * beat_s for beat in plan.strokes]
    if routine.pieces[index].is_juggle:
        first = 0 if side == "left" else 1
        return [beat * beat_s for beat in range(first, routine.beats(index), 2)]
    every = beats_to_fit(_ahead_s(plan) / beat_s * (1.0 + 1.0 / routine.back_speed))
    return [beat * beat_s for beat in range(0, routine.beats(index), every)]


def beats_to_fit(beats: float) -> int:
    """The fewest of 1, 2, 4, 8, ... beats that hold so many; a thousandth over does not count."""
    every = 1
    while every < beats * 0.999:
        every *= 2
    return every
