"""One guess of where the performer is: how it moves, and how it scores."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from liveaid.follow import likeness
from liveaid.follow.gesture import Gesture
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import FollowPlan, PlanSection
from liveaid.routine import SIDES, Side


@dataclass(slots=True)
class Vote:
    """What a deck's present gesture says of a guess, and how much it weighs."""

    nats: float = 0.0
    weight: float = 0.0


@dataclass(frozen=True, slots=True)
class GestureHeard:
    """Both decks at one moment, as guesses are scored by them."""

    now_s: float
    ratio: float
    """Speed against the map's tempo, by the record last heard turning by itself."""
    gestures: dict[Side, Gesture | None]
    telling: dict[Side, bool]
    """Whether a deck is heard at this moment."""
    still_s: float = 0.0
    """How long both records have been held."""
    stopped_s: float = -math.inf
    """When they were last let go after a stop."""

    def alone_s(self, age_s: float) -> float:
        """For how much of a gesture's age the other deck was moved, stops left out."""
        return min(age_s, self.now_s - self.stopped_s) - self.still_s


@dataclass(slots=True)
class Guess:
    """A set piece and a beat in it, when it was entered and at what price."""

    section: int
    beat: float
    since_s: float
    price: float = 0.0
    """Nats for leaving the order, below 0; never fades."""
    past: float = 0.0
    """Nats that gestures left which are over; fades."""
    doubt: float = 0.0
    """Beats that the beat may be off, as a standard deviation."""
    ran: bool = False
    """Whether the leading deck has run since this set piece was entered."""
    late: bool = False
    """Whether the decks did not fit when it was entered: a count that begins late."""
    over: bool = False
    """Whether the set piece goes on beyond its last beat."""
    drawn_s: float = -math.inf
    """When the release began that the count was last drawn to."""
    lost_at: int = -1
    """For being nowhere: the set piece it was lost in."""
    stays: bool = False
    """Whether the performer has said that this set piece goes on."""
    votes: dict[Side, Vote] = field(default_factory=lambda: {side: Vote() for side in SIDES})

    @property
    def score(self) -> float:
        """Nats in all."""
        return self.price + self.past + sum(v.nats * v.weight for v in self.votes.values())

    @property
    def worst(self) -> float:
        """The worst fit of the two decks."""
        return min(vote.nats for vote in self.votes.values())

    def settle_vote(self, side: Side) -> None:
        """A deck's gesture is over: what it said stays, fading."""
        vote = self.votes[side]
        self.past += vote.nats * vote.weight
        vote.nats = vote.weight = 0.0

    def copy(self) -> Guess:
        """Another that starts where this one is."""
        return replace(self, votes={side: replace(vote) for side, vote in self.votes.items()})

    def leap(
        self, section: int, beat: float, since_s: float, *, price: float, past: float, doubt: float
    ) -> Guess:
        """Another that leaves the order from here for a beat of a section."""
        return replace(
            self, section=section, beat=beat, since_s=since_s, price=price, past=past, doubt=doubt,
            ran=False, late=False, over=False, drawn_s=-math.inf, stays=False,
            votes={side: Vote() for side in SIDES},
        )  # fmt: skip

    def move(self, plan: FollowPlan, heard: GestureHeard, seconds: float, numbers: Numbers) -> None:
        """On by so many seconds: read off the deck that leads, by the clock elsewhere."""
        if not plan.is_piece(self.section):
            return
        section = plan.at(self.section)
        rate = rate_bps(section, heard)
        gesture = _leading(section, heard)
        stands_s = 0.0 if self.late and self.beat < numbers.begun_beats else numbers.count_stands_s
        self.beat += rate * seconds
        self.price -= numbers.overtime_each * rate * seconds if self.over else 0.0
        if gesture is None:
            if section.lead is None and heard.still_s > stands_s:
                self.beat -= rate * seconds
            self.doubt += numbers.clock_error * rate * seconds
            if section.lead is None:
                self._by_releases(section, heard, rate, numbers)
            return
        assert section.lead is not None
        if gesture.now_s < heard.now_s:
            return  # Its line is too short to tell what it does now: what it did before is old.
        read = section.read_beat(gesture.at_s)
        off = read - self.beat
        if gesture.kind == "runs":
            part = section.parts[section.lead]
            first = not self.ran and gesture.since_s > self.since_s - numbers.runs_on_s
            near_cue = abs(gesture.from_s - part.cue_s) < numbers.from_cue_s
            anew = near_cue and gesture.age_s < numbers.anew_s
            near = abs(off) < numbers.draw_beats
            early = (first or anew) and -numbers.draw_beats < read < numbers.first_beats
            early = early and abs(off) < numbers.early_off_beats
            if near or early:
                sure = early or abs(off) < numbers.agrees_beats
                self.beat += off if sure else numbers.draws * off
                self.doubt, self.ran = 0.0, True
        elif (
            gesture.kind == "held"
            and not self.ran
            and abs(read) < numbers.draw_beats
            and self.beat < 1.0
        ):
            self.beat, self.doubt = max(min(self.beat, read), 0.0), numbers.start_doubt
        elif abs(off) < numbers.draw_beats and self.beat < section.beats - 1.0:
            self.beat += numbers.draws * off

    def _by_releases(
        self, section: PlanSection, heard: GestureHeard, rate: float, numbers: Numbers
    ) -> None:
        """A record let go from its cue was let go on a beat: draw the count's phase to it."""
        for side in SIDES:
            gesture, part = heard.gestures[side], section.parts[side]
            if gesture is None or part.hand != "works" or gesture.kind != "runs":
                continue
            if abs(gesture.from_s - part.cue_s) > numbers.from_cue_s:
                continue
            since_s = max(self.since_s - numbers.entered_s, self.drawn_s + numbers.run_for_s)
            if gesture.since_s < since_s or gesture.age_s < numbers.run_for_s:
                continue
            self.drawn_s = gesture.since_s
            released = self.beat - (heard.now_s - gesture.since_s) * rate
            late = self.late and not self.ran and gesture.news
            if late and released < numbers.late_to_beats:
                self.beat, self.doubt, self.ran = gesture.age_s * rate, numbers.release_error, True
                return
            self.ran = True
            if part.strokes:
                target = min(part.strokes, key=lambda beat: abs(beat - released))
            else:
                target = round(released)
            off = target - released
            if abs(off) < numbers.release_off_beats:
                # A scalar Kalman step: what a release is off the beat, and what the count may be.
                error = numbers.release_error * (1.0 if gesture.news else 2.0)
                gain = self.doubt**2 / (self.doubt**2 + error**2)
                self.beat += gain * off
                # Which beat it is a release does not tell.
                self.doubt *= math.sqrt(1.0 - gain) if self.doubt < numbers.phase_doubt else 1.0

    def score_votes(self, plan: FollowPlan, heard: GestureHeard, numbers: Numbers) -> None:
        """Bring each deck's vote to the present gesture."""
        section = plan.at(self.section)
        for side, gesture in heard.gestures.items():
            if gesture is None or not heard.telling[side]:
                continue
            vote, part = self.votes[side], section.parts[side]
            age_s = gesture.told_s(self.since_s, gesture.now_s)
            vote.weight = likeness.weight(gesture, age_s, numbers)
            if part.hand == "runs":
                off_s = gesture.at_s - part.from_s - self.beat * section.beat_s
                ending = section.beats - self.beat < 1.0 and abs(off_s) < section.beat_s
                ending = ending and not self.over
                vote.nats = likeness.runs(
                    part, gesture, off_s, self.ran, ending, heard.alone_s(age_s), numbers
                )
            elif part.hand == "works":
                left = section.beats - self.beat
                vote.nats = likeness.works(
                    part, gesture, heard.alone_s(age_s), self.beat, left, numbers
                )
                if gesture.kind == "held" and gesture.since_s < self.since_s - numbers.entered_s:
                    vote.nats = min(vote.nats, 0.0)  # It has stood there since before.
            else:
                beats_in = self.beat if plan.is_piece(self.section) else math.inf
                vote.nats = likeness.rests(part, gesture, self.since_s, beats_in, numbers)
            if self.over:
                # What goes on by itself speaks for no way on; what is let go now begins another.
                begins = part.hand == "rests" and gesture.kind == "runs" and gesture.news
                begins = begins and gesture.since_s > self.since_s - numbers.entered_s
                vote.nats = min(vote.nats, numbers.runs_away if begins else 0.0)
            if self.stays:
                vote.nats = max(vote.nats, numbers.stays)
        begins = numbers.draw_beats < self.beat < numbers.late_to_beats
        if not self.ran and begins and self.worst < numbers.contradicted:
            self.late = True

    def begun_anew(
        self, plan: FollowPlan, heard: GestureHeard, numbers: Numbers
    ) -> Iterator[Guess]:
        """After a stop a count by the clock begins anew; that it goes on has a price."""
        if plan.at(self.section).lead or not plan.is_piece(self.section):
            return
        if self.beat < numbers.begun_beats:
            return
        anew = replace(
            self.copy(),
            beat=0.0,
            since_s=heard.now_s,
            doubt=numbers.start_doubt,
            late=True,
            ran=False,
            over=False,
        )
        self.price -= numbers.stop
        yield anew

    def crossed(self, plan: FollowPlan, heard: GestureHeard, numbers: Numbers) -> Iterator[Guess]:
        """Go over into the next section when this one is over; yields what else may follow."""
        while plan.is_piece(self.section) and self.beat >= plan.at(self.section).beats:
            section = plan.at(self.section)
            if self.stays:
                self.beat = section.beats - 0.01
                return
            if self.over:
                return
            over_s = (self.beat - section.beats) * section.beat_s / max(heard.ratio, 0.1)
            for side in SIDES:
                self.settle_vote(side)
            self.since_s = heard.now_s - min(over_s, 1.0)
            # What goes on beyond the end told its set piece by then, for every way on alike.
            more = self.copy()
            more.over, more.price = True, self.price - numbers.overtime
            yield more
            self.ran = self.late = False
            if section.lead is None:
                again = self.copy()
                again.beat, again.price = self.beat - section.beats, self.price - numbers.again
                yield again
            after = plan.at(self.section + 1)
            self.beat = (self.beat - section.beats) * section.beat_s / after.beat_s
            if not plan.is_piece(self.section + 1):
                self.beat = 0.0
            self.section += 1


def rate_bps(section: PlanSection, heard: GestureHeard) -> float:
    """Beats a second in a section: by the deck that leads while it runs, else by the tempo."""
    gesture = _leading(section, heard)
    runs = gesture is not None and gesture.kind == "runs"
    return (gesture.speed if runs and gesture else heard.ratio) / section.beat_s


def _leading(section: PlanSection, heard: GestureHeard) -> Gesture | None:
    """What the leading deck does, where one leads and is heard."""
    if section.lead is None or not heard.telling[section.lead]:
        return None
    return heard.gestures[section.lead]
