"""The course of a performance: when each set piece is played, at what speed, on which record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from numpy.random import Generator

from liveaid.routine import SIDES, Piece, Plan, Rests, Routine, Side, Works, other_side
from liveaid.routine.way import next_change
from liveaid.simulate.faults import goes_on
from liveaid.simulate.human_hands import Hands
from liveaid.simulate.line import MotionLine
from liveaid.simulate.steps import How, Step
from liveaid.simulate.turntable import MOTOR_START_S, MOTOR_STOP_S

_RESTS = Rests()
_NO_COUNT = MotionLine(0.0, 0.0, 0.0)
_LATE_S = 0.25
"""A record that comes to its cue later or earlier than this against the count is no longer let run
on: the hand sets it right."""
_LEAST_LEG_S = 0.05
"""However early a hand, what went before has lasted this long."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One step as it is really played: from when to when, and how fast each record runs."""

    step: Step
    piece: Piece | None
    """None in a pause."""
    planned_s: float
    """When it should have begun, by the count of the leg before."""
    start_s: float
    end_s: float
    from_beat: float
    to_beat: float
    how: How = "flow"
    count: MotionLine = _NO_COUNT
    """Beats from the set piece's start, over time."""
    runs: dict[Side, MotionLine] = field(default_factory=dict)
    """Deck-file seconds over time of each record that runs."""
    anew: frozenset[Side] = frozenset()
    """The decks whose record is started in this leg, not running on from before."""

    @property
    def index(self) -> int:
        """The set piece's, -1 in a pause."""
        return self.step.piece

    def plan(self, side: Side) -> Plan:
        """What the hand does on one side; rests in a pause."""
        return self.piece.plan(side) if self.piece else _RESTS

    def worked(self, side: Side) -> Works:
        """The plan of a side that works. ValueError for one that does not."""
        plan = self.plan(side)
        if not isinstance(plan, Works):
            raise ValueError(f"the {side} deck {plan.hand} in set piece {self.index}")
        return plan

    @property
    def beat_s(self) -> float:
        """Seconds of record in a beat."""
        return self.piece.beat_s if self.piece else math.nan

    @property
    def juggles(self) -> bool:
        """Whether both decks are worked, taking turns."""
        return self.piece is not None and self.piece.is_juggle

    def wants_s(self, side: Side) -> float | None:
        """Deck-file second a record must stand at when the leg begins; None when it rests."""
        plan = self.plan(side)
        if plan.hand == "runs" and plan.at_s is not None:
            return plan.at_s + self.from_beat * self.beat_s
        return plan.cue_s


def lay_course(
    routine: Routine, steps: Sequence[Step], hands: Hands, rng: Generator
) -> tuple[Leg, ...]:
    """The steps one after another from time 0, each as fast and as late as the hands make it."""
    layer = _Layer(routine, hands, rng)
    for step in steps:
        layer.lay(step)
    return tuple(layer.legs)


def shifted(legs: Sequence[Leg], by_s: float) -> tuple[Leg, ...]:
    """The same course, every time in it `by_s` later."""

    def later(line: MotionLine) -> MotionLine:
        return replace(line, t0_s=line.t0_s + by_s)

    return tuple(
        replace(
            leg,
            planned_s=leg.planned_s + by_s,
            start_s=leg.start_s + by_s,
            end_s=leg.end_s + by_s,
            count=later(leg.count),
            runs={side: later(line) for side, line in leg.runs.items()},
        )
        for leg in legs
    )


