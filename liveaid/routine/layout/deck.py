"""Where each passage lies on its deck, in frames, and the section map placed by it.

The sticker rule: every passage's cue lies a whole number of turns from the file's start, so the
sticker stands at the same angle (0) at every cue the performer has to find. A turn is 60/rpm
seconds: 79,380 frames at 33 1/3 and 44.1 kHz, 58,800 at 45. Where that is no whole number of
frames each cue is rounded by itself, so nothing drifts.

Between the end of one sound and the begin of the next there is silence of `gap_turns` turns, and
the first cue stands as far into the file, so that a hand that overshoots meets silence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import TypeAlias

from liveaid.record.places import SAME_S
from liveaid.routine import Side
from liveaid.routine.layout.passage import Passage, UseIn, sharings
from liveaid.routine.layout.winding import Order, Wind, best_order

HEAD_S = 0.0005
"""Seconds of sound before the begin, faded in: too short to be heard as an early start."""
TAIL_S = 0.020
"""Seconds of sound after the end, faded out."""

Angles: TypeAlias = Mapping[tuple[Side, int], float]
"""By deck and set piece of a passage's first use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """The measures a deck is laid out by: sample rate, turn, silence between sounds, side."""

    rate_hz: int
    turn_s: float
    gap_turns: float = 1.0
    sticker: bool = True
    side_s: float = 600.0

    def frames(self, seconds: float) -> int:
        """Seconds as whole frames, the nearest."""
        return round(seconds * self.rate_hz)

    @property
    def gap(self) -> int:
        """Frames of silence, at least, between two sounds and before the first cue."""
        return math.ceil(round(self.gap_turns * self.turn_s * self.rate_hz, 6))

    def turn_frame(self, turn: int) -> int:
        """The frame at which so many turns are done."""
        return round(turn * self.turn_s * self.rate_hz)

    def turns_for(self, frames: int) -> int:
        """The fewest whole turns that are at least so many frames long."""
        return math.ceil(round(frames / (self.turn_s * self.rate_hz), 9))


@dataclass(frozen=True, slots=True)
class Laid:
    """A passage on its deck, in frames of the deck file."""

    passage: Passage
    begin: int
    length: int

    @property
    def end(self) -> int:
        """The frame after its last, fade not counted."""
        return self.begin + self.length

    def cue(self, rate_hz: int) -> int:
        """The frame of the passage's own cue, where the sticker stands."""
        return self.begin + round(self.passage.cue_s * rate_hz)


@dataclass(frozen=True, slots=True)
class DeckLayout:
    """One deck file: what lies where, how long it is, and what winding it asks for."""

    side: Side
    laid: tuple[Laid, ...]
    """In order along the deck."""
    frames: int
    order: Order
    shared: int = 0
    """Passages given up because a refrain is played from its first copy, to fit the side."""


def lay_out(
    side: Side, passages: Sequence[Passage], grain: Grain, angles: Angles = MappingProxyType({})
) -> DeckLayout:
    """The deck file's layout that winds least.

    A refrain gets copies, each next to where the hand will be, as long as they save winding; one
    by one they are given up for the first, the cheapest first, where that winds less, or where the
    side is short. The result may still be longer than the side: its `frames` say so.
    `angles`: deck seconds past a whole turn at which some passages' own cues come up.
    """
    best = _lay_out(side, passages, grain, angles)
    shared, limit = 0, grain.frames(grain.side_s)
    while tries := [t for t in sharings(passages) if _same_angle(side, t, grain, angles)]:
        shared += 1
        layouts = [_lay_out(side, fewer, grain, angles, shared) for fewer in tries]
        at = min(range(len(tries)), key=lambda i: (layouts[i].order.wound, layouts[i].frames))
        if best.frames <= limit and layouts[at].order.wound >= best.order.wound:
            break
        passages, best = tries[at], layouts[at]
    return best


def _same_angle(side: Side, passages: Sequence[Passage], grain: Grain, angles: Angles) -> bool:
    """Whether no use was moved to where its cue comes up at another angle than it must."""
    for passage in passages:
        first_s = _angle_s(side, passage, angles) - passage.cue_s
        for used in passage.uses:
            comes_s = first_s + used.cue_s
            must_s = angles.get((side, used.use.piece), comes_s if used.arrives else 0.0)
            turns = (comes_s - must_s) / grain.turn_s
            if abs(turns - round(turns)) * grain.turn_s > SAME_S:
                return False
    return True


def _angle_s(side: Side, passage: Passage, angles: Angles) -> float:
    return angles.get((side, passage.uses[0].use.piece), 0.0)


def _lay_out(
    side: Side, passages: Sequence[Passage], grain: Grain, angles: Angles, shared: int = 0
) -> DeckLayout:
    if not passages:
        return DeckLayout(side, (), grain.gap, best_order([], []), shared)
    head = max(grain.frames(passage.cue_s) for passage in passages) + grain.frames(HEAD_S)
    lengths = [grain.frames(passage.length_s) for passage in passages]
    turned = [
        grain.frames(_angle_s(side, passage, angles)) if grain.sticker else 0
        for passage in passages
    ]
    slots = [
        _slot(p, length + angle, head, grain)
        for p, length, angle in zip(passages, lengths, turned, strict=True)
    ]
    unit = grain.turn_s * grain.rate_hz if grain.sticker else 1.0
    winds = _winds(passages, grain, turned)
    order = best_order([round(slot * unit) for slot in slots], winds)
    lead = grain.turns_for(max(grain.gap, head)) if grain.sticker else max(grain.gap, head)
    laid, at = [], lead
    for index in order.order:
        cue = grain.turn_frame(at) + turned[index] if grain.sticker else at
        begin = cue - grain.frames(passages[index].cue_s)
        laid.append(Laid(passages[index], begin, lengths[index]))
        at += slots[index]
    frames = max(item.end for item in laid) + grain.frames(TAIL_S) + grain.gap
    return DeckLayout(side, tuple(laid), frames, order, shared)


def _slot(passage: Passage, length: int, head: int, grain: Grain) -> int:
    """What one passage takes from its cue to the earliest next one: turns, or bare frames."""
    after = length - grain.frames(passage.cue_s) + grain.frames(TAIL_S) + grain.gap + head
    return grain.turns_for(after) if grain.sticker else after


def _winds(passages: Sequence[Passage], grain: Grain, turned: Sequence[int]) -> list[Wind]:
    """Every change of the deck, in play order; a slot begins a whole turn, at or before its
    passage's cue, which comes up `turned` frames later."""
    stops = sorted(
        ((use.use.piece, index, use) for index, p in enumerate(passages) for use in p.uses),
        key=lambda stop: stop[0],
    )
    found = []
    for (_, a, before), (_, b, after) in pairwise(stops):
        left = grain.frames(before.left_at_s - passages[a].cue_s) + turned[a]
        cue = grain.frames(after.cue_s - passages[b].cue_s) + turned[b]
        if a != b or (left != cue and not _lets_run(before, after)):
            found.append(Wind(a, left, b, cue))
    return found


def _lets_run(before: UseIn, after: UseIn) -> bool:
    """Whether the next use lies where the record has run to unheard: nothing to wind."""
    return after.arrives and before.use.left.runs and after.cue_s > before.left_at_s
