"""What goes on at a steady or evenly changing rate: a record under the needle, a count."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Time = TypeVar("Time", float, Array)


@dataclass(frozen=True, slots=True)
class MotionLine:
    """Value `x0` at `t0_s`, changing by `rate` a second, which itself changes by `gain` a second.

    Used for a record's deck-file seconds and for the count's beats.
    """

    t0_s: float
    x0: float
    rate: float
    gain: float = 0.0

    def at(self, t_s: Time) -> Time:
        """The value at a time, or at many: x0 + rate * t + gain * t**2 / 2, t from t0_s."""
        t = t_s - self.t0_s
        return self.x0 + t * (self.rate + 0.5 * self.gain * t)

    def rate_at(self, t_s: float) -> float:
        """How fast the value changes at a time."""
        return self.rate + self.gain * (t_s - self.t0_s)

    def when(self, x: float) -> float:
        """The time the value is reached, by the root next to t0_s; inf where it never is."""
        ahead = x - self.x0
        under = self.rate * self.rate + 2.0 * self.gain * ahead
        below = self.rate + math.sqrt(under) if under >= 0.0 else 0.0
        if ahead == 0.0:
            return self.t0_s
        return self.t0_s + 2.0 * ahead / below if below > 0.0 else math.inf
