"""Whether what is sent can be meant as it is read: unit, direction, speed scale, steps, senders.

Judged from the raw messages alone, apart from where the performer may be (which deck is which is
judged by `exchanged.py`). Two kinds of witness: a record that turns by itself turns at its own
speed, the fader's where that is told; and a record that stands, stands at a cue of its own deck
more often than chance would have it (Wald's sequential test of two readings, 1945).
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from liveaid.follow.likeness import normal
from liveaid.follow.plan import FollowPlan
from liveaid.routine import SIDES, Side

EVERY_S = 0.05
"""Points kept for judging speed and standing."""
SPAN_S = 0.8
"""A record keeps a speed for so long before it is judged; twice for speeds a hand can make."""
STOOD_S, STANDS_WITHIN_S = 0.4, 0.015
"""A record stands when it has not moved farther for so long; a coarse sender's last digit flips."""
SAME_STAND_S = 0.3
SENDERS_AT_CUE_S = 0.03
"""How near its cue a hand sets a record, as a standard deviation (common practice, no source)."""
OFTEN = 0.6
"""How often a record that stands, stands at a cue (common practice, no source)."""
SCALE_SURE = 8.0
"""Log odds from which another scale is told: one sender in some hundreds is wired wrong, and there
are as many scales as `SCALES`."""
LEAST_ODDS, MOST_ODDS = -12.0, 18.0
NO_OFFSET = 3.0
"""Nats that a scale must have ahead of every offset: stands at one second fit the one as well as
the other. An offset itself is not told: nothing that would mend it is known."""
SCALES = tuple(1.0 + step / 200.0 for step in range(-20, 21) if abs(step) > 1)
OFFSETS_S = tuple(sign * step / 20.0 for step in range(1, 11) for sign in (1, -1))
"""A sender that is as far off everywhere is no matter of scale."""
COARSE_S = (1.0, 0.5, 0.25, 0.2, 0.1)
FASTEST = 20.0
"""No hand moves a record faster."""
NO_LEAP_S = 1.2
"""Messages that come in a bunch, or in whole seconds, leap so far at most."""
TO_AND_FRO_S, UNBROKEN_S = 0.8, 0.3
"""A second sender goes on so long, with no break longer than that. Where a needle is set down
elsewhere, messages that come late and out of order go to and fro for a moment only."""
GOOD_FOR_S = 20.0
"""A record heard at its own speed answers for its unit so long."""
PITCH_OFF = 0.014
"""Farther than this from the speed that its fader tells, a record's positions are scaled."""
PITCH_RUN_S = 2.0
"""So long it turns by itself before it is held against its fader; where a hand nudges it, both
halves of that do not agree."""
FADER_MOVED = 0.003
"""A fader that trembles by less has not been moved."""

Point = tuple[float, float]


@dataclass(slots=True)
class Sent:
    """One deck's messages, as far as they tell how it is sent."""

    points: deque[Point] = field(default_factory=lambda: deque(maxlen=60))
    values: deque[Point] = field(default_factory=lambda: deque(maxlen=4))
    """When it came to the last positions that differed from the one before, and those."""
    step: float | None = None
    """The coarse step in which its positions come."""
    last: Point | None = None
    other: Point | None = None
    """The last point of what may be a second sender's line."""
    changes: deque[float] = field(default_factory=lambda: deque(maxlen=12))
    """When messages went over from one line to the other and back."""
    to_and_fro_s: float = math.inf
    """Since when they have, with no break."""
    on_other: bool = False
    along: int = 0
    """Messages in a row that kept the other line."""
    good_s: float = -math.inf
    """When it last turned at its own speed."""
    odd: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """A speed that is not its own: how fast, since when, until when."""
    wrong: str | None = None
    """What an odd speed was told to mean; stands until it turns at its own speed."""
    stood: bool = False
    stands: deque[float] = field(default_factory=lambda: deque(maxlen=4))
    """Where it stood: the same place again is no new witness."""
    farthest_s: float = 0.0
    strays: deque[float] = field(default_factory=lambda: deque(maxlen=16))
    """When messages came that keep neither line: a lifted needle's."""
    pitch: float | None = None
    """Speed that its fader tells, 1.0 nominal."""
    run_s: float = -math.inf
    """Since when it has turned by itself with the fader there."""
    scaled: float | None = None
    """How its speed goes beside the fader's, where that is another; until they agree."""


