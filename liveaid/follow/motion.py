"""How belief moves between messages: on at each stretch's rate, out a little, and by leaps.

Each stretch slides on its own grid: belief stays in its cells while `offset` grows, and moves by
one whole cell when it passes a half. So a rate of any fraction blurs nothing, and all the blur
there is is the one asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liveaid.follow.axis import CELLS_PER_BEAT, Axis, Floats

BLUR = 0.01
"""Part of a cell's belief that stays behind, and that runs ahead, at each step of a cell: after
64 beats by the clock 0.4 beat, as a tempo 1 % off and a late hand would make it."""

# Leaps, per second. A performer leaves the plan about once in a hundred seconds on a bad night
# (common practice, no source); evidence makes up for a rate ten times off within half a second.
TO_NEXT = 0.004
TO_OWN_START = 0.002
TO_ANY_START = 0.003
TO_ANYWHERE = 0.001
WITHIN = 0.004
"""Elsewhere in the same set piece: a needle jumps a groove or two, which are turns away."""
TO_BEFORE = 0.001
TO_ELSEWHERE = 0.001
START = 0.3
"""From `before` to the first beat: it may come at any moment."""
AGAIN = 0.1
"""From `after` back to a start."""
FOUND = 0.3
"""From `elsewhere` back to the map."""
BEST_FIT = 1e4
"""A leap is made likelier by its fit up to so many times."""
LEAPS = TO_NEXT + TO_OWN_START + TO_ANY_START + TO_ANYWHERE + WITHIN + TO_BEFORE + TO_ELSEWHERE


@dataclass(slots=True)
class Motion:
    """Moves belief over an axis; keeps how far each stretch's grid has slid."""

    axis: Axis
    offset: Floats = field(init=False)
    """Part of a cell, -0.5 to 0.5: cell k of a stretch stands for beat (k + offset) / 8."""

    def __post_init__(self) -> None:
        self.offset = np.zeros(len(self.axis.beats))

    def moved(self, belief: Floats, rate_bps: Floats, seconds: float) -> Floats:
        """Belief after so many seconds at `rate_bps`, beats a second for each stretch."""
        belief = belief.copy()
        self.offset += rate_bps * (CELLS_PER_BEAT * seconds)
        while True:
            late = np.flatnonzero(self.offset >= 0.5)
            if not late.size:
                break
            for stretch in late[::-1]:
                self._on(belief, int(stretch))
            self.offset[late] -= 1.0
        for stretch in np.flatnonzero(self.offset < -0.5):
            self._back(belief, int(stretch))
        return belief

    def _on(self, belief: Floats, stretch: int) -> None:
        """One cell on, the last cell into the next stretch, in place."""
        start, end = self.axis.first[stretch], self.axis.first[stretch + 1]
        part = belief[start:end]
        leaving = part[-1] * (1.0 - BLUR)
        stay = part * BLUR
        if part.size > 2:
            ahead = part[-2] * BLUR
            part[2:] = part[1:-1] * (1.0 - 2.0 * BLUR) + part[:-2] * BLUR
            part[1] = part[0] * (1.0 - 2.0 * BLUR)
            part[0] = 0.0
            leaving += ahead
        else:
            part[1:] = part[:-1] * (1.0 - BLUR)
            part[0] = 0.0
        part += stay
        belief[end] += leaving

    def _back(self, belief: Floats, stretch: int) -> None:
        """Whole cells back, as a record pushed backwards; the start is a wall."""
        start, end = self.axis.first[stretch], self.axis.first[stretch + 1]
        part = belief[start:end]
        steps = int(min(np.ceil(-self.offset[stretch] - 0.5), part.size))
        self.offset[stretch] = max(self.offset[stretch] + steps, -0.5)
        piled = part[:steps].sum()
        part[:-steps] = part[steps:]
        part[-steps:] = 0.0
        part[0] += piled

    def leapt(self, belief: Floats, seconds: float, fit: Floats) -> Floats:
        """Belief after a little of it has leapt: to the next start, back to a start, anywhere.

        `fit` is what the decks' present motion has told of each cell: a leap lands where it fits.
        """
        stays, lands = self._leaps(belief, min(seconds, 10.0))
        fits = fit / max(float(belief @ fit), 1e-300)
        after = stays + lands * np.minimum(fits, BEST_FIT)
        return np.asarray(after / after.sum())

    def _leaps(self, belief: Floats, seconds: float) -> tuple[Floats, Floats]:
        """What stays, and what comes down where; at a start anywhere in its first beat."""
        axis, first = self.axis, self.axis.first
        masses = np.add.reduceat(belief, first[:-1])
        from_pieces = masses[1 : axis.after] * seconds
        played = float(from_pieces.sum())
        ends = [axis.before, axis.after, axis.elsewhere]
        before, after, lost = masses[ends] * np.array([START, AGAIN, FOUND]) * min(seconds, 0.5)
        stays, lands = belief.copy(), np.zeros_like(belief)
        stays[first[1] : first[axis.after]] *= 1.0 - LEAPS * seconds
        stays[first[ends]] -= (before, after, lost)
        anywhere = played * TO_ANYWHERE + 0.5 * lost
        lands[first[1] : first[axis.after]] = anywhere / (first[axis.after] - first[1])
        lengths = axis.lengths[1 : axis.after]
        lands[first[1] : first[axis.after]] += np.repeat(from_pieces * WITHIN / lengths, lengths)
        begun = np.full(len(lengths), (played * TO_ANY_START + 0.4 * lost + 0.6 * after))
        begun /= len(lengths)
        begun += from_pieces * TO_OWN_START
        begun[1:] += from_pieces[:-1] * TO_NEXT
        begun[0] += before
        firsts = first[1 : axis.after, None] + np.arange(CELLS_PER_BEAT)
        lands[firsts] += begun[:, None] / CELLS_PER_BEAT
        lands[first[axis.after]] += from_pieces[-1] * TO_NEXT
        lands[first[axis.before]] += played * TO_BEFORE + 0.1 * lost + 0.4 * after
        lands[first[axis.elsewhere]] += played * TO_ELSEWHERE
        return stays, lands
