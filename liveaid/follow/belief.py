"""The follower's belief: one distribution over the axis, moved and weighed by what is heard."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from liveaid.follow.axis import Axis, Floats
from liveaid.follow.deck import Deck
from liveaid.follow.evidence import FIRST_WITNESSES, WITNESS_S, Evidence, Reading
from liveaid.follow.filter import forward, weighed
from liveaid.follow.hearing import Hearing
from liveaid.follow.mixer import Mixer
from liveaid.follow.motion import Motion
from liveaid.routine import SIDES, Side, other_side

JUMP_S = 5.0
"""A needle that jumped makes a leap as likely as so many seconds of playing do."""
LEAP_S = 0.06
"""Leaps are made up for this often, and at once when a needle jumps."""

SPEEDLESS = 0.3
"""A position without a speed yet is less than a witness: most is still to be told."""


@dataclass(slots=True)
class Belief:
    """Probability of every cell, and what has been told of each deck's present line."""

    axis: Axis
    hearing: Hearing
    mixer: Mixer
    pitch_range: float
    cells: Floats = field(init=False)
    motion: Motion = field(init=False)
    _evidence: dict[Side, Evidence] = field(init=False)
    _told: dict[Side, _Told] = field(default_factory=lambda: {side: _Told() for side in SIDES})
    _unleapt_s: float = 0.0

    def __post_init__(self) -> None:
        self.cells = _prior(self.axis)
        self.motion = Motion(self.axis)
        self._evidence = {
            side: Evidence(self.axis, self.axis.decks[side], self.pitch_range) for side in SIDES
        }

    def step(self, now: float, seconds: float, rate_bps: Floats) -> None:
        """Bring belief to `now`, `seconds` after the last step, by what both decks say."""
        # Moved first: what is told must be of the beats that cells stand for now.
        moved = self.motion.moved(self.cells, rate_bps, min(seconds, 30.0))
        told, fit = self._hear(now, self._leaps(seconds))
        self.cells = forward(moved, lambda cells: self._leapt(cells, fit), told)

    def mix(self, now: float, seconds: float, *, sure_of: int | None) -> None:
        """Weigh in the faders; what they mean is learnt while `sure_of` a stretch."""
        if not self.mixer.heard:
            return
        for side in SIDES:
            hand = self.axis.decks[side].hand
            told = self.mixer.likelihood(side, hand, now, seconds)
            self.cells = weighed(self.cells, np.repeat(told, self.axis.lengths))
            if sure_of is not None:
                self.mixer.learn(side, int(hand[sure_of]), now, seconds)

    def _leaps(self, seconds: float) -> bool:
        self._unleapt_s += seconds + JUMP_S * self.hearing.jumps()
        return self._unleapt_s >= LEAP_S

    def _leapt(self, cells: Floats, fit: Floats | None) -> Floats:
        if fit is None:
            return cells
        seconds, self._unleapt_s = self._unleapt_s, 0.0
        return self.motion.leapt(cells, seconds, fit)

    def _hear(self, now: float, leaps: bool) -> tuple[Floats, Floats | None]:
        """What both decks tell now, and where a leap would fit what they have told so far."""
        told, fit = np.ones(self.axis.size), np.ones(self.axis.size)
        for side in SIDES:
            reading = self._reading(side, now)
            if reading is None:
                continue
            evidence, account, offset = self._evidence[side], self._told[side], self.motion.offset
            begun = evidence.line(reading, offset) if leaps or reading.begins > 0.0 else None
            told *= evidence.likelihood(reading, offset, begun)
            if account.before is not None and account.begins == 0.0:
                told *= evidence.ended(account.before)
            if begun is not None and leaps:
                fit *= begun.cells(account.begins)
            account.before = reading
            account.begins += reading.begins
            account.phase += reading.phase
        return told, fit if leaps else None

    def _reading(self, side: Side, now: float) -> Reading | None:
        """What a deck says now, and how much of it is new; None when it is not heard."""
        deck = self.hearing.decks[side]
        held = self.hearing.sends == "on_change" and not self.hearing.fresh(side, now)
        if deck.position_s is None or not (self.hearing.fresh(side, now) or held):
            return None
        told = self._told[side] = self._told[side].of(deck.lines)
        witness, told.heard_s = min((now - told.heard_s) / WITNESS_S, 1.0), now
        place, speed = deck.place(now), deck.speed(now)
        if speed is None and not held:
            witness = min(witness, SPEEDLESS)
        begins = min(witness, max(FIRST_WITNESSES - told.begins, 0.0))
        return Reading(
            position_s=deck.position_s if place is None or held else place,
            speed=0.0 if held else None if speed is None else speed[0],
            speed_error=0.0 if speed is None or held else speed[1],
            jitter_s=deck.jitter_s,
            begins=begins,
            goes_on=witness - begins,
            alone=not self.hearing.fresh(other_side(side), now),
            phase=min(witness, max(1.0 - told.phase, 0.0)) if _runs_freely(deck) else 0.0,
        )


@dataclass(slots=True)
class _Told:
    """What has been told of a deck's present line of motion, in witnesses."""

    heard_s: float = -math.inf
    before: Reading | None = None
    """The reading before this one, of the last line when this is a new one's first."""
    line: int = 0
    begins: float = 0.0
    phase: float = 0.0

    def of(self, line: int) -> _Told:
        """The same, or a new account for a new line."""
        return self if line == self.line else _Told(self.heard_s, self.before, line)


def _runs_freely(deck: Deck) -> bool:
    """Whether the record turns by itself, and has long enough to tell its release."""
    slope = deck.line.slope
    return slope is not None and deck.line.span_s > 0.1 and 0.8 < slope < 1.25


def _prior(axis: Axis) -> Floats:
    """Before anything is heard: at the start, or anywhere at all."""
    cells = np.full(axis.size, 0.7 / float(axis.lengths[1 : axis.after].sum()))
    ends = [axis.before, axis.after, axis.elsewhere]
    cells[axis.first[ends]] = 0.25, 0.02, 0.03
    return cells
