"""The exact place within the best guess: a stretch and a beat, carried from moment to moment.

Belief over cells finds the place to an eighth of a beat and says how sure it is; the pointer
holds it to the millisecond: off the deck that runs where one does, by the clock elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.follow.axis import CELLS_PER_BEAT, Axis, Floats

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
