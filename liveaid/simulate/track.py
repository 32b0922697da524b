"""A record's position over time as a smooth curve with the few places where the needle jumped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.simulate.line import Array


@dataclass(frozen=True, slots=True)
class Track:
    """Cubic Hermite curve through knots of time, place and speed; two knots at one time: a jump.

    Steady and evenly changing speeds are met exactly, since the curve is then the parabola itself.
    """

    t_s: Array
    x_s: Array
    speed: Array

    def position_s(self, at_s: Array) -> Array:
        """Deck-file seconds at the times, standing still before the first knot, after the last."""
        i, u, step = self._within(at_s)
        x0, x1 = self.x_s[i], self.x_s[i + 1]
        v0, v1 = self.speed[i] * step, self.speed[i + 1] * step
        u2, u3 = u * u, u * u * u
        rise = 3.0 * u2 - 2.0 * u3
        curve: Array = x0 + (x1 - x0) * rise + v0 * (u3 - 2.0 * u2 + u) + v1 * (u3 - u2)
        return curve

    def speed_at(self, at_s: Array) -> Array:
        """Speeds at the times, 1.0 nominal."""
        i, u, step = self._within(at_s)
        way = self.x_s[i + 1] - self.x_s[i]
        per_step = (
            way * 6.0 * (u - u * u)
            + self.speed[i] * step * (3.0 * u * u - 4.0 * u + 1.0)
            + self.speed[i + 1] * step * (3.0 * u * u - 2.0 * u)
        )
        return _divided(per_step, step, 0.0)

    def jumps_s(self) -> Array:
        """The times at which the place changed at once."""
        here = (np.diff(self.t_s) == 0.0) & (np.diff(self.x_s) != 0.0)
        times: Array = self.t_s[1:][here]
        return times

    def _within(self, at_s: Array) -> tuple[np.ndarray, Array, Array]:
        """Knot before each time, how far on to the next (0 to 1), and the time between the two."""
        i = np.searchsorted(self.t_s, at_s, side="right") - 1
        i = np.clip(i, 0, len(self.t_s) - 2)
        step = self.t_s[i + 1] - self.t_s[i]
        return i, np.clip(_divided(at_s - self.t_s[i], step, 1.0), 0.0, 1.0), step


def _divided(above: Array, below: Array, otherwise: float) -> Array:
    """The quotient, or a stated value where there is nothing to divide by."""
    quotient: Array = np.full_like(above, otherwise)
    np.divide(above, below, out=quotient, where=below > 0.0)
    return quotient


class TrackBuilder:
    """Sets knots down in time order."""

    def __init__(self, t_s: float, x_s: float) -> None:
        self._t, self._x, self._v = [t_s], [x_s], [0.0]

    @property
    def t_s(self) -> float:
        """Time of the last knot."""
        return self._t[-1]

    @property
    def x_s(self) -> float:
        """Place at the last knot."""
        return self._x[-1]

    def add(self, t_s: float, x_s: float, speed: float) -> None:
        """The curve goes on to here; nothing for a time not after the last knot's."""
        if t_s > self._t[-1]:
            self._put(t_s, x_s, speed)

    def jump(self, x_s: float, speed: float) -> None:
        """The place changes at once, at the last knot's time."""
        self._put(self._t[-1], x_s, speed)

    def track(self) -> Track:
        """The curve so far, with one more knot so that there are at least two."""
        last = self._t[-1] + 1.0
        return Track(
            np.array([*self._t, last]),
            np.array([*self._x, self._x[-1]]),
            np.array([*self._v, 0.0]),
        )

    def _put(self, t_s: float, x_s: float, speed: float) -> None:
        self._t.append(t_s)
        self._x.append(x_s)
        self._v.append(speed)
