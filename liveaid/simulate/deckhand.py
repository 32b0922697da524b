"""A hand on one deck: the record it moves, how exact it is, and the acts it has done."""

from __future__ import annotations

import math

from numpy.random import Generator

from liveaid.routine import Side
from liveaid.routine.model import Performer
from liveaid.simulate.course import Leg
from liveaid.simulate.events import Event, EventKind
from liveaid.simulate.human_hands import Hands
from liveaid.simulate.line import MotionLine
from liveaid.simulate.turntable import HOLD_S, RELEASE_S, Record, wind_lasts_s

DECKHAND_AT_CUE_S = 0.06
"""A record this near its cue, in seconds of record, is let go from where it stands."""
_USUAL_WIND_TURNS_PER_S = Performer().wind_turns_per_s
NEAR_S = 1.5
"""A record this near is moved by hand as the set piece starts; from further it is called up."""


class DeckHand:
    """The record, the chance in the hand, and the list of what was done with it."""

    def __init__(
        self, side: Side, record: Record, hands: Hands, performer: Performer, rng: Generator
    ) -> None:
        self.side, self.record, self.hands, self.rng = side, record, hands, rng
        self.needle_s = performer.needle_s
        self.quickness = performer.wind_turns_per_s / _USUAL_WIND_TURNS_PER_S
        """How fast this performer winds beside one whose map says nothing of it."""
        self.events: list[Event] = []
        self._off = 0.0
        """The last act's error in spreads: the next one follows it."""

    def timing_s(self, at_s: float) -> float:
        """How late a release, return or stop is that is meant for a moment."""
        return self._late_s(self.hands.timing_bias_s, self.hands.timing_error_s, at_s)

    def stroke_s(self, at_s: float) -> float:
        """How late a stroke is that is meant for a moment."""
        return self._late_s(self.hands.stroke_bias_s, self.hands.stroke_error_s, at_s)

    def _late_s(self, bias_s: float, spread_s: float, at_s: float) -> float:
        """A hand that is late with one act is late with the next, a little less: errors follow one
        another as e[k] = r e[k-1] + sqrt(1 - r^2) n[k], so that their spread is what it is whatever
        r is (first-order correlation of successive taps about a beat: Wing and Kristofferson,
        Perception & Psychophysics 14 (1973), and Repp, Psychon Bull Rev 12 (2005), from memory)."""
        kept, fresh = self.hands.correlation, float(self.rng.standard_normal())
        self._off = kept * self._off + math.sqrt(1.0 - kept * kept) * fresh
        return self.hands.late_s(bias_s, spread_s, self._off, at_s)

    def note(
        self,
        kind: EventKind,
        leg: Leg,
        beat: float,
        *,
        planned_s: float | None,
        actual_s: float | None = None,
        onset_s: float | None = None,
        cue_s: float | None = None,
    ) -> None:
        """Write an act down; without an actual time it was missed."""
        self.events.append(
            Event(
                kind=kind, side=self.side, piece=leg.index, beat=beat, planned_s=planned_s,
                actual_s=actual_s, onset_s=onset_s, cue_s=cue_s,
            )
        )  # fmt: skip

    def about(self, cue_s: float) -> float:
        """Where the record comes to stand when it is meant to stand at a cue."""
        return max(cue_s + self.hands.cue_s(self.rng), 0.0)

    def start(self, line: MotionLine) -> float:
        """The record runs on the line: let go if it stands at its cue, else called up at once.

        Returns when it began to move.
        """
        record = self.record
        at_cue = record.line is None and abs(record.x_s - line.x0) < DECKHAND_AT_CUE_S
        if at_cue and line.when(record.x_s) - 0.5 * RELEASE_S >= record.now_s:
            return record.let_go(line)[0]
        early_s = self.rng.uniform(0.15, 0.4)
        if record.line is None and line.t0_s - early_s > record.now_s:
            record.put(line.t0_s - early_s, line.x0)
            return record.let_go(line)[0]
        t_s = max(line.t0_s, record.now_s)
        record.put(t_s, line.at(t_s), line)
        return t_s

    def to_home(self, home_s: float, t_s: float) -> None:
        """From a time on the record stands where the hand works it: moved there, or called up.

        A record still running is taken just before, and its cue called up on the beat.
        """
        record = self.record
        ran = record.line is not None
        if ran:
            record.take(t_s - HOLD_S)
        way_s = abs(home_s - record.x_s)
        if way_s > NEAR_S or (ran and way_s > DECKHAND_AT_CUE_S):
            record.put(max(t_s, record.now_s), self.about(home_s))
        elif way_s > DECKHAND_AT_CUE_S:
            record.go_on(t_s)
            record.stroke(self.about(home_s), 0.15 + 0.1 * way_s)

    def bring_to(self, cue_s: float, until_s: float) -> None:
        """To the next cue: wound when there is time, by the needle when far, else called up."""
        record, rng = self.record, self.rng
        target_s = self.about(cue_s)
        way_s, free_s = target_s - record.x_s, until_s - 0.15 - record.now_s
        if abs(way_s) < 0.01:
            return
        speed = self.quickness * self.hands.wind_turns_per_s(rng)
        over = float(rng.uniform(0.04, 0.2))
        lasts_s = wind_lasts_s(way_s, turns_per_s=speed, turn_s=record.turn_s, over_turns=over)
        if lasts_s < free_s:
            waver = [float(factor) for factor in rng.uniform(0.6, 1.4, 5)]
            record.wind(target_s, turns_per_s=speed, over_turns=over, waver=waver)
        elif self.needle_s + 1.5 < free_s:
            near_s = target_s + float(rng.uniform(-0.8, 0.8)) * record.turn_s
            record.put(record.now_s + self.needle_s, max(near_s, 0.0))
            record.go_on(record.now_s + 0.2)
            record.stroke(target_s, float(rng.uniform(0.4, 0.9)))
        else:
            record.put(max(record.now_s, until_s - rng.uniform(0.15, 0.5)), target_s)
        self._rock(target_s, until_s)

    def _rock(self, cue_s: float, until_s: float) -> None:
        """Now and then, with time to spare, the record is rocked at its cue to find the sound."""
        if until_s - self.record.now_s < 4.0 or self.rng.random() >= self.hands.rock_rate:
            return
        self.record.go_on(self.record.now_s + self.rng.uniform(0.2, 1.0))
        for _ in range(int(self.rng.integers(1, 4))):
            lasts_s = float(self.rng.uniform(0.1, 0.3))
            self.record.stroke(cue_s + float(self.rng.uniform(0.08, 0.25)), lasts_s)
            self.record.stroke(cue_s, lasts_s)