class _Layer:
    def __init__(self, routine: Routine, hands: Hands, rng: Generator) -> None:
        self.routine, self.hands, self.rng = routine, hands, rng
        self.legs: list[Leg] = []
        self.now_s = 0.0

    def lay(self, step: Step) -> None:
        if step.piece < 0:
            start, end = self.now_s, self.now_s + step.lasts_s
            self._add(Leg(step, None, start, start, end, 0.0, 0.0, how="stand"))
        elif step.halt is None:
            self._play(step)
        else:
            self._play(replace(step, to_beat=step.halt.beat, halt=None))
            self._halt(step, step.halt.stands_s)

    def _add(self, leg: Leg) -> None:
        if self.legs:
            self.legs[-1] = replace(self.legs[-1], end_s=leg.start_s)
        self.legs.append(leg)
        self.now_s = leg.end_s

    def _play(self, step: Step) -> None:
        piece = self.routine.pieces[step.piece]
        flows = self._flowing(step, piece)
        planned, start = self._begins_at(step, piece, flows)
        count = self._count(step, piece, flows, start)
        runs = {
            side: self._run(step, piece, side, flows.get(side), planned, count)
            for side in SIDES
            if piece.plan(side).hand == "runs"
        }
        end = count.when(step.to_beat)
        self._add(
            Leg(step, piece, planned, start, end, step.from_beat, step.to_beat, step.how,
                count, runs, frozenset(runs.keys() - flows.keys()))
        )  # fmt: skip

    def _begins_at(
        self, step: Step, piece: Piece, flows: dict[Side, MotionLine]
    ) -> tuple[float, float]:
        """When the step should begin by the count so far, and when it does.

        A record that runs on begins it as its first beat comes by; one started anew, as exactly as
        the hand lets go; a count on the clock, on time.
        """
        if piece.count in flows:
            passes = flows[piece.count].when(self._wants(piece, step, piece.count))
            return passes, passes
        if piece.count == "clock" or step.how == "needle":
            return self.now_s, self.now_s
        let_go = self.now_s + self.hands.timing_s(self.rng, self.now_s)
        return self.now_s, max(let_go, self.legs[-1].start_s + _LEAST_LEG_S)

    def _count(
        self, step: Step, piece: Piece, flows: dict[Side, MotionLine], start_s: float
    ) -> MotionLine:
        """The beats over time."""
        rate, gain = self._rate(step, piece, flows, start_s)
        if step.how == "needle":
            before = self.legs[-1]
            rate, gain = before.count.rate_at(start_s) * before.beat_s, 0.0
        return MotionLine(start_s, step.from_beat, rate / piece.beat_s, gain / piece.beat_s)

    def _flowing(self, step: Step, piece: Piece) -> dict[Side, MotionLine]:
        """The records that run on into the step by themselves, with the lines they are on."""
        flows = {}
        for side in SIDES:
            ran = self._ran_last(side)
            if ran is not None and self._takes_over(ran, step, piece, side):
                flows[side] = ran.runs[side]
        return flows

    def _ran_last(self, side: Side) -> Leg | None:
        """The leg in which a record last ran, if it has only rested since."""
        for leg in reversed(self.legs):
            if leg.piece is None or side in leg.runs:
                return leg if side in leg.runs else None
            if leg.plan(side).hand != "rests":
                return None
        return None

    def _takes_over(self, ran: Leg, step: Step, piece: Piece, side: Side) -> bool:
        """Whether a record that ran in a leg is, let run, where the step wants it."""
        if piece.plan(side).hand != "runs" or ran.piece is None:
            return False
        rested = self.legs[self.legs.index(ran) + 1 :]
        if step.how == "needle" and side != piece.count and not rested:
            return True
        rests_s = sum((leg.to_beat - leg.from_beat) * leg.beat_s for leg in rested)
        goes = goes_on(ran.piece, ran.to_beat, piece, step.from_beat, side, rests_s=rests_s)
        arrives_s = ran.runs[side].when(self._wants(piece, step, side))
        return goes and abs(arrives_s - self.now_s) < _LATE_S

    def _unheard(self, step: Step) -> MotionLine | None:
        """The line of a record that is let run through a set piece it rests in, to its next cue."""
        for side in SIDES:
            move = next_change(self.routine, side, step.piece)
            ran = self._ran_last(side)
            rests = self.routine.pieces[step.piece].plan(side).hand == "rests"
            if rests and ran is not None and move is not None and move.way == "runs on":
                return ran.runs[side]
        return None

    def _wants(self, piece: Piece, step: Step, side: Side) -> float:
        return (piece.plan(side).cue_s or 0.0) + step.from_beat * piece.beat_s

    def _rate(
        self, step: Step, piece: Piece, flows: dict[Side, MotionLine], start_s: float
    ) -> tuple[float, float]:
        """Speed of the record with the count, and how it drifts, within the pitch fader's reach."""
        reach = self.routine.turntable.pitch_range_percent / 100.0
        error, match, drift = (
            percent / 100.0 * self.rng.standard_normal()
            for percent in (
                self.hands.pitch_error_percent,
                self.hands.match_error_percent,
                self.hands.pitch_drift_percent,
            )
        )
        if piece.count in flows:
            rate = flows[piece.count].rate_at(start_s)
        elif beside := next(iter(flows.values()), None) or self._unheard(step):
            rate = beside.rate_at(start_s) * (1.0 + match)
        else:
            rate = 1.0 + error
        rate = min(max(rate, 1.0 - reach), 1.0 + reach)
        drift = min(max(drift, 1.0 - reach - rate), 1.0 + reach - rate)
        # The change is spread over the time the record takes at its mean speed.
        way_s = max(1.0, (step.to_beat - step.from_beat) * piece.beat_s)
        return rate, drift * (rate + 0.5 * drift) / way_s

    def _run(
        self,
        step: Step,
        piece: Piece,
        side: Side,
        flowing: MotionLine | None,
        planned_s: float,
        count: MotionLine,
    ) -> MotionLine:
        """The line of one record: run on, the count's own, or started anew beside the count."""
        rate, gain = count.rate * piece.beat_s, count.gain * piece.beat_s
        if flowing is not None:
            return MotionLine(count.t0_s, flowing.at(count.t0_s), flowing.rate_at(count.t0_s), gain)
        wants = self._wants(piece, step, side)
        if side == piece.count:
            return MotionLine(count.t0_s, wants, rate, gain)
        match = 1.0 + self.hands.match_error_percent / 100.0 * self.rng.standard_normal()
        let_go = planned_s + self.hands.timing_s(self.rng, planned_s)
        let_go = max(let_go, self.legs[-1].start_s + _LEAST_LEG_S)
        return MotionLine(let_go, wants, rate * match, gain)

    def _halt(self, step: Step, stands_s: float) -> None:
        """Brake, stand, spin up, and go on from where the record then is."""
        counted = self.legs[-1].piece.count if self.legs[-1].piece else "clock"
        if counted == "clock":
            raise ValueError("only a platter that carries the count can halt it")
        rate = self.legs[-1].runs[counted].rate_at(self.now_s)
        self._slide(step, counted, "brake", rate, -rate / MOTOR_STOP_S, MOTOR_STOP_S)
        self._slide(step, counted, "stand", 0.0, 0.0, stands_s)
        self._slide(step, counted, "spin up", 0.0, rate / MOTOR_START_S, MOTOR_START_S)
        self._slide(step, counted, "flow", rate, 0.0, None)

    def _slide(
        self, step: Step, counted: Side, how: How, rate: float, gain: float, lasts_s: float | None
    ) -> None:
        """One part of a halt; the deck across, if it runs, is not touched by it."""
        before, start = self.legs[-1], self.now_s
        beat_s = before.beat_s
        count = MotionLine(start, before.count.at(start), rate / beat_s, gain / beat_s)
        end = count.when(step.to_beat) if lasts_s is None else start + lasts_s
        runs = {counted: MotionLine(start, before.runs[counted].at(start), rate, gain)}
        across = other_side(counted)
        if across in before.runs:
            runs[across] = before.runs[across]
        part = replace(step, marks=())
        self._add(
            Leg(part, before.piece, start, start, end, count.x0, count.at(end), how, count, runs)
        )
