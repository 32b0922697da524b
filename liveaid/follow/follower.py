"""The follower: hears two decks, believes, and says where in the routine the performer is."""

from __future__ import annotations

import math

from liveaid.follow import state
from liveaid.follow.axis import Floats, axis_of
from liveaid.follow.belief import Belief
from liveaid.follow.deck import Deck
from liveaid.follow.elapsed import Elapsed
from liveaid.follow.hearing import QUIET_S, Hearing, Sends
from liveaid.follow.mixer import Mixer
from liveaid.follow.motion import LEAPS
from liveaid.follow.pointer import Place, Pointer, on
from liveaid.follow.prompt import Prompt, State
from liveaid.follow.tell import Picture, tell
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.way import changes

STEP_S = 0.025
"""Belief is brought up to date this often at most; between, messages only refine the deck."""
LEARNS = 0.95
"""Confidence from which the faders' meaning is learnt."""
CLOCK_ERROR = 0.015
"""Beats that a beat counted by the clock may be off: pitch set a per cent or so wrong."""
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
        self._ways = changes(routine)
        self._hearing = Hearing(self.axis, sends)
        self._mixer = Mixer(hamster=routine.performer.hamster)
        reach = routine.turntable.pitch_range_percent / 100.0
        self._belief = Belief(self.axis, self._hearing, self._mixer, reach)
        self._pointer = Pointer(routine, self.axis, self._hearing)
        self._elapsed = Elapsed(self.axis)
        self._state: State = "waiting"
        self._now_s: float | None = None
        self._asked_s = -math.inf
        self._stepped_s: float | None = None

    @property
    def belief(self) -> Floats:
        """Probability of every cell of the axis; a copy."""
        return self._belief.cells.copy()

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
        """When the prompt next changes if nothing more is heard; None before anything was.

        Later than the last message and the last prompt: the next beat, or when silence begins.
        """
        if self._now_s is None:
            return None
        now = max(self._now_s, self._asked_s)
        place = self._place_at(now)
        rate = float(self._hearing.rates(now)[place.stretch])
        times = []
        if self.axis.is_piece(place.stretch) and rate > 0.01:
            times.append(now + (math.floor(place.beat + 1e-6) + 1 - place.beat) / rate)
        quiet_s = self._hearing.quiet_s()
        if quiet_s is not None and quiet_s > now:
            times.append(quiet_s)
        return min(times, default=None)

    def prompt(self, *, now: float) -> Prompt:
        """What the performer is to be told at `now`; looking ahead changes nothing heard later."""
        heard_s = now if self._now_s is None else self._now_s
        now = (
            max(now, heard_s) if math.isfinite(now) else heard_s if math.isfinite(heard_s) else 0.0
        )
        self._asked_s = max(self._asked_s, now)
        waiting = self._state == "waiting"
        confidence = 0.0 if waiting else self._confidence_at(now)
        event = state.event_of(confidence, quiet=self._hearing.is_quiet(now))
        picture = Picture(
            state=self._state if waiting else state.after(self._state, event),
            confidence=confidence,
            place=None if waiting else self._place_at(now),
            rate_bps=self._hearing.rates(now),
            elapsed_s=None if waiting else self._elapsed.at(now),
            now_s=now,
            decks=self._hearing.decks,
            fresh={side: self._hearing.fresh(side, now) for side in SIDES},
        )
        return tell(self.routine, self.axis, self._ways, picture)

    def _deck(self, side: Side) -> Deck:
        if side not in self._hearing.decks:
            raise ValueError(f"no deck {side!r}: left or right would do")
        return self._hearing.decks[side]

    def _clamped(self, now: float) -> float:
        """The time to count with: never before the latest; NaN when it is no time."""
        if not math.isfinite(now):
            return math.nan
        self._now_s = now if self._now_s is None else max(self._now_s, now)
        return self._now_s

    def _confidence_at(self, now: float) -> float:
        """Confidence after some time unheard: the tempo may be off, the plan may be left."""
        place = self._pointer.place
        seconds = now - (now if self._stepped_s is None else self._stepped_s)
        if seconds <= 0.5 or not self.axis.is_piece(place.stretch):
            return self._pointer.confidence
        beats = seconds * float(self._hearing.rates(now)[place.stretch])
        off = 0.1 + CLOCK_ERROR * beats
        return (
            self._pointer.confidence
            * math.exp(-LEAPS * seconds)
            * math.erf(1.0 / (off * math.sqrt(2)))
        )

    def _step(self, now: float) -> None:
        seconds = 0.0 if self._stepped_s is None else now - self._stepped_s
        if seconds > QUIET_S and self._state != "waiting":
            self._state = state.after(self._state, "quiet")
        rates, pointer = self._hearing.rates(now), self._pointer
        self._stepped_s = now
        self._belief.step(now, seconds, self._hearing.moved_bps(now, seconds))
        known = pointer.confidence > LEARNS and self.axis.is_piece(pointer.place.stretch)
        self._belief.mix(now, seconds, sure_of=pointer.place.stretch if known else None)
        pointer.move(seconds, rates)
        pointer.see(self._belief.cells, self._belief.motion.offset, now, seconds, rates)
        sure = pointer.confidence >= state.SURE
        self._elapsed.see(pointer.place, now, ratio=self._hearing.ratio(), sure=sure)
        self._state = state.after(self._state, state.event_of(pointer.confidence, quiet=False))

    def _place_at(self, now: float) -> Place:
        seconds = now - (now if self._stepped_s is None else self._stepped_s)
        return on(self.axis, self._pointer.place, seconds, self._hearing.rates(now))
