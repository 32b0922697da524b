"""The few guesses the follower holds, counted on, scored by gestures, and the one it tells."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from liveaid.follow import likeness, search
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import FollowPlan, Hand
from liveaid.routine import Side


@dataclass(slots=True)
class Belief:
    """All guesses; the first told stands until another is better by a nat."""

    plan: FollowPlan
    turn_s: float
    numbers: Numbers
    guesses: list[Guess] = field(init=False)
    told: Guess = field(init=False)
    lost: Guess = field(init=False)
    """The guess that it is nowhere in the map."""
    _doubted_s: float = 0.0
    _led_s: float = 0.0
    _looked_s: float = -math.inf

    def __post_init__(self) -> None:
        self.told = Guess(-1, 0.0, -math.inf)
        self.guesses = [self.told]
        self.lost = Guess(-1, 0.0, -math.inf, -self.numbers.lost)

    def step(self, heard: GestureHeard, ended: dict[Side, bool], seconds: float) -> None:
        """Bring all guesses to the moment heard; `ended`: whose gesture gave way to a new one."""
        fade = math.exp(-seconds / self.numbers.fade_s)
        more: list[Guess] = []
        for guess in self.guesses:
            if heard.stopped_s == heard.now_s:
                more += guess.begun_anew(self.plan, heard, self.numbers)
            guess.past *= fade
            for side, new in ended.items():
                if new:
                    guess.settle_vote(side)
            guess.move(self.plan, heard, seconds, self.numbers)
            more += guess.crossed(self.plan, heard, self.numbers)
        self.guesses += more
        if self._looks(heard, ended, seconds):
            known = [*self.guesses, self.lost]
            self.guesses += search.found(
                self.plan, heard, self.told, known, self.turn_s, self.numbers
            )
        for guess in self.guesses:
            guess.score_votes(self.plan, heard, self.numbers)
        self._keep()
        self._lose(heard, ended, fade)
        self._choose(seconds)

    def weigh(self, side: Side, nats: dict[Hand, float]) -> None:
        """Take in how well a fader fits each thing a hand may do with a deck."""
        for guess in self.guesses:
            guess.past += nats[self.plan.at(guess.section).parts[side].hand]

    def hear_word(self, section: int, heard: GestureHeard) -> None:
        """The performer says which section is played: weighed in, so that it can be outweighed."""
        if all(guess.section != section for guess in self.guesses):
            base = self.told.past
            price = self.told.price - self.numbers.first
            places = search.places(self.plan.at(section), heard, self.numbers)
            places = places or [(0.0, self.numbers.held_doubt)]
            self.guesses += [
                self.told.leap(section, beat, heard.now_s, price=price, past=base, doubt=doubt)
                for beat, doubt in places
            ]
        for guess in self.guesses:
            guess.stays = False
            if guess.section != section:
                guess.price -= self.numbers.word
        self.lost.price -= self.numbers.word
        self.told = max(self.guesses, key=lambda g: (g.section == section, g.score))

    def hold(self) -> None:
        """The performer stays in the set piece told until another word is said."""
        for guess in self.guesses:
            guess.stays = guess.section == self.told.section

    def rival(self) -> Guess | None:
        """The second place that fits about as well as the one told; None where only one does.

        A place of another set piece before another beat of the same: the name is what is read.
        """
        told, limit = self.told, self.numbers.contradicted
        place = self.plan.whole_beat(told.section, told.beat)
        close = [
            guess
            for guess in self.guesses
            if self.plan.is_piece(guess.section)
            and told.score - guess.score < self.numbers.twins
            and guess.worst > limit
            and abs(self.plan.whole_beat(guess.section, guess.beat) - place) > 1.0
        ]
        fits = self.plan.is_piece(told.section) and told.worst > limit
        nearest = max(close, key=lambda g: (g.section != told.section, g.score), default=None)
        return nearest if fits else None

    def _looks(self, heard: GestureHeard, ended: dict[Side, bool], seconds: float) -> bool:
        doubtful = self.told.worst < self.numbers.contradicted
        self._doubted_s = self._doubted_s + seconds if doubtful else 0.0
        news = any(new and (g := heard.gestures[s]) and g.news for s, new in ended.items())
        if not any(ended.values()) and heard.now_s - self._looked_s < self.numbers.look_each_s:
            return False
        self._looked_s = heard.now_s
        doubted = self._doubted_s > self.numbers.contradicted_s or self.confidence()[1] < 0.5
        return doubted or news or self.told.over or not self.plan.is_piece(self.told.section)

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
            crowded = sum(g.section == guess.section for g in kept) >= self.numbers.of_one
            crowded = crowded and self.plan.is_piece(guess.section)
            far = guess.score < best - self.numbers.far
            if (crowded or far) and guess is not self.told:
                continue
            kept.append(guess)
        self.guesses = kept[: self.numbers.guesses]
        if self.told not in self.guesses:
            self.guesses.append(self.told)

    def _lose(self, heard: GestureHeard, ended: dict[Side, bool], fade: float) -> None:
        """Being nowhere: come to from the best guess at a price; anything fits it a little."""
        lost, best = self.lost, max(self.guesses, key=lambda g: g.score)
        lost.past *= fade
        for side, gesture in heard.gestures.items():
            if ended[side]:
                lost.settle_vote(side)
            if gesture is not None and heard.telling[side]:
                age_s = gesture.told_s(lost.since_s, gesture.now_s)
                vote = lost.votes[side]
                vote.weight = likeness.weight(gesture, age_s, self.numbers)
                runs = gesture.kind == "runs"
                vote.nats = self.numbers.lost_runs if runs else self.numbers.lost_else
        if best.score - self.numbers.lost > lost.score:
            price, past = best.price - self.numbers.lost, best.score - best.price
            self.lost = best.leap(-1, 0.0, heard.now_s, price=price, past=past, doubt=0.0)
            self.lost.lost_at = best.section

    def _choose(self, seconds: float) -> None:
        best = max(self.guesses, key=lambda g: g.score)
        named = self.told.section >= 0 or not _begun(best, self.numbers)
        renames = best.section != self.told.section and named
        margin = self.numbers.renamed if renames else 0.0
        margin = self.numbers.taken_back if best.over and margin else margin
        if best is not self.told and best.score > self.told.score + margin:
            self.told, self._led_s = best, 0.0
        self._led_s += seconds
        if self._led_s > self.numbers.settled_s and self.told is best and self.told.price:
            base = best.price + best.past
            for guess in (*self.guesses, self.lost):
                guess.price, guess.past = guess.price + guess.past - base, 0.0

    def confidence(self) -> tuple[float, float]:
        """How likely it is that the set piece told is right, and that it is right to a beat.

        Bayes' rule: a score is the logarithm of a likelihood and a prior, up to what all share.
        """
        plan, told = self.plan, self.told
        here = plan.whole_beat(told.section, told.beat)
        best = max(g.score for g in self.guesses)
        same = near = 0.0
        far = math.exp(self.lost.score - best)
        for guess in self.guesses:
            share = math.exp(guess.score - best)
            close = abs(plan.whole_beat(guess.section, guess.beat) - here) < 1.0
            close = close or not (_begun(guess, self.numbers) or _begun(told, self.numbers))
            near += share if close else 0.0
            same += share if guess.section == told.section and not close else 0.0
            far += share if guess.section != told.section and not close else 0.0
        all_shares, most = near + same + far, 1.0 - self.numbers.floor
        return (near + same) / all_shares * most, near / all_shares * self.beat_sure() * most

    def beat_sure(self, unheard_beats: float = 0.0) -> float:
        """How likely the count told is right to a beat, in its place: normal about what was told,
        wider by what the clock may be off since anything was heard."""
        off = self.numbers.beat_error + self.told.doubt + self.numbers.clock_error * unheard_beats
        return math.erf(1.0 / (off * math.sqrt(2.0)))


def _begun(guess: Guess, numbers: Numbers) -> bool:
    """Whether the routine has begun: before it, and at its first cue, are one place to whoever
    stands there."""
    return guess.section > 0 or guess.beat >= numbers.at_start_beats
