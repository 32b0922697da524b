"""A record on a platter: how it starts, stops, is pushed, and is wound by a hand.

All positions are deck-file seconds, all speeds 1.0 at the nominal turns a minute, so a turn at
33 1/3 is 1.8 s of record. What a platter and a hand on it can do is `liveaid.record.figures`' to
say; what is drawn around it is common practice, no source.
"""

from __future__ import annotations

import math

from liveaid.record.figures import figure
from liveaid.simulate.line import MotionLine
from liveaid.simulate.track import Track, TrackBuilder

RELEASE_S = figure("release_s")
"""A record thrown by the hand reaches the platter's speed in this time, the slipmat slipping."""
HOLD_S = figure("hold_s")
"""A hand stops a record against the slipmat in this time."""
MOTOR_STOP_S = figure("motor_stop_s")
"""Braking by the start/stop button."""
MOTOR_START_S = figure("motor_start_s")
"""Start-up of the platter from a stand."""
PEAK_SPEED = 6.0
"""Fastest a hand pushes a record within a stroke; a stroke's peak is 1.5 times its mean."""
WIND_RAMP_S = 0.12
"""The hand's acceleration to its winding speed, and from it."""


class Record:
    """One record under a hand: every motion adds to its track, from the last moment onward.

    `line` is the motion it keeps by itself: the platter's while it runs, None while it is held.
    """

    def __init__(self, *, t_s: float, x_s: float, turn_s: float) -> None:
        self._track = TrackBuilder(t_s, x_s)
        self.turn_s = turn_s
        self.line: MotionLine | None = None

    @property
    def now_s(self) -> float:
        """The last moment set down."""
        return self._track.t_s

    @property
    def x_s(self) -> float:
        """Deck-file second at that moment."""
        return self._track.x_s

    def track(self) -> Track:
        """All that was set down."""
        return self._track.track()

    def go_on(self, until_s: float) -> None:
        """Leave the record to itself until a moment."""
        if until_s <= self.now_s:
            return
        if self.line:
            self._track.add(until_s, self.line.at(until_s), self.line.rate_at(until_s))
        else:
            self._track.add(until_s, self.x_s, 0.0)

    def follow(self, line: MotionLine) -> None:
        """From now on the record runs on this line, which goes through where it is."""
        self.line = line

    def let_go(self, line: MotionLine) -> tuple[float, MotionLine]:
        """Release a standing record so that, at speed, it runs on `line`.

        The slip while it is caught costs half of RELEASE_S, which hands allow for by being early.
        Returns when it began to move, and the line in fact taken: a later one where the hand was
        not back in time.
        """
        if self.line is not None:
            raise ValueError("only a held record can be let go")
        onset_s = line.when(self.x_s) - 0.5 * RELEASE_S
        if onset_s < self.now_s:
            late_s = self.now_s - onset_s
            line = MotionLine(line.t0_s + late_s, line.x0, line.rate, line.gain)
            onset_s = self.now_s
        self.go_on(onset_s)
        self._track.add(
            onset_s + RELEASE_S, line.at(onset_s + RELEASE_S), line.rate_at(onset_s + RELEASE_S)
        )
        self.line = line
        return onset_s, line

    def take(self, t_s: float, stop_s: float = HOLD_S) -> float:
        """A hand stops the record within `stop_s` from a moment on; returns that moment."""
        t_s = max(t_s, self.now_s)
        self.go_on(t_s)
        if self.line:
            way_s = 0.5 * self.line.rate_at(t_s) * stop_s
            self._track.add(t_s + stop_s, self.x_s + way_s, 0.0)
        self.line = None
        return t_s

    def stroke(self, to_s: float, lasts_s: float) -> None:
        """Push or pull a held record from stand to stand: smooth, fastest in the middle.

        A hand is no faster than PEAK_SPEED: a stroke asked for in less time takes longer.
        """
        lasts_s = max(lasts_s, 1.5 * abs(to_s - self.x_s) / PEAK_SPEED, 0.02)
        self._track.add(self.now_s + lasts_s, to_s, 0.0)

    def put(self, t_s: float, x_s: float, line: MotionLine | None = None) -> None:
        """The needle, or a cue called up, puts another place of the file under it at once."""
        self.go_on(t_s)
        self._track.jump(x_s, line.rate_at(t_s) if line else 0.0)
        self.line = line

    def wind(
        self, to_s: float, *, turns_per_s: float, over_turns: float, waver: list[float]
    ) -> None:
        """Wind a held record to a place by hand, past it by a little, and back.

        The hand pushes about twice a second, so its speed wavers around `turns_per_s` by the
        factors given, used in turn.
        """
        way_s = to_s - self.x_s
        if abs(way_s) < 0.02 * self.turn_s:
            self.stroke(to_s, 0.15)
            return
        beyond_s = math.copysign(over_turns * self.turn_s, way_s)
        self._rush(self.x_s + way_s + beyond_s, turns_per_s * self.turn_s, waver)
        self.go_on(self.now_s + 0.08)
        self.stroke(to_s, 0.12 + 0.5 * abs(beyond_s) / self.turn_s)

    def _rush(self, to_s: float, speed: float, waver: list[float]) -> None:
        """Ramp up, go on, ramp down; a steady hand's places, a wavering hand's speeds."""
        start_t, start_x, way = self.now_s, self.x_s, to_s - self.x_s
        whole_s = abs(way) / speed + WIND_RAMP_S
        if whole_s < 2.0 * WIND_RAMP_S:
            self.stroke(to_s, max(2.0 * math.sqrt(abs(way) * WIND_RAMP_S / speed), 0.1))
            return
        sign = math.copysign(1.0, way)
        inner_s = whole_s - 2.0 * WIND_RAMP_S
        pushes = max(1, round(inner_s / 0.25))
        for push in range(pushes + 1):
            t = WIND_RAMP_S + inner_s * push / pushes
            factor = waver[push % len(waver)]
            self._track.add(
                start_t + t, start_x + sign * speed * (t - 0.5 * WIND_RAMP_S), sign * speed * factor
            )
        self._track.add(start_t + whole_s, to_s, 0.0)


def wind_lasts_s(way_s: float, *, turns_per_s: float, turn_s: float, over_turns: float) -> float:
    """How long `Record.wind` takes for so many seconds of record."""
    turns = abs(way_s) / turn_s + over_turns
    return turns / turns_per_s + WIND_RAMP_S + 0.08 + 0.12 + 0.5 * over_turns