class Senders:
    """Judges both decks' senders."""

    def __init__(self, plan: FollowPlan, turn_s: float, reach: float) -> None:
        """`reach`: how far from nominal the pitch fader takes a record, as a ratio."""
        self._turn_s, self._reach = turn_s, reach
        self._cues = {side: _cues(plan, side) for side in SIDES}
        ends = [p.to_s for s in plan.sections for p in s.parts.values() if p.hand != "rests"]
        self._length_s = max(ends, default=0.0) + 20.0
        self._sent = {side: Sent() for side in SIDES}
        self._turns = 0.0
        self._scales = dict.fromkeys(SCALES, 0.0)
        self._offsets = dict.fromkeys(OFFSETS_S, 0.0)

    def hear(self, side: Side, position: float, now: float) -> None:
        """One message as it came."""
        sent = self._sent[side]
        self._lines(sent, position, now)
        sent.farthest_s = max(sent.farthest_s, abs(position))
        if not sent.values or sent.values[-1][1] != position:
            sent.values.append((now, position))
            sent.step = _step(list(sent.values), sent.step)
        if not sent.points or now - sent.points[-1][0] >= EVERY_S:
            sent.points.append((now, position))
            self._speed(sent, now)
            self._standing(sent, side, now)

    def hear_pitch(self, side: Side, ratio: float) -> None:
        """Where a deck's fader stands, 1.0 nominal."""
        sent = self._sent[side]
        if sent.pitch is None or abs(ratio - sent.pitch) > FADER_MOVED:
            sent.pitch, sent.run_s = ratio, sent.points[-1][0] if sent.points else -math.inf

    def hints(self, now: float, known: Iterable[str] = ()) -> tuple[str, ...]:
        """What is wrong, a sentence each; nothing while all is well.

        `known` is told already, by whoever else judges; with any fault the scale says nothing.
        """
        said = [*known, *(hint for side in SIDES for hint in self._of(side, now))]
        scale = self._scale()
        if scale is not None and not said:
            said.append(
                f"positions come {100 * (scale - 1):+.1f} % off the map: the records stand or turn"
                " that far off; another rpm or `scale` would do"
            )
        return tuple(dict.fromkeys(said))

    def _scale(self) -> float | None:
        """The scale that positions seem to have, where it is another than the map's."""
        for sent in self._sent.values():
            if sent.scaled is not None:
                return sent.scaled
        scale = max(SCALES, key=lambda s: self._scales[s])
        odds, offset = self._scales[scale], max(self._offsets.values())
        return scale if odds > SCALE_SURE and odds > offset + NO_OFFSET else None

    def _of(self, side: Side, now: float) -> list[str]:
        sent, said = self._sent[side], []
        if sent.odd[2] - sent.odd[1] >= SPAN_S and now - sent.odd[2] < 0.5:
            sent.wrong = self._meant(sent, now) or sent.wrong
        if sent.wrong:
            said.append(f"the {side} deck {sent.wrong}")
        elif sent.step:
            said.append(
                f"the {side} deck's positions come in steps of {sent.step:g} s; 0.05 or less would"
                " do"
            )
        elif _two_lines(sent, now):
            said.append(f"two senders tell the {side} deck's position; one would do")
        return said

    def _meant(self, sent: Sent, now: float) -> str | None:
        """What a steady speed that is not a record's own must come from; None: from a hand."""
        speed, since_s, until_s = sent.odd
        long = until_s - since_s > 2.0 * SPAN_S
        good_s = max(one.good_s for one in self._sent.values())  # they have one sender
        unproven = good_s < now - GOOD_FOR_S and (long or good_s == -math.inf)
        if speed < 0:
            backwards = unproven and abs(speed + 1.0) < self._reach
            return "runs backwards: a `scale` of -1 would turn it round" if backwards else None
        for unit, per_s in (("milliseconds", 1e3), ("samples", 44100.0), ("samples", 48000.0),
                            ("samples", 96000.0), ("turns", 1 / self._turn_s)):  # fmt: skip
            near = abs(speed / per_s - 1.0) < self._reach
            if near and (per_s > FASTEST or (unproven and (long or self._turns > 0.0))):
                return f"sends {unit}, it seems, not seconds: `unit: {unit}` would do"
        if speed > FASTEST:
            return sent.wrong or f"runs {speed:.0f} times too fast: another unit would do"
        if speed < 0.05 and sent.farthest_s <= 1.0:
            return "sends a fraction of the file, it seems: `unit: fraction` would do"
        for ratio in (1.35, 1 / 1.35):
            if abs(speed / ratio - 1.0) < 0.05 and unproven and long:
                return f"runs at {speed:.2f} of its speed: 33 for 45 rpm, or the other way?"
        return None

    def _lines(self, sent: Sent, position: float, now: float) -> None:
        """Whether messages go to and fro between two lines that a record cannot leap between."""
        if sent.last is None or _follows(sent.last, position, now):
            sent.last = (now, position)
            if sent.on_other:
                _changed(sent, now)
            sent.on_other = False
            return
        if sent.other is not None and _follows(sent.other, position, now):
            sent.along += 1
            if not sent.on_other:
                _changed(sent, now)
            sent.on_other = True
        else:
            sent.along = 0
            sent.strays.append(now)
        sent.other = (now, position)
        if now - sent.last[0] > 0.5:  # the needle was set down elsewhere
            sent.last, sent.other, sent.on_other, sent.along = (now, position), None, False, 0

    def _speed(self, sent: Sent, now: float) -> None:
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
            if now - sent.good_s > 0.3:
                sent.run_s = t0
            else:
                sent.wrong = None
            sent.good_s = now
            _at_pitch(sent)
            return
        before, since_s, until_s = sent.odd
        kept = now - until_s < 0.3 and abs(speed - before) < 0.05 * max(abs(before), 0.01)
        sent.odd = (before if kept else speed, since_s if kept else t0, now)

    def _standing(self, sent: Sent, side: Side, now: float) -> None:
        """Where a record stands is a witness, once each time."""
        recent = [x for t, x in sent.points if now - t <= STOOD_S]
        way = max(recent) - min(recent)
        if len(recent) < 4 or way > STANDS_WITHIN_S:
            sent.stood = sent.stood and way < 0.05
            return
        if sent.stood or sent.points[0][0] > now - STOOD_S:
            return
        sent.stood = True
        at_s = recent[-1]
        if any(abs(at_s - place) < SAME_STAND_S for place in sent.stands):
            return
        sent.stands.append(at_s)
        plain = self._stands(side, at_s)
        self._turns = _added(self._turns, self._stands(side, at_s * self._turn_s) - plain)
        for scale, odds in self._scales.items():
            self._scales[scale] = _added(odds, self._stands(side, at_s / scale) - plain)
        for offset, odds in self._offsets.items():
            self._offsets[offset] = _added(odds, self._stands(side, at_s - offset) - plain)

    def _stands(self, side: Side, at_s: float) -> float:
        return stands(self._cues[side], self._length_s, at_s)


