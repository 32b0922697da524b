"""Whether what is sent can be meant as it is read: unit, direction, side, speed, steps, senders.

Judged from the raw messages alone, apart from where the performer may be. Two kinds of witness: a
record that turns by itself turns at its own speed; and a record that stands, stands at a cue of its
own deck more often than chance would have it (Wald's sequential test of two readings, 1945).
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field

from liveaid.follow.plan import FollowPlan
from liveaid.routine import SIDES, Side
from liveaid.routine.model import other_side

EVERY_S = 0.05
"""Points kept for judging speed and standing."""
SPAN_S = 0.8
"""A record keeps a speed for so long before it is judged; twice for speeds a hand can make."""
STOOD_S = 0.4
"""A record stands when it has not moved for so long."""
SENDERS_AT_CUE_S = 0.06
RUNS_THERE = 0.9
"""How often a record that turns by itself is where its deck sounds (common practice, no source)."""
OFTEN, SURE, SCALE_SURE = 0.6, 5.5, 6.5
"""How often a record that stands, stands at a cue (common practice, no source); and the log odds
from which another reading is told: one sender in some hundreds is wired wrong."""
SCALES = tuple(1.0 + step / 200.0 for step in range(-20, 21) if abs(step) > 1)
COARSEST_S = 0.1
FASTEST = 20.0
"""No hand moves a record faster."""
GOOD_FOR_S = 20.0
"""A record heard at its own speed answers for its unit so long."""

Point = tuple[float, float]


@dataclass(slots=True)
class Sent:
    """One deck's messages, as far as they tell how it is sent."""

    points: deque[Point] = field(default_factory=lambda: deque(maxlen=40))
    values: deque[float] = field(default_factory=lambda: deque(maxlen=16))
    """The last positions that differed from the one before."""
    last: Point | None = None
    other: Point | None = None
    """The last point of what may be a second sender's line."""
    changes: deque[float] = field(default_factory=lambda: deque(maxlen=12))
    """When messages went over from one line to the other and back."""
    on_other: bool = False
    along: int = 0
    """Messages in a row that kept the other line."""
    good_s: float = -math.inf
    """When it last turned at its own speed."""
    odd: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """A speed that is not its own: how fast, since when, until when."""
    wrong: str | None = None
    """What an odd speed was told to mean; stands until it turns at its own speed."""
    good_since_s: float = math.inf
    told_runs: int = 0
    """How often the present run has been a witness."""
    stood: bool = False


