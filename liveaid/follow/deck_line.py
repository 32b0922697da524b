"""What one deck is doing, from its messages alone: where it is, how fast, since when.

Arrival times jitter, messages are lost, doubled and overtaken, so speed is the slope of a line
through the last moments in which the record kept one speed, never a difference of two messages.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

BUCKET_S = 0.008
"""Messages this close together are averaged into one point: 125 points a second at most."""
LINE_S = 2.5
"""The line looks no further back: pitch drifts, and a hand may nudge the record."""
DECK_BREAK_S = 0.03
"""Beside jitter, a point this far off the line begins a new one: 30 ms of record."""
MOST_OFF = 3.0
"""A single point counts for no more: it takes four to bend a line."""
BENT = 8.0
"""Standard deviations to be off in all before a line counts as bent."""
JITTER_S = 0.006
"""Arrival jitter assumed before any is measured."""
HAND_FASTEST = 20.0
"""No hand moves a record faster: 11 turns a second at 33 1/3; more is a needle that jumped."""
TOLD_S = 0.3
"""A speed told by the sender holds so long."""
DRIFT = 0.001
"""How far pitch wanders in a second, as a root: 0.5 % in half a minute."""


Point: TypeAlias = tuple[float, float]
"""A time and a deck-file second."""


@dataclass(slots=True)
class Line:
    """A least-squares line through points (time, position), kept by its sums."""

    points: deque[Point] = field(default_factory=deque)
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
class Bend:
    """Notices that points leave a line on one side, each by little: a two-sided cumulative sum.

    Source: Page 1954, Continuous inspection schemes, Biometrika 41.
    """

    above: float = 0.0
    below: float = 0.0
    since_above: list[Point] = field(default_factory=list)
    since_below: list[Point] = field(default_factory=list)

    def add(self, off: float, point: Point) -> list[Point]:
        """Take one point, `off` in standard deviations; answer the points since a bend."""
        off = min(max(off, -MOST_OFF), MOST_OFF)
        self.above = max(self.above + off - 1.0, 0.0)
        self.below = max(self.below - off - 1.0, 0.0)
        self.since_above = [*self.since_above, point] if self.above else []
        self.since_below = [*self.since_below, point] if self.below else []
        if self.above > BENT:
            return self.since_above
        return self.since_below if self.below > BENT else []


@dataclass(slots=True)
class Deck:
    """One deck as heard so far."""

    heard_s: float | None = None
    """Time of the last message, the same position again counting."""
    position_s: float | None = None
    line: Line = field(default_factory=Line)
    lines: int = 0
    """Grows when the record is let go, stopped, turned round, or jumps."""
    line_began: Point = (0.0, 0.0)
    """The present line's first point."""
    jumped: bool = False
    """Whether the record was somewhere else all at once; for the reader to put back."""
    jitter_s: float = JITTER_S
    interval_s: float = 0.05
    """Time between messages, as it usually is."""
    ratio: float | None = None
    """Speed it turns at by itself, 1.0 nominal; None before it has been heard turning."""
    ratio_s: float = -math.inf
    """When that was last heard."""
    reach: float = 0.10
    """Farthest from nominal that the pitch fader takes it, and a little."""
    told_speed: float | None = None
    told_speed_s: float = -math.inf
    _ratio_doubt: float = 1.0
    _strays: list[Point] = field(default_factory=list)
    _bend: Bend = field(default_factory=lambda: Bend())
    _bucket: list[Point] = field(default_factory=list)

    def hear(self, position_s: float, now_s: float) -> None:
        """Take one message in."""
        if self.heard_s is not None:
            gap = min(now_s - self.heard_s, 0.5)
            self.interval_s += 0.05 * (gap - self.interval_s)
        self.heard_s, self.position_s = now_s, position_s
        self._bucket.append((now_s, position_s))
        if self.interval_s >= BUCKET_S or now_s - self._bucket[0][0] >= BUCKET_S:
            n = len(self._bucket)
            self._point(sum(t for t, _ in self._bucket) / n, sum(x for _, x in self._bucket) / n)
            self._bucket.clear()

    def hear_pitch(self, ratio: float, now_s: float) -> None:
        """Take the pitch fader's word for the speed it turns at by itself."""
        self.ratio, self.ratio_s, self._ratio_doubt = ratio, now_s, 0.002

    def _point(self, time_s: float, position_s: float) -> None:
        if not self.line.points:
            self.line_began = (time_s, position_s)
        off = position_s - self.line.at(time_s) if self.line.points else 0.0
        doubt = self._doubt(time_s)
        if abs(off) > DECK_BREAK_S + 3.0 * doubt:
            self._stray((time_s, position_s))
            return
        self._strays.clear()
        bent = self._bend.add(off / doubt, (time_s, position_s))
        if bent:
            self._begin_line(bent)
            return
        self.line.add(time_s, position_s)
        self._learn(time_s, off)

    def _stray(self, point: Point) -> None:
        """A point off the line: the second that fits the first begins a new one."""
        self._strays = [*self._strays[-1:], point]
        if len(self._strays) == 2 and not _too_far(*self._strays):
            self._begin_line(self._strays, jumped=_too_far(self.line.points[-1], self._strays[0]))

    def _begin_line(self, points: Sequence[Point], *, jumped: bool = False) -> None:
        self.lines += 1
        self.line, self.line_began = Line(), points[0]
        self.jumped |= jumped
        for point in points:
            self.line.add(*point)
        self._strays, self._bend = [], Bend()

    def _doubt(self, time_s: float) -> float:
        """Standard deviation of a point about the line: jitter at its speed, the slope's doubt."""
        jitter_s = max(self.jitter_s, JITTER_S) * max(abs(self.line.slope or 0.0), 1.0)
        if not self.line.points:
            return jitter_s
        reach_s = time_s - self.line.points[-1][0] + self.line.span_s / 2
        return math.hypot(jitter_s, min(self._slope_doubt(), HAND_FASTEST) * reach_s)

    def _slope_doubt(self) -> float:
        """Standard error of the line's slope."""
        jitter_s = self.jitter_s * max(abs(self.line.slope or 0.0), 1.0)
        return jitter_s / math.sqrt(max(self.line.spread, 1e-9))

    def _learn(self, time_s: float, off: float) -> None:
        """What a record that turns by itself tells of jitter and of its speed."""
        slope = self.line.slope
        if slope is None or abs(slope - 1.0) > self.reach or self.line.span_s < 0.4:
            return
        square = self.jitter_s**2 + 0.02 * (off * off - self.jitter_s**2)
        self.jitter_s = min(max(math.sqrt(square), 0.002), 0.04)
        if self.line.span_s < 0.6 or time_s - self.ratio_s < 0.1:
            return
        # A scalar Kalman filter (Welch and Bishop 2006); the line's points overlap from one
        # look to the next, so its error counts three times.
        idle_s = min(time_s - self.ratio_s, 1e4)
        doubt = min(self._ratio_doubt**2 + DRIFT**2 * idle_s, 0.05**2)
        gain = doubt / (doubt + (3.0 * self._slope_doubt() + 0.001) ** 2)
        ratio = 1.0 if self.ratio is None else self.ratio
        self.ratio, self.ratio_s = ratio + gain * (slope - ratio), time_s
        self._ratio_doubt = math.sqrt(doubt * (1.0 - gain))

    def speed(self, now_s: float) -> tuple[float, float] | None:
        """Speed and its standard error, 1.0 nominal; None before two moments were heard."""
        if self.told_speed is not None and now_s - self.told_speed_s < TOLD_S:
            return self.told_speed, 0.02
        slope = self.line.slope
        return None if slope is None else (slope, 1.4 * self._slope_doubt())

    def place(self, now_s: float) -> float | None:
        """Deck-file second at a time, read off the line; None before anything was heard."""
        return self.line.at(now_s) if self.line.points else self.position_s


def _too_far(a: Point, b: Point) -> bool:
    """Whether no hand can have moved the record from one point to the next."""
    return abs(b[1] - a[1]) > HAND_FASTEST * abs(b[0] - a[0]) + DECK_BREAK_S
