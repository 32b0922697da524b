"""What a hand means to do with a record it works: juggled turns, and strokes inside the span."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from numpy.random import Generator

from liveaid.routine import SIDES, Side, Works, other_side
from liveaid.simulate.course import Leg


@dataclass(frozen=True, slots=True)
class JuggleTurn:
    """A juggled record runs from its cue from one beat to another."""

    side: Side
    from_beat: float
    to_beat: float


@dataclass(frozen=True, slots=True)
class TurnStroke:
    """A push forward at a beat, and back again before the next."""

    beat: float
    planned: bool
    """True when the section map asks for it."""
    place_s: float | None = None
    """Deck-file second it begins from; None: where the record stands between strokes."""


def juggle_turns(
    leg: Leg, first: Side, busy_after: Side | None, rng: Generator
) -> list[JuggleTurn]:
    """Both decks by turns over the leg, from the map's strokes where given, else 1 or 2 beats each.

    `busy_after` is the deck wanted elsewhere when the leg ends: its last turn is given up where
    the other deck's span lets it play on.
    """
    mapped = _mapped_releases(leg)
    releases = mapped or _own_releases(leg, first, rng)
    turns = [
        JuggleTurn(side, beat, _turn_ends(beat, side, releases, leg.to_beat))
        for beat, side in releases
    ]
    if not mapped and len(turns) > 1 and turns[-1].side == busy_after:
        before, last = turns[-2:]
        if last.to_beat - before.from_beat <= _span_beats(leg, before.side) + 0.1:
            turns[-2:] = [JuggleTurn(before.side, before.from_beat, last.to_beat)]
    return turns


def _turn_ends(
    beat: float, side: Side, releases: Sequence[tuple[float, Side]], last: float
) -> float:
    """When the other deck comes in; half-way to its own next release where that comes sooner."""
    later = [(b, s) for b, s in releases if b > beat]
    if not later:
        return last
    next_beat = later[0][0]
    own = all(s == side for b, s in later if b == next_beat)
    return beat + 0.5 * (next_beat - beat) if own else next_beat


def _span_beats(leg: Leg, side: Side) -> float:
    plan = leg.worked(side)
    return ((plan.to_s or 0.0) - (plan.cue_s or 0.0)) / leg.beat_s


def _own_releases(leg: Leg, first: Side, rng: Generator) -> list[tuple[float, Side]]:
    """Turns of one or two whole beats, the length kept for a few turns at a time."""
    beat, side, releases = float(math.ceil(leg.from_beat)), first, []
    wanted, left = 0, 0
    while beat < leg.to_beat:
        if left == 0:
            wanted, left = int(rng.integers(1, 3)), 2 * int(rng.integers(1, 4))
        releases.append((beat, side))
        beat += max(1, min(wanted, math.floor(_span_beats(leg, side) + 0.2)))
        side, left = other_side(side), left - 1
    return releases


def _mapped_releases(leg: Leg) -> list[tuple[float, Side]]:
    """The map's own releases; a deck without any takes over half-way between the other's."""
    given = {
        side: [b for b in strokes if leg.from_beat <= b < leg.to_beat]
        for side in SIDES
        if (strokes := leg.worked(side).strokes) is not None
    }
    for side in SIDES:
        across = given.get(other_side(side))
        if side not in given and across:
            nexts = [*across[1:], leg.to_beat]
            halves = [(a + b) / 2.0 for a, b in zip(across, nexts, strict=True)]
            return sorted([(b, other_side(side)) for b in across] + [(b, side) for b in halves])
    return sorted((beat, side) for side, beats in given.items() for beat in beats)


# One bar's strokes as beats in the bar: quarter, half and whole beats mixed, of our own making.
_FIGURES: tuple[tuple[float, ...], ...] = (
    (0.0, 0.5, 1.0, 2.0, 2.5, 3.0),
    (0.0, 1.0, 1.5, 2.0, 3.0, 3.5),
    (0.0, 0.25, 0.5, 1.0, 2.0, 2.25, 2.5, 3.0),
    (0.0, 0.75, 1.5, 2.0, 2.75, 3.5),
    (0.0, 2.0),
    (0.5, 1.5, 2.5, 3.5),
    (0.0, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 2.75, 3.0, 3.25, 3.5, 3.75),
    (0.0, 1.0, 2.0, 3.0),
)


def scratch_strokes(
    leg: Leg, side: Side, metre: int, until: float, rng: Generator
) -> list[TurnStroke]:
    """The map's strokes where given, else figures of a bar kept for a few bars, with rests.

    With a new figure the hand may move on to another place of the span.
    """
    plan = leg.worked(side)
    if plan.strokes is not None:
        return [TurnStroke(beat, True) for beat in plan.strokes if leg.from_beat <= beat < until]
    strokes: list[TurnStroke] = []
    figure: Sequence[float] = ()
    place: float | None = None
    for bar in range(math.floor(leg.from_beat / metre), math.ceil(until / metre)):
        if not strokes or bar % 2 == 0 or rng.random() < 0.3:
            figure = () if rng.random() < 0.08 else _FIGURES[int(rng.integers(len(_FIGURES)))]
            place = _other_place(plan, rng) if rng.random() < 0.25 else None
        beats = [bar * metre + b + k for k in range(0, metre, 4) for b in figure if b + k < metre]
        strokes += [TurnStroke(b, False, place) for b in beats if leg.from_beat <= b < until]
    return strokes


def _other_place(plan: Works, rng: Generator) -> float:
    """Somewhere in the span with a quarter of it left ahead."""
    start, end = plan.from_s or 0.0, plan.to_s or 0.0
    return start + 0.75 * (end - start) * float(rng.random())
