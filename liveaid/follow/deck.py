"""What one deck is doing, from its messages alone: where it is, how fast, since when.

Arrival times jitter, messages are lost, doubled and overtaken, so speed is the slope of a line
through the last moments in which the record kept one speed, never a difference of two messages.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

BUCKET_S = 0.008
"""Messages this close together are averaged into one point: 125 points a second at most."""
LINE_S = 2.5
"""The line looks no further back: pitch drifts, and a hand may nudge the record."""
BREAK_S = 0.045
"""A point this far off the line begins a new one: 45 ms of record, above a hand's timing error."""
JITTER_S = 0.006
"""Arrival jitter assumed before any is measured."""
SLOW, FAST = 0.4, 1.7
"""A record between these speeds may be turning by itself."""


@dataclass(slots=True)
class Line:
    """A least-squares line through points (time, position), kept by its sums."""

    points: deque[tuple[float, float]] = field(default_factory=deque)
    origin: tuple[float, float] = (0.0, 0.0)
    t: float = 0.0
    x: float = 0.0
    tt: float = 0.0
    tx: float = 0.0

    def add(self, time_s: float, position_s: float) -> None:
        """Take one more point in, and let go of those too old."""
        if not self.points:
            self.origin = (time_s, position_s)
            self.t = self.x = self.tt = self.tx = 0.0
        self.points.append((time_s, position_s))
        self._count(time_s, position_s, 1.0)
        while time_s - self.points[0][0] > LINE_S:
            self._count(*self.points.popleft(), -1.0)

    def _count(self, time_s: float, position_s: float, sign: float) -> None:
        t, x = time_s - self.origin[0], position_s - self.origin[1]
        self.t += sign * t
        self.x += sign * x
        self.tt += sign * t * t
        self.tx += sign * t * x

    @property
    def span_s(self) -> float:
        """Seconds from the first point to the last."""
        return self.points[-1][0] - self.points[0][0] if self.points else 0.0

    @property
    def spread(self) -> float:
        """Sum of squared times about their mean, what a slope's certainty grows with."""
        return self.tt - self.t * self.t / len(self.points) if self.points else 0.0

    @property
    def slope(self) -> float | None:
        """Seconds of record a second, None for less than two moments."""
        if len(self.points) < 2 or self.spread < 1e-9:
            return None
        return (self.tx - self.t * self.x / len(self.points)) / self.spread

    def at(self, time_s: float) -> float:
        """The line's position at a time; the only point's where there is no slope yet."""
        n = len(self.points)
        slope = self.slope or 0.0
        return self.origin[1] + self.x / n + slope * (time_s - self.origin[0] - self.t / n)


@dataclass(slots=True)
class Deck:
    """One deck as heard so far."""

    heard_s: float | None = None
    """Time of the last message, the same position again counting."""
    position_s: float | None = None
    line: Line = field(default_factory=Line)
    jitter_s: float = JITTER_S
    ratio: float | None = None
    """Speed it turns at by itself, 1.0 nominal; None before it has been heard turning."""
    ratio_s: float = -math.inf
    """When that was last heard."""
    interval_s: float = 0.05
    """Time between messages, as it usually is."""
    told_speed: float | None = None
    told_speed_s: float = -math.inf
    _strays: list[tuple[float, float]] = field(default_factory=list)
    _bucket: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0, 0.0])

    def hear(self, position_s: float, now_s: float) -> bool:
        """Take one message in; True when a point is complete and worth a look at the belief."""
        if self.heard_s is not None:
            gap = now_s - self.heard_s
            self.interval_s += 0.05 * (min(gap, 0.5) - self.interval_s)
        self.heard_s, self.position_s = now_s, position_s
        count, first, t, x = self._bucket
        if count and now_s - first >= BUCKET_S:
            self._point(t / count, x / count)
            count = 0.0
        if not count:
            self._bucket = [1.0, now_s, now_s, position_s]
            if self.interval_s < BUCKET_S:
                return False
        else:
            self._bucket = [count + 1, first, t + now_s, x + position_s]
            return False
        # Slower senders than the bucket: the message is a point by itself.
        self._bucket = [0.0, 0.0, 0.0, 0.0]
        self._point(now_s, position_s)
        return True

    def _point(self, time_s: float, position_s: float) -> None:
        off = self._off(time_s, position_s)
        if abs(off) <= self._allowed(time_s):
            self.line.add(time_s, position_s)
            self._strays.clear()
            self._learn(time_s, off)
            return
        self._strays.append((time_s, position_s))
        if len(self._strays) >= 2 and self._strays_agree():
            self.line = Line()
            for point in self._strays[-2:]:
                self.line.add(*point)
            self._strays.clear()

    def _off(self, time_s: float, position_s: float) -> float:
        return position_s - self.line.at(time_s) if self.line.points else 0.0

    def _allowed(self, time_s: float) -> float:
        """How far off the line a point may be: jitter, and the slope's own doubt."""
        slope_off = 0.0
        if self.line.points:
            spread = self.line.spread
            reach = time_s - self.line.points[-1][0] + self.line.span_s / 2
            doubt = self.jitter_s / math.sqrt(spread) if spread > 1e-9 else 20.0
            slope_off = min(doubt, 20.0) * reach
        return max(BREAK_S, 3.0 * self.jitter_s) + 2.0 * slope_off

    def _strays_agree(self) -> bool:
        """Whether the last two strays can be one record moving, or a jump and what follows."""
        (t0, x0), (t1, x1) = self._strays[-2:]
        return abs(x1 - x0) <= 25.0 * (t1 - t0) + BREAK_S

    def _learn(self, time_s: float, off: float) -> None:
        slope = self.line.slope
        if slope is None or not SLOW < slope < FAST or self.line.span_s < 0.4:
            return
        square = self.jitter_s**2 + 0.02 * (off * off - self.jitter_s**2)
        self.jitter_s = min(max(math.sqrt(square), 0.002), 0.04)
        if self.line.span_s >= 0.6:
            self.ratio, self.ratio_s = slope, time_s

    def speed(self, now_s: float) -> tuple[float, float] | None:
        """Speed and its standard error, 1.0 nominal; None before two moments were heard."""
        if self.told_speed is not None and now_s - self.told_speed_s < 0.3:
            return self.told_speed, 0.02
        slope = self.line.slope
        if slope is None:
            return None
        # Two points of jitter each give a slope no better than their distance allows.
        return slope, 1.4 * self.jitter_s / math.sqrt(max(self.line.spread, 1e-9))

    def place(self, now_s: float) -> float | None:
        """Deck-file second at a time, read off the line; None before anything was heard."""
        if not self.line.points:
            return self.position_s
        return self.line.at(now_s)