def stands(cues_s: list[float], length_s: float, at_s: float) -> float:
    """Log likelihood that a record stands there: by one of its cues, or anywhere on its file."""
    near = sum(normal(at_s - cue_s, SENDERS_AT_CUE_S) for cue_s in cues_s)
    return math.log(OFTEN * near / max(len(cues_s), 1) + (1.0 - OFTEN) / length_s)


def _added(odds: float, nats: float) -> float:
    return min(max(0.98 * odds + nats, LEAST_ODDS), MOST_ODDS)


def _cues(plan: FollowPlan, side: Side) -> list[float]:
    parts = [section.parts[side] for section in plan.sections]
    return sorted({part.cue_s for part in parts if part.hand != "rests"})


def _follows(last: Point, position: float, now: float) -> bool:
    """Whether a record can have got from a point to a position."""
    return abs(position - last[1]) <= FASTEST * (now - last[0]) + NO_LEAP_S


def _lately(times: deque[float], now: float) -> int:
    """How many times lie within the last second."""
    return sum(now - t < 1.0 for t in times)


def _changed(sent: Sent, now: float) -> None:
    """Note that messages went over to the other line."""
    if not sent.changes or now - sent.changes[-1] > UNBROKEN_S:
        sent.to_and_fro_s = now
    sent.changes.append(now)


def _at_pitch(sent: Sent) -> None:
    """Hold the speed of a record that turns by itself against its fader's word."""
    run = [point for point in sent.points if point[0] >= sent.run_s]
    if sent.pitch is None or len(run) < 4 or run[-1][0] - run[0][0] < PITCH_RUN_S:
        return
    ends = run[0], run[len(run) // 2], run[-1]
    first, second = ((b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.pairwise(ends))
    if abs(first - second) < PITCH_OFF:
        ratio = (first + second) / 2.0 / sent.pitch
        sent.scaled = (sent.scaled or ratio) if abs(ratio - 1.0) > PITCH_OFF else None


def _two_lines(sent: Sent, now: float) -> bool:
    """Whether two senders tell one deck's position."""
    unbroken = bool(sent.changes) and now - sent.changes[-1] <= UNBROKEN_S
    lasts = unbroken and now - sent.to_and_fro_s >= TO_AND_FRO_S
    often = sent.along >= 3 and _lately(sent.changes, now) >= 8
    return lasts and often and _lately(sent.strays, now) < 3


def _step(values: list[Point], known: float | None) -> float | None:
    """The coarse step in which positions come, in seconds; None where there is none.

    It is known by a record that turns by itself: from step to step in just that time. Once known
    it stands until a position comes that lies between two steps.
    """
    for step in (known,) if known else COARSE_S:
        if all(abs(x / step - round(x / step)) < 1e-4 for _, x in values):
            if known:
                return step
            ways = [(b[0] - a[0], b[1] - a[1]) for a, b in itertools.pairwise(values[-3:])]
            on = len(ways) == 2 and all(abs(way - step) < 1e-4 for _, way in ways)
            return step if on and 0.7 < ways[1][0] / step < 1.4 else None
    return None
