"""The exact place within the best guess: a stretch and a beat, carried from moment to moment.

Belief over cells finds the place to an eighth of a beat and says how sure it is; the pointer
holds it to the millisecond: off the deck that runs where one does, by the clock elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from liveaid.follow.axis import CELLS_PER_BEAT, RUNS, Axis, Floats
from liveaid.follow.deck import FAST, SLOW
from liveaid.follow.hearing import Hearing
from liveaid.routine import SIDES, Routine, Side

SETTLE_S = 0.5
"""Without a deck that runs the pointer is drawn to the belief this fast."""
BORDER = 0.8
"""Belief in the other set piece that takes the pointer over a border."""
READ_BEATS = 0.75
"""A running deck that tells a beat this near is the one meant."""
HALF = CELLS_PER_BEAT // 2
"""Half a beat, in cells: places nearer than this to each other are one."""


@dataclass(frozen=True, slots=True)
class Place:
    """A stretch of the axis and beats from its start."""

    stretch: int
    beat: float


def on(axis: Axis, place: Place, seconds: float, rate_bps: Floats) -> Place:
    """Where a place is so many seconds later at each stretch's beats a second."""
    stretch, beat = place.stretch, place.beat
    while axis.is_piece(stretch):
        length, rate = float(axis.beats[stretch]), float(rate_bps[stretch])
        beat += rate * seconds
        if beat < length or rate <= 0.0:
            return within(axis, Place(stretch, beat))
        seconds = (beat - length) / rate
        stretch, beat = stretch + 1, 0.0
    return Place(stretch, 0.0)


def cell_of(axis: Axis, place: Place, offset: Floats) -> int:
    """The cell nearest to a place."""
    first, end = int(axis.first[place.stretch]), int(axis.first[place.stretch + 1])
    cell = round(place.beat * CELLS_PER_BEAT - float(offset[place.stretch]))
    return min(max(first + cell, first), end - 1)


def window(axis: Axis, cell: int, reach: int) -> tuple[int, int]:
    """Cells within `reach` of one, across set pieces; a cell outside them stands alone."""
    if not axis.is_piece(axis.stretch_at(cell)):
        return cell, cell + 1
    return max(cell - reach, int(axis.first[1])), min(cell + reach + 1, int(axis.first[axis.after]))


def mass(axis: Axis, belief: Floats, cell: int, reach: int) -> float:
    """Belief within `reach` cells of a cell, across set pieces."""
    low, high = window(axis, cell, reach)
    return float(belief[low:high].sum())


def peak(axis: Axis, belief: Floats) -> int:
    """The cell with most belief within half a beat of it."""
    low, high = int(axis.first[1]), int(axis.first[axis.after])
    sums = np.concatenate(
        [np.zeros(HALF + 1), np.cumsum(belief[low:high]), np.full(HALF, belief[low:high].sum())]
    )
    near = sums[2 * HALF + 1 :] - sums[: -2 * HALF - 1]
    best = int(np.argmax(near))
    ends = [int(axis.first[stretch]) for stretch in (axis.before, axis.after)]
    end = max(ends, key=lambda cell: belief[cell])
    return end if belief[end] > near[best] else low + best


def mean(axis: Axis, belief: Floats, offset: Floats, cell: int) -> Place:
    """The mean place within half a beat of a cell, in whichever stretch has most of it there."""
    low, high = window(axis, cell, HALF)
    stretch = axis.stretch_at(low)
    border = int(axis.first[stretch + 1])
    if border < high and belief[border:high].sum() > belief[low:border].sum():
        stretch, low = stretch + 1, border
    high = min(high, int(axis.first[stretch + 1]))
    part = belief[low:high]
    total = float(part.sum())
    cell_mean = float(np.arange(low, high) @ part) / total if total > 0.0 else float(cell)
    beat = (cell_mean - float(axis.first[stretch]) + float(offset[stretch])) / CELLS_PER_BEAT
    return within(axis, Place(stretch, beat))


def within(axis: Axis, place: Place) -> Place:
    """The place kept inside its stretch."""
    most = max(float(axis.beats[place.stretch]) - 1e-9, 0.0)
    return Place(place.stretch, min(max(place.beat, 0.0), most))


@dataclass(slots=True)
class Pointer:
    """The place told, and how much belief lies within a beat of it."""

    routine: Routine
    axis: Axis
    hearing: Hearing
    place: Place = Place(1, 0.0)
    confidence: float = 0.0

    def move(self, seconds: float, rate_bps: Floats) -> None:
        """Carry the place on by the clock."""
        self.place = on(self.axis, self.place, seconds, rate_bps)

    def see(
        self, belief: Floats, offset: Floats, now: float, seconds: float, rate_bps: Floats
    ) -> None:
        """Bring the pointer to the best guess, exact where a deck runs."""
        axis = self.axis
        cell = cell_of(axis, self.place, offset)
        here = mass(axis, belief, cell, HALF)
        if here < 0.5:
            best = peak(axis, belief)
            if mass(axis, belief, best, HALF) > here:
                cell = best
                self.place = mean(axis, belief, offset, best)
        self._settle(belief, mean(axis, belief, offset, cell), seconds)
        self._read_off(now, rate_bps)
        cell = cell_of(axis, self.place, offset)
        self.confidence = min(mass(axis, belief, cell, CELLS_PER_BEAT), 1.0)

    def _settle(self, belief: Floats, near: Place, seconds: float) -> None:
        """Draw the pointer to the belief around it; over a border where most of it is."""
        if near.stretch != self.place.stretch:
            first, end = self.axis.first[near.stretch], self.axis.first[near.stretch + 1]
            if float(belief[first:end].sum()) > BORDER:
                self.place = near
        elif not self._running(near.stretch):
            gain = 1.0 - math.exp(-seconds / SETTLE_S)
            beat = self.place.beat + gain * (near.beat - self.place.beat)
            self.place = Place(near.stretch, beat)

    def _read_off(self, now: float, rate_bps: Floats) -> None:
        """The beat off a deck that runs, when it agrees with the belief."""
        stretch = self.place.stretch
        if not self.axis.is_piece(stretch):
            return
        for side in self._running(stretch):
            deck = self.hearing.decks[side]
            slope, position = deck.line.slope, deck.place(now)
            if not self.hearing.fresh(side, now) or slope is None or position is None:
                continue
            beat = (position - self.axis.decks[side].from_s[stretch]) / self.axis.beat_s[stretch]
            if SLOW < slope < FAST and abs(beat - self.place.beat) < READ_BEATS:
                self.place = self._carried(stretch, float(beat), rate_bps)
                return

    def _carried(self, stretch: int, beat: float, rate_bps: Floats) -> Place:
        """A beat read off a deck; past the last, so far into the next set piece."""
        over = beat - float(self.axis.beats[stretch])
        if over < 0.0:
            return Place(stretch, max(beat, 0.0))
        seconds = over / max(float(rate_bps[stretch]), 0.1)
        return on(self.axis, Place(stretch + 1, 0.0), seconds, rate_bps)

    def _running(self, stretch: int) -> list[Side]:
        if not self.axis.is_piece(stretch):
            return []
        count = self.routine.pieces[stretch - 1].count
        sides: list[Side] = [side for side in SIDES if self.axis.decks[side].hand[stretch] == RUNS]
        return sorted(sides, key=lambda side: side != count)
