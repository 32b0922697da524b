"""The follower: hears two decks, believes, and says where in the routine the performer is."""

from __future__ import annotations

import math

from liveaid.follow import state
from liveaid.follow.belief import Belief
from liveaid.follow.deck_line import Deck
from liveaid.follow.elapsed import Elapsed, at_start
from liveaid.follow.exchanged import SWAPPED, Exchanged
from liveaid.follow.gesture import Watch
from liveaid.follow.guess import GestureHeard, rate_bps
from liveaid.follow.habits import Habits
from liveaid.follow.hearing import QUIET_S, Hearing, Sends
from liveaid.follow.mixer import Mixer
from liveaid.follow.plan import plan_of
from liveaid.follow.prompt import Prompt, State
from liveaid.follow.senders import Senders
from liveaid.follow.tell import Picture, tell
from liveaid.routine import SIDES, Routine, Side

FOLLOWER_STEP_S = 0.025
"""Belief is brought up to date this often at most; between, messages only refine the deck."""
LEARNS = 0.95
"""Confidence from which the faders' meaning is learnt."""
TWINS_S = 0.5
"""Two places are told as two once both have fitted for so long."""
FARTHEST_S = 86400.0
"""A position beyond a day of record is no position."""


class Follower:
    """Works out set piece, bar and beat from what two decks say.

    Every call takes the caller's monotonic `now` in seconds. A `now` before the latest one heard
    counts as the latest. Values that cannot be meant (not finite, a position beyond a day) are
    left out; only an unknown side raises.
    """

    def __init__(
        self, routine: Routine, *, sends: Sends = "always", habits: Habits | None = None
    ) -> None:
        """Follow a placed routine; ValueError when a cue has no deck-file second.

        `sends` is how the sender tells positions: `always`, at a steady rate, or `on_change`,
        when a stopped record sends nothing. `habits`: what is known of the performer from takes.
        """
        if sends not in ("always", "on_change"):
            raise ValueError(f"sends {sends!r}: always or on_change would do")
        self.routine, self.sends = routine, sends
        self.plan = plan_of(routine)
        habits = habits or Habits()
        numbers = habits.numbers()
        self._hearing = Hearing(sends, usual_ratio=1.0 + habits.pitch_percent / 100.0)
        self._mixer = Mixer(hamster=routine.performer.hamster)
        self._belief = Belief(self.plan, routine.turntable.turn_s, numbers)
        reach = routine.turntable.pitch_range_percent / 100.0 + 0.02
        for deck in self._hearing.decks.values():
            deck.reach = reach
        self._watches = {side: Watch(self._hearing.decks[side], numbers) for side in SIDES}
        self._senders = Senders(self.plan, routine.turntable.turn_s, reach)
        self._exchanged = Exchanged(self.plan, routine.turntable.turn_s, numbers)
        self._hints: tuple[str, ...] = ()
        self._elapsed = Elapsed(self.plan)
        self._state: State = "waiting"
        self._now_s: float | None = None
        self._asked_s = -math.inf
        self._stepped_s: float | None = None
        self._heard: GestureHeard | None = None
        self._sure: tuple[int, float] | None = None
        self._sure_s = 0.0
        self._twin_s = 0.0
        self._hinted_s = -math.inf
        self._moved_s, self._stopped_s = -math.inf, -math.inf
        self._piece_sure = self._confidence = 0.0

    def hear(self, side: Side, *, position: float, now: float) -> None:
        """One deck's position, in deck-file seconds."""
        deck, now = self._deck(side), self._clamped(now)
        if math.isnan(now) or not math.isfinite(position):
            return
        self._senders.hear(side, float(position), now)
        if abs(position) > FARTHEST_S:  # in another unit, perhaps: whoever judges senders knows
            self._look_at_senders(now)
            return
        deck.hear(float(position), now)
        if self._stepped_s is None or now - self._stepped_s >= FOLLOWER_STEP_S:
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
            self._senders.hear_pitch(side, 1.0 + float(percent) / 100.0)

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

    def hear_word(self, word: str, *, now: float, piece: int | None = None) -> None:
        """What the performer says of the place: step on, step back, here (`piece` from 0), hold.

        Weighed into the belief: what is heard afterwards can outweigh it, the next message alone
        does not. ValueError for another word or no such set piece.
        """
        if word not in ("step on", "step back", "here", "hold"):
            raise ValueError(f"no word {word!r}: step on, step back, here or hold would do")
        if piece is not None and not self.plan.is_piece(piece):
            raise ValueError(f"no set piece {piece}: 0 to {self.plan.pieces - 1} would do")
        now = self._clamped(now)
        if self._heard is None or math.isnan(now):
            return
        shown = self._shown(now)[0]
        step = {"step on": 1, "step back": -1}.get(word, 0)
        to = shown + step if piece is None else piece
        self._belief.hear_word(min(max(to, 0), self.plan.pieces), self._heard)
        self._exchanged.hear_word()
        self._hints = self._judge_senders(now)
        if word == "hold":
            self._belief.hold()
        self._judge(now)

    def wake_at(self) -> float | None:
        """When the prompt next changes if nothing more is heard; None before anything was.

        Later than the last message and the last prompt: the next beat, or when silence begins.
        """
        if self._now_s is None:
            return None
        now = max(self._now_s, self._asked_s)
        section, beat, rate, _ = self._shown(now)
        times = []
        if self.plan.is_piece(section) and rate > 0.01:
            times.append(now + (math.floor(beat + 1e-6) + 1 - beat) / rate)
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
        section, beat, rate, held = self._shown(now)
        event = self._event(section, confidence, quiet=self._hearing.is_quiet(now))
        picture = Picture(
            state=self._state if waiting else state.after(self._state, event),
            confidence=confidence,
            section=None if waiting else section,
            beat=beat,
            rate_bps=rate,
            elapsed_s=None if waiting else self._elapsed.at(now),
            now_s=now,
            decks=self._hearing.decks,
            fresh={side: self._hearing.fresh(side, now) for side in SIDES},
            held=held,
            places=() if waiting else self._places(now),
            hints=self._hints,
        )
        return tell(self.routine, self.plan, picture)

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
        belief = self._belief
        seconds = now - (now if self._stepped_s is None else self._stepped_s)
        if seconds <= 0.5 or not self.plan.is_piece(belief.told.section):
            return self._confidence
        assert self._heard is not None
        beats = seconds * rate_bps(self.plan.at(belief.told.section), self._heard)
        stays = math.exp(-belief.numbers.unheard_leaves * seconds)
        return self._confidence * stays * belief.beat_sure(beats) / belief.beat_sure()

    def _step(self, now: float) -> None:
        seconds = 0.0 if self._stepped_s is None else now - self._stepped_s
        if seconds > QUIET_S and self._state != "waiting":
            self._state = state.after(self._state, "quiet")
        self._stepped_s = now
        ended, telling, ratio = {}, {}, self._hearing.ratio()
        for side, watch in self._watches.items():
            fresh = self._hearing.fresh(side, now)
            stands = self.sends == "on_change" and not fresh
            own = watch.deck.ratio or ratio
            ended[side] = watch.look(now, own, fresh=fresh, stands=stands)
            telling[side] = watch.gesture is not None and (fresh or stands)
        gestures = {side: watch.gesture for side, watch in self._watches.items()}
        moving = any(g is not None and g.kind != "held" for g in gestures.values())
        if (
            moving
            and math.isfinite(self._moved_s)
            and now - self._moved_s > self._belief.numbers.stop_s
        ):
            self._stopped_s = now
        self._moved_s = now if moving or not math.isfinite(self._moved_s) else self._moved_s
        self._heard = heard = GestureHeard(
            now, ratio, gestures, telling, now - self._moved_s, self._stopped_s
        )
        self._exchanged.before(self._belief, ended)
        self._belief.step(heard, ended, seconds)
        self._exchanged.after(self._belief, heard, ended, seconds)
        self._mix(now, seconds)
        self._look_at_senders(now)
        rival = self._belief.rival()
        self._twin_s = self._twin_s + seconds if rival else 0.0
        self._judge(now)

    def _look_at_senders(self, now: float) -> None:
        if now - self._hinted_s > 0.25:
            self._hints, self._hinted_s = self._judge_senders(now), now

    def _judge_senders(self, now: float) -> tuple[str, ...]:
        """What is wrong with what is sent, a sentence each."""
        return self._senders.hints(now, (SWAPPED,) if self._exchanged.told else ())

    def _judge(self, now: float) -> None:
        """Take stock: how sure the place is, and what state that makes."""
        assert self._heard is not None
        self._piece_sure, self._confidence = self._belief.confidence()
        told = self._belief.told
        if self._piece_sure >= state.DOUBTFUL and told.section >= 0:
            self._sure, self._sure_s = (told.section, told.beat), now
        sure = self._confidence >= state.SURE
        self._elapsed.see(
            told.section, told.beat, now, ratio=self._heard.ratio, sure=sure,
            at_start=at_start(self.plan, self._heard, self._belief.numbers),
        )  # fmt: skip
        event = self._event(told.section, self._confidence, quiet=False)
        self._state = state.after(self._state, event)

    def _mix(self, now: float, seconds: float) -> None:
        """Weigh in the faders; what they mean is learnt while the place is sure."""
        if not self._mixer.heard:
            return
        section = self.plan.at(self._belief.told.section)
        for side in SIDES:
            self._belief.weigh(side, self._mixer.nats(side, now, seconds))
            if self._confidence > LEARNS:
                self._mixer.learn(side, section.parts[side].hand, now, seconds)

    def _event(self, section: int, confidence: float, *, quiet: bool) -> state.Event:
        if (self._twin_s > TWINS_S or self._hints) and not quiet:
            return "doubtful"
        inside = self.plan.is_piece(section)
        ends: state.Event = "before" if section < 0 else "over"
        return state.event_of(confidence, quiet=quiet, ends=None if inside else ends)

    def _shown(self, now: float) -> tuple[int, float, float, bool]:
        """Section, beat, beats a second, and whether it is the last sure place that is held."""
        told = self._belief.told
        here = self.plan.whole_beat(told.section, told.beat)
        if self._piece_sure < 0.5 and self._sure is not None and self._twin_s <= TWINS_S:
            section, beat, rate = self._carried(*self._sure, now - self._sure_s)
            if abs(self.plan.whole_beat(section, beat) - here) > 1.0:
                return section, beat, rate, True
        stepped_s = now if self._heard is None else self._heard.now_s
        return *self._carried(told.section, told.beat, now - stepped_s), False

    def _places(self, now: float) -> tuple[tuple[int, float], ...]:
        """Set piece and beat of two places that fit; none where one does."""
        rival, told = self._belief.rival(), self._belief.told
        if rival is None or self._twin_s <= TWINS_S or self._heard is None:
            return ()
        later_s = now - self._heard.now_s
        both = (self._carried(g.section, g.beat, later_s)[:2] for g in (told, rival))
        return tuple((i, beat) for i, beat in both if self.plan.is_piece(i))

    def _carried(self, section: int, beat: float, seconds: float) -> tuple[int, float, float]:
        """Section, beat and beats a second so many seconds later, by the clock."""
        plan, ratio = self.plan, self._hearing.ratio()
        if not plan.is_piece(section) or self._heard is None:
            return section, 0.0, ratio / plan.at(0).beat_s if section < 0 else 0.0
        rate = rate_bps(plan.at(section), self._heard)
        beat += rate * seconds
        told = self._belief.told
        if (told.stays or told.over) and section == told.section:
            beat = min(beat, plan.at(section).beats - 0.01)
        while plan.is_piece(section) and beat >= plan.at(section).beats:
            over_s = (beat - plan.at(section).beats) * plan.at(section).beat_s
            section, beat = section + 1, over_s / plan.at(section + 1).beat_s
        return section, beat if plan.is_piece(section) else 0.0, rate