class Senders:
    """Judges both decks' senders."""

    def __init__(self, plan: FollowPlan, turn_s: float, reach: float) -> None:
        """`reach`: how far from nominal the pitch fader takes a record, as a ratio."""
        self._turn_s, self._reach = turn_s, reach
        self._cues = {side: _cues(plan, side) for side in SIDES}
        ends = [p.to_s for s in plan.sections for p in s.parts.values() if p.hand != "rests"]
        self._length_s = max(ends, default=0.0) + 20.0
        self._spans = {side: _spans(plan, side) for side in SIDES}
        self._sent = {side: Sent() for side in SIDES}
        self._odds: dict[str | float, float] = dict.fromkeys(("swapped", "turns", *SCALES), 0.0)

    def hear(self, side: Side, position: float, now: float) -> None:
        """One message as it came."""
        sent = self._sent[side]
        self._lines(sent, position, now)
        if not sent.values or sent.values[-1] != position:
            sent.values.append(position)
        if not sent.points or now - sent.points[-1][0] >= EVERY_S:
            sent.points.append((now, position))
            self._speed(sent, side, now)
            self._standing(sent, side, now)

    def hints(self, now: float) -> tuple[str, ...]:
        """What is wrong, a sentence each; nothing while all is well."""
        said = [hint for side in SIDES for hint in self._of(side, now)]
        if self._odds["swapped"] > SURE:
            said.append("left and right look swapped: each stands at the other's cues")
        scale = max(SCALES, key=lambda s: self._odds[s])
        if self._odds[scale] > SCALE_SURE:
            said.append(
                f"positions come {100 * (scale - 1):+.1f} % off the map: the records stand that far"
                " from their cues; another rpm or `scale` would do"
            )
        return tuple(dict.fromkeys(said))

    def _of(self, side: Side, now: float) -> list[str]:
        sent, said = self._sent[side], []
        recent = [t for t in sent.changes if now - t < 2.0]
        if len(recent) >= 8 and sent.along >= 3:
            said.append(f"two senders tell the {side} deck's position; one would do")
        step = _step(list(sent.values))
        if step is not None:
            said.append(
                f"the {side} deck's positions come in steps of {step:g} s; 0.05 or less would do"
            )
        speed, since_s, until_s = sent.odd
        if until_s - since_s >= SPAN_S and now - until_s < 0.5:
            sent.wrong = self._meant(speed, until_s - since_s, sent.good_s < now - GOOD_FOR_S)
        return [*said, f"the {side} deck {sent.wrong}"] if sent.wrong else said

    def _meant(self, speed: float, for_s: float, unproven: bool) -> str | None:
        """What a steady speed that is not a record's own must come from."""
        if speed < 0:
            backwards = abs(speed + 1.0) < self._reach
            return "runs backwards: a `scale` of -1 would turn it round" if backwards else None
        for unit, per_s in (("milliseconds", 1e3), ("samples", 44100.0), ("samples", 48000.0),
                            ("samples", 96000.0), ("turns", 1 / self._turn_s)):  # fmt: skip
            near = abs(speed / per_s - 1.0) < self._reach
            if near and (per_s > FASTEST or (unproven and self._turns(for_s))):
                return f"sends {unit}, it seems, not seconds: `unit: {unit}` would do"
        if speed > FASTEST:
            return f"runs {speed:.0f} times too fast: another unit would do"
        if speed < 0.05:
            return "sends a fraction of the file, it seems: `unit: fraction` would do"
        for ratio in (1.35, 1 / 1.35):
            if abs(speed / ratio - 1.0) < 0.05 and unproven and for_s > 2.0 * SPAN_S:
                return f"runs at {speed:.2f} of its speed: 33 for 45 rpm, or the other way?"
        return None

    def _turns(self, for_s: float) -> bool:
        return self._odds["turns"] > 0.0 or for_s > 2.0 * SPAN_S

    def _lines(self, sent: Sent, position: float, now: float) -> None:
        """Whether messages go to and fro between two lines that a record cannot leap between."""
        if sent.last is None or _follows(sent.last, position, now):
            sent.last = (now, position)
            if sent.on_other:
                sent.changes.append(now)
            sent.on_other = False
            return
        if sent.other is not None and _follows(sent.other, position, now):
            sent.along += 1
            if not sent.on_other:
                sent.changes.append(now)
            sent.on_other = True
        else:
            sent.along = 0
        sent.other = (now, position)
        if now - sent.last[0] > 0.5:  # the needle was set down elsewhere
            sent.last, sent.other, sent.on_other, sent.along = (now, position), None, False, 0

    def _speed(self, sent: Sent, side: Side, now: float) -> None:
        """Note a speed kept for a while, its own or another."""
        points = [p for p in sent.points if now - p[0] <= SPAN_S / 2]
        if len(points) < 4 or now - points[0][0] < 0.3:
            return
        (t0, x0), (t1, x1) = points[0], points[-1]
        speed = (x1 - x0) / (t1 - t0)
        bend = max(abs(x - x0 - speed * (t - t0)) for t, x in points)
        if bend > 0.02 * max(abs(speed), 0.5) + 0.02 * (abs(x1 - x0)) or abs(x1 - x0) < 1e-6:
            return
        if abs(speed - 1.0) < self._reach:
            goes_on = now - sent.good_s < 0.3
            sent.good_since_s = sent.good_since_s if goes_on else t0
            sent.told_runs = sent.told_runs if goes_on else 0
            sent.good_s = now
            self._running(sent, side, x1, now)
            return
        before, since_s, until_s = sent.odd
        kept = now - until_s < 0.3 and abs(speed - before) < 0.05 * max(abs(before), 0.01)
        sent.odd = (before if kept else speed, since_s if kept else t0, now)

    def _standing(self, sent: Sent, side: Side, now: float) -> None:
        """Where a record stands is a witness, once each time."""
        recent = [x for t, x in sent.points if now - t <= STOOD_S]
        if len(recent) < 4 or max(recent) - min(recent) > 0.004:
            sent.stood = sent.stood and max(recent) - min(recent) < 0.05
            return
        if sent.stood or sent.points[0][0] > now - STOOD_S:
            return
        sent.stood = True
        at_s = recent[-1]
        plain = self._fits(side, at_s)
        told: dict[str | float, float] = {
            "swapped": self._fits(other_side(side), at_s),
            "turns": self._fits(side, at_s * self._turn_s),
            **{scale: self._fits(side, at_s / scale) for scale in SCALES},
        }
        for reading, nats in told.items():
            self._tell(reading, nats - plain)

    def _running(self, sent: Sent, side: Side, at_s: float, now: float) -> None:
        """Where a record turns by itself is a witness of its side, a few times a run."""
        if now - sent.good_since_s < SPAN_S:
            return
        sent.wrong = None
        if sent.told_runs < 4 and now - sent.good_since_s > SPAN_S * (1 + 1.5 * sent.told_runs):
            sent.told_runs += 1
            own, others = (self._sounds(s, at_s) for s in (side, other_side(side)))
            self._tell("swapped", others - own)

    def _tell(self, reading: str | float, nats: float) -> None:
        self._odds[reading] = min(max(0.97 * self._odds[reading] + nats, -4.0), 15.0)

    def _sounds(self, side: Side, at_s: float) -> float:
        """Log likelihood that a record of a deck turns by itself there."""
        spans = self._spans[side]
        share = min(max(sum(b - a for a, b in spans) / self._length_s, 0.02), 0.9)
        inside = any(a - 0.3 <= at_s <= b + 0.3 for a, b in spans)
        return math.log(RUNS_THERE / share) if inside else math.log((1 - RUNS_THERE) / (1 - share))

    def _fits(self, side: Side, at_s: float) -> float:
        """Log likelihood that a record of a deck stands there."""
        cues = self._cues[side]
        at = bisect_left(cues, at_s)
        near = any(abs(cue - at_s) < SENDERS_AT_CUE_S for cue in cues[max(at - 1, 0) : at + 1])
        chance = min(max(2.0 * SENDERS_AT_CUE_S * len(cues) / self._length_s, 1e-3), 0.5)
        return math.log(OFTEN / chance) if near else math.log((1.0 - OFTEN) / (1.0 - chance))


