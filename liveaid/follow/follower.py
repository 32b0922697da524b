"""The follower: hears two decks, believes, and says where in the routine the performer is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from liveaid.follow import pointer, state
from liveaid.follow.axis import CELLS_PER_BEAT, RUNS, Floats, axis_of
from liveaid.follow.deck import FAST, SLOW, Deck
from liveaid.follow.elapsed import Elapsed
from liveaid.follow.evidence import FIRST_WITNESSES, WITNESS_S, Evidence, Reading
from liveaid.follow.filter import weighed
from liveaid.follow.mixer import Mixer
from liveaid.follow.motion import LEAPS, Motion
from liveaid.follow.pointer import HALF, Place
from liveaid.follow.prompt import Prompt, State
from liveaid.follow.tell import STILL, Picture, tell
from liveaid.routine import SIDES, Routine, Side

Sends: TypeAlias = Literal["always", "on_change"]

STEP_S = 0.025
"""Belief is brought up to date this often at most; between, messages only refine the deck."""
JUMP_S = 5.0
"""A needle that jumped makes a leap as likely as so many seconds of playing do."""
QUIET_S = 2.0
"""Without a word for so long, a record that was turning is lost and not held."""
CLOCK_ERROR = 0.015
"""Beats that a beat counted by the clock may be off: pitch set a per cent or so wrong."""
LEAP_S = 0.06
"""Leaps are made up for this often, and at once when a needle jumps."""
SETTLE_S = 0.5
"""Without a deck that runs the pointer is drawn to the belief this fast."""
BORDER = 0.8
"""Belief in the other set piece that takes the pointer over a border."""
FARTHEST_S = 86400.0
"""A position beyond a day of record is no position."""


class Follower:
    """Works out set piece, bar and beat from what two decks say.

    Every call takes the caller's monotonic `now` in seconds. A `now` before the latest one heard
    counts as the latest. Values that cannot be meant (not finite, a position beyond a day) are
    left out; only an unknown side raises.
    """

    def __init__(self, routine: Routine, *, sends: Sends = "always") -> None:
        """Follow a placed routine; ValueError when a cue has no deck-file second.

        `sends` is how the sender tells positions: `always`, at a steady rate, or `on_change`,
        when a stopped record sends nothing.
        """
        if sends not in ("always", "on_change"):
            raise ValueError(f"sends {sends!r}: always or on_change would do")
        self.routine, self.sends = routine, sends
        self.axis = axis_of(routine)
        self.decks: dict[Side, Deck] = {side: Deck() for side in SIDES}
        self._motion = Motion(self.axis)
        reach = routine.turntable.pitch_range_percent / 100.0
        self._evidence = {side: Evidence(self.axis, self.axis.decks[side], reach) for side in SIDES}
        self._belief = _prior(self.axis.size, int(self.axis.first[self.axis.after]))
        self._weighed_s: dict[Side, float] = dict.fromkeys(SIDES, -math.inf)
        self._told: dict[Side, _Told] = {side: _Told() for side in SIDES}
        self._unleapt_s = 0.0
        self._now_s: float | None = None
        self._stepped_s: float | None = None
        self._place = Place(1, 0.0)
        self._confidence = 0.0
        self._state: State = "waiting"
        self._elapsed = Elapsed(self.axis)
        self._mixer = Mixer(hamster=routine.performer.hamster)

    @property
    def belief(self) -> Floats:
        """Probability of every cell of the axis; a copy."""
        return self._belief.copy()

    def hear(self, side: Side, *, position: float, now: float) -> None:
        """One deck's position, in deck-file seconds."""
        deck, now = self._deck(side), self._clamped(now)
        if math.isnan(now) or not abs(position) <= FARTHEST_S:
            return
        deck.hear(float(position), now)
        if self._stepped_s is None or now - self._stepped_s >= STEP_S:
            self._step(now)

    def hear_speed(self, side: Side, *, speed: float, now: float) -> None:
        """One deck's speed as its sender measures it, 1.0 nominal."""
        deck, now = self._deck(side), self._clamped(now)
        if not math.isnan(now) and abs(speed) <= 100.0:
            deck.told_speed, deck.told_speed_s = float(speed), now

    def hear_pitch(self, side: Side, *, percent: float, now: float) -> None:
        """Where one deck's pitch fader stands."""
        deck, now = self._deck(side), self._clamped(now)
        if not math.isnan(now) and abs(percent) < 100.0:
            deck.hear_pitch(1.0 + float(percent) / 100.0, now)

    def hear_crossfader(self, *, value: float, now: float) -> None:
        """Where the crossfader stands, 0 left to 1 right; beyond them counts as at the end."""
        now = self._clamped(now)
        if not math.isnan(now) and math.isfinite(value):
            self._mixer.hear_crossfader(min(max(float(value), 0.0), 1.0), now)

    def hear_level(self, side: Side, *, level: float, now: float) -> None:
        """How far one deck's level is up, 0 to 1; beyond them counts as at the end."""
        self._deck(side)
        now = self._clamped(now)
        if not math.isnan(now) and math.isfinite(level):
            self._mixer.hear_level(side, min(max(float(level), 0.0), 1.0), now)

    def wake_at(self) -> float | None:
        """When the prompt next changes if nothing more is heard; None before anything was."""
        if self._now_s is None:
            return None
        place, rates = self._place_at(self._now_s), self._rates(self._now_s)
        rate = float(rates[place.stretch])
        times = []
        if self.axis.is_piece(place.stretch) and rate > 0.01:
            times.append(self._now_s + (math.floor(place.beat + 1e-6) + 1 - place.beat) / rate)
        quiet_s = self._quiet_s()
        if quiet_s is not None and quiet_s > self._now_s:
            times.append(quiet_s)
        return min(times, default=None)

    def prompt(self, *, now: float) -> Prompt:
        """What the performer is to be told now."""
        now = self._clamped(now)
        if math.isnan(now):
            now = self._now_s or 0.0
        waiting = self._state == "waiting"
        confidence = 0.0 if waiting else self._confidence_at(now)
        event = state.event_of(confidence, quiet=self._is_quiet(now))
        picture = Picture(
            state=self._state if waiting else state.after(self._state, event),
            confidence=confidence,
            place=None if waiting else self._place_at(now),
            rate_bps=self._rates(now),
            elapsed_s=None if waiting else self._elapsed.at(now),
            now_s=now,
            decks=self.decks,
            fresh={side: self._fresh(side, now) for side in SIDES},
        )
        return tell(self.routine, self.axis, picture)

    def _deck(self, side: Side) -> Deck:
        if side not in self.decks:
            raise ValueError(f"no deck {side!r}: left or right would do")
        return self.decks[side]

    def _clamped(self, now: float) -> float:
        """The time to count with: never before the latest; NaN when it is no time."""
        if not math.isfinite(now):
            return math.nan
        self._now_s = now if self._now_s is None else max(self._now_s, now)
        return self._now_s

    def _timeout_s(self, side: Side) -> float:
        """How long after a deck's last message it is still taken to move as it did."""
        usual = self.decks[side].interval_s
        if self.sends == "on_change":
            return min(max(0.15, 4.0 * usual), 0.3)
        return max(0.3, 8.0 * usual)

    def _fresh(self, side: Side, now: float) -> bool:
        heard_s = self.decks[side].heard_s
        return heard_s is not None and now - heard_s < self._timeout_s(side)

    def _quiet_s(self) -> float | None:
        """When both decks will have been silent for too long; None when that means nothing.

        On change, a record that was held may be silent for ever; one that was turning may not.
        """
        ends = []
        for side, deck in self.decks.items():
            if deck.heard_s is None:
                continue
            if self.sends == "always":
                ends.append(deck.heard_s + self._timeout_s(side))
            elif abs(deck.line.slope or 0.0) > STILL:
                ends.append(deck.heard_s + QUIET_S)
        return max(ends, default=None)

    def _is_quiet(self, now: float) -> bool:
        quiet_s = self._quiet_s()
        return quiet_s is not None and now >= quiet_s

    def _confidence_at(self, now: float) -> float:
        """Confidence after some time unheard: the tempo may be off, the plan may be left."""
        seconds = now - (now if self._stepped_s is None else self._stepped_s)
        if seconds <= 0.5 or not self.axis.is_piece(self._place.stretch):
            return self._confidence
        beats = seconds * float(self._rates(now)[self._place.stretch])
        off = 0.1 + CLOCK_ERROR * beats
        return self._confidence * math.exp(-LEAPS * seconds) * math.erf(1.0 / (off * math.sqrt(2)))

    def _step(self, now: float) -> None:
        seconds = 0.0 if self._stepped_s is None else now - self._stepped_s
        if seconds > QUIET_S and self._state != "waiting":
            self._state = state.after(self._state, "quiet")
        rates = self._rates(now)
        self._place = pointer.on(self.axis, self._place, seconds, rates)
        self._stepped_s = now
        offset = self._motion.offset
        belief = self._motion.moved(self._belief, rates, min(seconds, 30.0))
        self._unleapt_s += seconds + JUMP_S * self._jumps()
        leaps = self._unleapt_s >= LEAP_S
        fit, told = np.ones(self.axis.size), np.ones(self.axis.size)
        for side in SIDES:
            reading = self._reading(side, now)
            if reading is None:
                continue
            evidence, account = self._evidence[side], self._told[side]
            begun = evidence.line(reading, offset) if leaps or reading.begins > 0.0 else None
            told *= evidence.likelihood(reading, offset, begun)
            if begun is not None and leaps:
                fit *= begun.cells(account.begins)
            account.begins += reading.begins
            account.phase += reading.phase
        if leaps:
            belief = self._motion.leapt(belief, self._unleapt_s, fit)
            self._unleapt_s = 0.0
        self._belief = self._mixed(weighed(belief, told), now, seconds)
        self._point(now, seconds)
        self._state = state.after(self._state, state.event_of(self._confidence, quiet=False))

    def _mixed(self, belief: Floats, now: float, seconds: float) -> Floats:
        """Belief after what the faders tell; what they mean is learnt where the place is sure."""
        if not self._mixer.heard:
            return belief
        for side in SIDES:
            hand = self.axis.decks[side].hand
            told = self._mixer.likelihood(side, hand, now, seconds)
            belief = weighed(belief, np.repeat(told, self.axis.lengths))
            if self._confidence > 0.95 and self.axis.is_piece(self._place.stretch):
                self._mixer.learn(side, int(hand[self._place.stretch]), now, seconds)
        return belief

    def _jumps(self) -> int:
        """How many decks were somewhere else all at once since the last step."""
        jumps = 0
        for deck in self.decks.values():
            jumps += deck.jumped
            deck.jumped = False
        return jumps

    def _reading(self, side: Side, now: float) -> Reading | None:
        """What a deck says now, and how much of it is new; None when it is not heard."""
        deck = self.decks[side]
        held = self.sends == "on_change" and not self._fresh(side, now)
        if deck.position_s is None or not (self._fresh(side, now) or held):
            return None
        witness = min((now - self._weighed_s[side]) / WITNESS_S, 1.0)
        self._weighed_s[side] = now
        told = self._told[side] = self._told[side].of(deck.lines)
        place, speed = deck.place(now), deck.speed(now)
        begins = min(witness, max(FIRST_WITNESSES - told.begins, 0.0))
        return Reading(
            position_s=deck.position_s if place is None or held else place,
            speed=0.0 if held else None if speed is None else speed[0],
            speed_error=0.0 if speed is None or held else speed[1],
            jitter_s=deck.jitter_s,
            begins=begins,
            goes_on=witness - begins,
            phase=min(witness, max(1.0 - told.phase, 0.0)) if _runs_freely(deck) else 0.0,
        )

    def _ratio(self) -> float:
        """Speed against the map's tempo, by the deck last heard turning by itself."""
        decks = [deck for deck in self.decks.values() if deck.ratio is not None]
        latest = max(decks, key=lambda deck: deck.ratio_s, default=None)
        return 1.0 if latest is None or latest.ratio is None else latest.ratio

    def _rates(self, now: float) -> Floats:
        """Beats a second in every stretch."""
        ratio = np.full(len(self.axis.beats), self._ratio())
        for side in SIDES:
            if not self._fresh(side, now):
                continue
            speed = self.decks[side].speed(now)
            if speed is None or self.decks[side].line.span_s < 0.1:
                continue
            runs = self.axis.decks[side].hand == RUNS
            ratio[runs] = min(max(speed[0], -2.0), 3.0)
        return np.where(self.axis.beats > 0, ratio / self.axis.beat_s, 0.0)

    def _point(self, now: float, seconds: float) -> None:
        """Bring the pointer to the best guess, exact where a deck runs."""
        axis, belief, offset = self.axis, self._belief, self._motion.offset
        cell = pointer.cell_of(axis, self._place, offset)
        here = pointer.mass(axis, belief, cell, HALF)
        if here < 0.5:
            best = pointer.peak(axis, belief)
            if pointer.mass(axis, belief, best, HALF) > here:
                cell = best
                self._place = pointer.mean(axis, belief, offset, best)
        self._settle(pointer.mean(axis, belief, offset, cell), seconds)
        self._read_off(now)
        cell = pointer.cell_of(axis, self._place, offset)
        self._confidence = min(pointer.mass(axis, belief, cell, CELLS_PER_BEAT), 1.0)
        sure = self._confidence >= state.SURE
        self._elapsed.see(self._place, now, ratio=self._ratio(), sure=sure)

    def _settle(self, mean: Place, seconds: float) -> None:
        """Draw the pointer to the belief around it; over a border where most of it is."""
        if mean.stretch != self._place.stretch:
            first, end = self.axis.first[mean.stretch], self.axis.first[mean.stretch + 1]
            if float(self._belief[first:end].sum()) > BORDER:
                self._place = mean
        elif not self._running(mean.stretch):
            gain = 1.0 - math.exp(-seconds / SETTLE_S)
            beat = self._place.beat + gain * (mean.beat - self._place.beat)
            self._place = Place(mean.stretch, beat)

    def _read_off(self, now: float) -> None:
        """The beat off a deck that runs, when it agrees with the belief."""
        stretch = self._place.stretch
        if not self.axis.is_piece(stretch):
            return
        for side in self._running(stretch):
            deck = self.decks[side]
            slope, position = deck.line.slope, deck.place(now)
            if not self._fresh(side, now) or slope is None or position is None:
                continue
            beat = (position - self.axis.decks[side].from_s[stretch]) / self.axis.beat_s[stretch]
            if SLOW < slope < FAST and abs(beat - self._place.beat) < 0.75:
                self._place = self._carried(stretch, float(beat), now)
                return

    def _carried(self, stretch: int, beat: float, now: float) -> Place:
        """A beat read off a deck; past the last, so far into the next set piece."""
        over = beat - float(self.axis.beats[stretch])
        if over < 0.0:
            return Place(stretch, max(beat, 0.0))
        rates = self._rates(now)
        seconds = over / max(float(rates[stretch]), 0.1)
        return pointer.on(self.axis, Place(stretch + 1, 0.0), seconds, rates)

    def _running(self, stretch: int) -> list[Side]:
        if not self.axis.is_piece(stretch):
            return []
        count = self.routine.pieces[stretch - 1].count
        sides: list[Side] = [side for side in SIDES if self.axis.decks[side].hand[stretch] == RUNS]
        return sorted(sides, key=lambda side: side != count)

    def _place_at(self, now: float) -> Place:
        seconds = now - (now if self._stepped_s is None else self._stepped_s)
        return pointer.on(self.axis, self._place, seconds, self._rates(now))


@dataclass(slots=True)
class _Told:
    """What has been told of a deck's present line of motion, in witnesses."""

    line: int = 0
    begins: float = 0.0
    phase: float = 0.0

    def of(self, line: int) -> _Told:
        """The same, or a new account for a new line."""
        return self if line == self.line else _Told(line)


def _runs_freely(deck: Deck) -> bool:
    """Whether the record turns by itself, and has long enough to tell its release."""
    slope = deck.line.slope
    return slope is not None and deck.line.span_s > 0.1 and 0.8 < slope < 1.25


def _prior(size: int, pieces_end: int) -> Floats:
    """Before anything is heard: at the start, or anywhere at all."""
    belief = np.zeros(size)
    belief[1:pieces_end] = 0.7 / (pieces_end - 1)
    belief[0] = 0.25
    belief[-2] = 0.02
    belief[-1] = 0.03
    return belief
