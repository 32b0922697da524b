"""How steady the beat is: tempo as a curve over time, and a step or a ramp in it said in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy.ndimage

Times = npt.NDArray[np.float64]

WINDOW_BEATS = 8
"""Two bars of four: long enough that one late stroke does not bend the curve."""
LEAST_CHANGE = 0.008
"""A smaller share of the tempo is within what the beats themselves tell."""
BETTER = 0.35
"""A step or a ramp leaves at most so much of the spread that one tempo leaves."""
EDGE_BEATS = 4
"""A step lies at least a bar from either end."""


@dataclass(frozen=True, slots=True)
class TempoChange:
    """A step or a ramp from one tempo to another."""

    kind: Literal["step", "ramp"]
    at_s: float
    """Where it steps; where a ramp begins."""
    before_bpm: float
    after_bpm: float

    @property
    def percent(self) -> float:
        """Change of tempo, + faster."""
        return 100.0 * (self.after_bpm / self.before_bpm - 1.0)


def tempo_curve(beats_s: Times) -> tuple[tuple[float, float], ...]:
    """(second, BPM) every half window: the slope of a line through each window's beats."""
    curve = []
    for first in range(0, max(len(beats_s) - WINDOW_BEATS, 1), WINDOW_BEATS // 2):
        some = beats_s[first : first + WINDOW_BEATS + 1]
        if len(some) < 3:
            break
        index = np.arange(len(some)) - (len(some) - 1) / 2
        period = float(index @ some / (index @ index))
        curve.append((round(float(some.mean()), 3), round(60.0 / period, 3)))
    return tuple(curve)


def find_change(beats_s: Times) -> TempoChange | None:
    """The one step or ramp that best tells the tempo of these beats; None where neither does."""
    if len(beats_s) < 4 * EDGE_BEATS:
        return None
    tempo = np.log(60.0 / np.diff(beats_s))
    smooth = scipy.ndimage.median_filter(tempo, 5, mode="nearest")
    flat = float(np.square(smooth - smooth.mean()).sum())
    step, at = _best_step(smooth)
    ramp, line = _ramp(smooth)
    least = min(step, ramp)
    if flat <= 0 or least > BETTER * flat:
        return None
    if step <= ramp:
        before, after = np.median(tempo[:at]), np.median(tempo[at:])
        change = TempoChange(
            "step", float(beats_s[at]), float(np.exp(before)), float(np.exp(after))
        )
    else:
        ends = np.exp(np.polyval(line, [0, len(smooth) - 1]))
        change = TempoChange("ramp", float(beats_s[0]), float(ends[0]), float(ends[1]))
    return change if abs(change.percent) >= 100 * LEAST_CHANGE else None


def _best_step(tempo: Times) -> tuple[float, int]:
    """Squares left by the best two levels, and the first beat of the second."""
    count = np.arange(1, len(tempo))
    total, squares = np.cumsum(tempo), np.cumsum(np.square(tempo))
    before = squares[:-1] - np.square(total[:-1]) / count
    rest = len(tempo) - count
    after = squares[-1] - squares[:-1] - np.square(total[-1] - total[:-1]) / rest
    left = (before + after)[EDGE_BEATS - 1 : -EDGE_BEATS + 1]
    best = int(np.argmin(left))
    return float(max(left[best], 0.0)), best + EDGE_BEATS


def _ramp(tempo: Times) -> tuple[float, Times]:
    """Squares left by a straight line, and the line."""
    index = np.arange(len(tempo))
    line = np.polyfit(index, tempo, 1)
    return float(np.square(tempo - np.polyval(line, index)).sum()), line


def in_words(change: TempoChange | None) -> str:
    """A change as a sentence's end: `steps from 100.0 to 125.0 BPM (+25.0 %) at 0:31`."""
    if change is None:
        return ""
    tempi = f"from {change.before_bpm:.1f} to {change.after_bpm:.1f} BPM ({change.percent:+.1f} %)"
    minute, second = divmod(round(change.at_s), 60)
    at = f" at {minute}:{second:02d}"
    return f"steps {tempi}{at}" if change.kind == "step" else f"goes evenly {tempi}"