def _cues(plan: FollowPlan, side: Side) -> list[float]:
    parts = [section.parts[side] for section in plan.sections]
    return sorted({part.cue_s for part in parts if part.hand != "rests"})


def _spans(plan: FollowPlan, side: Side) -> list[tuple[float, float]]:
    """Where a deck sounds, as stretches that do not overlap."""
    parts = [section.parts[side] for section in plan.sections]
    joined: list[tuple[float, float]] = []
    for low, high in sorted((p.from_s, p.to_s) for p in parts if p.hand != "rests"):
        if joined and low <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], high)
        else:
            joined.append((low, high))
    return joined


def _follows(last: Point, position: float, now: float) -> bool:
    """Whether a record can have got from a point to a position."""
    return abs(position - last[1]) <= FASTEST * (now - last[0]) + 0.1


def _step(values: list[float]) -> float | None:
    """The coarse step in which all positions come, in seconds; None where there is none."""
    if len(values) < 2:
        return None
    for step in (1.0, 0.5, 0.25, 0.2, COARSEST_S):
        if all(abs(v / step - round(v / step)) < 1e-4 for v in values):
            steps = all(abs(abs(b - a) - step) < 1e-4 for a, b in itertools.pairwise(values))
            return step if len(values) >= 4 or (steps and step == 1.0) else None
    return None
