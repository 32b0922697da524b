"""The exact place within the best guess: a stretch and a beat, carried from moment to moment.

Belief over cells finds the place to an eighth of a beat and says how sure it is; the pointer
holds it to the millisecond: off the deck that runs where one does, by the clock elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.follow.axis import CELLS_PER_BEAT, Axis, Floats


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
            return Place(stretch, min(max(beat, 0.0), length - 1e-9))
        seconds = (beat - length) / rate
        stretch, beat = stretch + 1, 0.0
    return Place(stretch, 0.0)


def cell_of(axis: Axis, place: Place, offset: Floats) -> int:
    """The cell nearest to a place."""
    first, end = int(axis.first[place.stretch]), int(axis.first[place.stretch + 1])
    cell = round(place.beat * CELLS_PER_BEAT - float(offset[place.stretch]))
    return min(max(first + cell, first), end - 1)


def mass_near(axis: Axis, belief: Floats, cell: int) -> float:
    """Belief within a beat of a cell, across set pieces."""
    if not axis.is_piece(axis.stretch_at(cell)):
        return float(belief[cell])
    low = max(cell - CELLS_PER_BEAT, int(axis.first[1]))
    high = min(cell + CELLS_PER_BEAT + 1, int(axis.first[axis.after]))
    return float(belief[low:high].sum())


def peak(axis: Axis, belief: Floats, offset: Floats) -> tuple[Place, float]:
    """The place with most belief within half a beat, and the belief within a beat of it."""
    half = CELLS_PER_BEAT // 2
    inside = belief[axis.first[1] : axis.first[axis.after]]
    sums = np.concatenate([np.zeros(half + 1), np.cumsum(inside), np.full(half, inside.sum())])
    near = sums[2 * half + 1 :] - sums[: -2 * half - 1]
    best = int(np.argmax(near))
    cell = int(axis.first[1]) + best
    for stretch in (axis.before, axis.after):
        if belief[axis.first[stretch]] > near[best]:
            return Place(stretch, 0.0), float(belief[axis.first[stretch]])
    stretch = axis.stretch_at(cell)
    return mean_near(axis, belief, offset, stretch, cell), mass_near(axis, belief, cell)


def mean_near(axis: Axis, belief: Floats, offset: Floats, stretch: int, cell: int) -> Place:
    """The mean place of the belief within half a beat of a cell, in the same stretch."""
    half = CELLS_PER_BEAT // 2
    first, end = int(axis.first[stretch]), int(axis.first[stretch + 1])
    low, high = max(cell - half, first), min(cell + half + 1, end)
    part = belief[low:high]
    total = float(part.sum())
    if total <= 0.0:
        return Place(stretch, (cell - first) / CELLS_PER_BEAT)
    mean = float((np.arange(low, high) * part).sum()) / total - first + float(offset[stretch])
    beat = mean / CELLS_PER_BEAT
    return Place(stretch, min(max(beat, 0.0), max(float(axis.beats[stretch]) - 1e-9, 0.0)))
