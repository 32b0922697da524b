"""The few guesses the follower holds, counted on, scored by gestures, and the one it tells."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from liveaid.follow import search
from liveaid.follow.guess import Guess, Heard
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import Hand, Plan
from liveaid.routine import Side

FAR = 25.0
"""Nats behind the best at which a guess is dropped."""


@dataclass(slots=True)
class Belief:
    """All guesses; the first told stands until another is better by a nat."""

    plan: Plan
    turn_s: float
    numbers: Numbers
    guesses: list[Guess] = field(init=False)
    told: Guess = field(init=False)
    lost: float = 0.0
    """Score of being nowhere in the map."""
    _lost_since_s: float = -math.inf
    _doubted_s: float = 0.0
    _led_s: float = 0.0
    _looked_s: float = -math.inf
    _now_s: float | None = None

    def __post_init__(self) -> None:
        self.told = Guess(-1, 0.0, -math.inf)
        self.guesses = [self.told]
        self.lost = -self.numbers.lost

    def step(self, heard: Heard, ended: dict[Side, bool], seconds: float) -> None:
        """Bring all guesses to the moment heard; `ended`: whose gesture gave way to a new one."""
        fade = math.exp(-seconds / self.numbers.fade_s)
        more: list[Guess] = []
        if heard.stopped_s == heard.now_s:
            for guess in self.guesses:
                if self.plan.is_piece(guess.section) and self.plan.at(guess.section).lead is None:
                    guess.price -= self.numbers.stop
        for guess in self.guesses:
            guess.past *= fade
            for side, new in ended.items():
                if new:
                    guess.settle_vote(side)
            guess.move(self.plan, heard, seconds)
            more += guess.crossed(self.plan, heard, self.numbers)
        self.guesses += more
        if self._looks(heard, ended, seconds):
            self.guesses += list(
                search.found(self.plan, heard, self.guesses, self.turn_s, self.numbers)
            )
        for guess in self.guesses:
            guess.score_votes(self.plan, heard, self.numbers)
        self._keep()
        self._lose(heard, ended, seconds, fade)
        self._choose(seconds)

    def weigh(self, side: Side, nats: dict[Hand, float]) -> None:
        """Take in how well a fader fits each thing a hand may do with a deck."""
        for guess in self.guesses:
            guess.past += nats[self.plan.at(guess.section).parts[side].hand]

    def _looks(self, heard: Heard, ended: dict[Side, bool], seconds: float) -> bool:
        doubtful = self.told.worst < self.numbers.contradicted
        self._doubted_s = self._doubted_s + seconds if doubtful else 0.0
        news = any(new and (g := heard.gestures[s]) and g.news for s, new in ended.items())
        if not any(ended.values()) and heard.now_s - self._looked_s < 0.2:
            return False
        self._looked_s = heard.now_s
        doubted = self._doubted_s > self.numbers.contradicted_s or self.confidence(heard) < 0.5
        return doubted or news or not self.plan.is_piece(self.told.section)

    def _keep(self) -> None:
        """Only the best, one for each place."""
        kept: list[Guess] = []
        ordered = sorted(self.guesses, key=lambda g: -g.score)
        best = ordered[0].score
        for guess in ordered:
            near = (
                g for g in kept if g.section == guess.section and abs(g.beat - guess.beat) < 0.5
            )
            twin = next(near, None)
            if twin is not None:
                if guess is self.told:
                    self.told = twin
                continue
            if guess.score < best - FAR and guess is not self.told:
                continue
            kept.append(guess)
        self.guesses = kept[: self.numbers.guesses]
        if self.told not in self.guesses:
            self.guesses.append(self.told)

    def _lose(self, heard: Heard, ended: dict[Side, bool], seconds: float, fade: float) -> None:
        best = max(g.score for g in self.guesses)
        running = sum(1.0 for s, g in heard.gestures.items() if g is not None and g.kind == "runs")
        self.lost = max(self.lost - (0.5 + 1.0 * running) * seconds, best - 30.0)
        self.lost = max(self.lost, best - self.numbers.lost)

    def _choose(self, seconds: float) -> None:
        best = max(self.guesses, key=lambda g: g.score)
        margin = self.numbers.renamed if best.section != self.told.section else 0.0
        if best is not self.told and best.score > self.told.score + margin:
            self.told, self._led_s = best, 0.0
        self._led_s += seconds
        if self._led_s > self.numbers.settled_s and self.told is best and self.told.price:
            base = best.price + best.past
            self.lost -= base
            for guess in self.guesses:
                guess.price, guess.past = guess.price + guess.past - base, 0.0

    def confidence(self, heard: Heard) -> float:
        """How likely it is that the place told is right to a beat."""
        told = self.plan.whole_beat(self.told.section, self.told.beat)
        sharp, best = self.numbers.sharpness, max(g.score for g in self.guesses)
        near = far = 0.0
        for guess in self.guesses:
            share = math.exp(sharp * (guess.score - best))
            place = self.plan.whole_beat(guess.section, guess.beat)
            if abs(place - told) < 1.0:
                near += share
            else:
                far += share
        far += math.exp(sharp * (self.lost - best))
        off = 0.1 + self.told.doubt
        surely = math.erf(1.0 / (off * math.sqrt(2.0)))
        return near / (near + far) * surely * (1.0 - self.numbers.floor)
