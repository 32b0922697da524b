"""The course of the tempo through a sound: whether one even grid holds, or where it stops holding.

Stretches of the sound are looked at one by one. Where the onsets keep to the even grid there is
nothing to ask; where they do not, a grid of the stretch's own is tried, and only where that one
holds clearly better has the tempo changed. A stretch with neither is a pause or a solo, no change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.study import pulse
from liveaid.study.grid import Grid, fit_grid, judged
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, Floats

Times = npt.NDArray[np.float64]

STRETCH_BEATS = 16.0
"""A stretch: four bars of four, long enough to know its tempo to a few tenths of a per cent."""
FEWEST = 8
"""Fewer onsets in a stretch tell nothing of its tempo."""
HOLDS_EXCESS = 2.5
"""Standard deviations of onsets on the even grid within a stretch: it holds there."""
HOLDS_SHARE = 0.6
"""Or so much of what it has where it holds well: at four fifths of a tempo every fifth line
still meets."""
OWN_EXCESS = 5.0
OWN_GAIN = 3.0
"""A stretch's own grid must hold so well, and so much better than the common one. Tuned on tracker
music sped up from its middle on, against the same music left alone (tests/bench/gather.py)."""
SAME = 0.006
"""A tempo nearer than this share to the common one is the common one: its strokes only fall beside
the lines, as the soft attacks of a passage without drums do."""
FOLDS = (1.0, 0.5, 2.0, 3.0, 1.0 / 3.0, 2.0 / 3.0, 1.5, 0.75, 4.0 / 3.0)
"""Periods in these ratios may be told from the same grid."""


@dataclass(frozen=True, slots=True)
class CourseStretch:
    """One stretch of a sound and the tempo in it."""

    middle_s: float
    period_s: float
    """Seconds in a beat, folded to the octave of the common grid."""
    holds: bool
    """The common grid holds here."""
    own: bool
    """Another tempo holds here, clearly better than the common grid."""


def changes(course: list[CourseStretch]) -> bool:
    """Whether the tempo changes somewhere: a stretch has its own, and the common grid does not hold
    mostly both before and after it. What changed its tempo does not come back on the same lines."""
    told = [one for one in course if one.holds or one.own]
    return any(
        one.own and not (_mostly_holds(told[:place]) and _mostly_holds(told[place + 1 :]))
        for place, one in enumerate(told)
    )


def _mostly_holds(stretches: list[CourseStretch]) -> bool:
    return 2 * sum(one.holds for one in stretches) > len(stretches)


def follow_course(rise: Floats, onsets: Onsets, grid: Grid) -> list[CourseStretch]:
    """The stretches of a sound in order, half overlapping, each with what holds in it."""
    length = STRETCH_BEATS * grid.period_s
    if not len(onsets):
        return []
    last = float(onsets.times_s[-1])
    starts = np.arange(float(onsets.times_s[0]) - 1e-3, max(last - length / 2, 1e-3), length / 2)
    if not len(starts):
        return []
    parts = [onsets.between(float(start), float(start) + length) for start in starts]
    commons = [
        judged(few, period_s=grid.period_s, phase_s=grid.phase_s, parts=grid.parts) for few in parts
    ]
    usual = float(np.quantile([one.excess for one in commons], 0.75))
    return [
        _stretch(rise, few, grid, common, float(start), usual)
        for start, few, common in zip(starts, parts, commons, strict=True)
    ]


def _stretch(
    rise: Floats, few: Onsets, grid: Grid, common: Grid, start: float, usual: float
) -> CourseStretch:
    length = STRETCH_BEATS * grid.period_s
    middle = start + length / 2
    if len(few) < FEWEST:
        return CourseStretch(middle, grid.period_s, False, False)
    if common.excess >= max(HOLDS_EXCESS, HOLDS_SHARE * usual):
        return CourseStretch(middle, grid.period_s, True, False)
    frames = slice(max(round(start * FRAMES_HZ), 0), round((start + length) * FRAMES_HZ))
    own = _own(rise[frames], few, grid)
    if own is None or own.excess < max(OWN_EXCESS, common.excess + OWN_GAIN):
        return CourseStretch(middle, grid.period_s, common.excess >= HOLDS_EXCESS, False)
    period_s = _folded(own.period_s, grid.period_s)
    return CourseStretch(middle, period_s, False, abs(period_s / grid.period_s - 1.0) >= SAME)


def _own(rise: Floats, few: Onsets, grid: Grid) -> Grid | None:
    """The grid that holds best in one stretch, whatever the common one is."""
    curve = pulse.autocorrelation(rise)
    tried = [found.period_s for found in pulse.find_pulses(curve, most=3)]
    grids = [fit_grid(few, period, parts=grid.parts) for period in tried]
    return max(grids, key=lambda one: one.excess, default=None)


def _folded(period_s: float, common_s: float) -> float:
    """The period in that simple ratio to itself that lies nearest to the common one."""
    return min(
        (period_s * fold for fold in FOLDS), key=lambda one: abs(float(np.log(one / common_s)))
    )
