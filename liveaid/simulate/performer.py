"""One deck through a whole course: which hand does what, leg by leg."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from numpy.random import Generator

from liveaid.record.places import is_there
from liveaid.routine import Routine, Side
from liveaid.routine.acts import Act, written_acts
from liveaid.routine.left import runs_through
from liveaid.routine.way import changes
from liveaid.simulate.acting import play_acts
from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import NEAR_S, DeckHand
from liveaid.simulate.events import Event
from liveaid.simulate.human_hands import Hands
from liveaid.simulate.juggle import juggle
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import scratch
from liveaid.simulate.track import Track
from liveaid.simulate.turns import JuggleTurn, scratch_strokes
from liveaid.simulate.turntable import Record, wind_lasts_s


class DeckCourse:
    """What one deck has to do through a whole course, with the hand that does it."""

    def __init__(
        self,
        side: Side,
        routine: Routine,
        legs: Sequence[Leg],
        turns: Mapping[int, Sequence[JuggleTurn]],
        hands: Hands,
        rng: Generator,
    ) -> None:
        self.side, self.routine, self.legs, self.turns = side, routine, legs, turns
        first = next((cue for leg in legs if (cue := leg.wants_s(side)) is not None), 0.0)
        self.record = Record(
            t_s=legs[0].start_s - 1.0,
            x_s=max(first + hands.cue_s(rng), 0.0),
            turn_s=routine.turntable.turn_s,
        )
        self.hand = DeckHand(side, self.record, hands, routine.performer, rng)

    def play(self) -> tuple[Track, list[Event]]:
        """The record's track from a second before the first leg to one after the last, and the
        acts."""
        for index, leg in enumerate(self.legs):
            does = leg.plan(self.side).hand
            if does == "runs":
                self._runs(leg)
            elif does == "works":
                self._works(index, leg)
            elif index == 0 or self._sounds(index - 1):
                self._rests(index, leg)
        self.record.go_on(self.legs[-1].end_s + 1.0)
        return self.record.track(), self.hand.events

    def _sounds(self, index: int) -> bool:
        return self.legs[index].plan(self.side).hand != "rests"

    def _runs(self, leg: Leg) -> None:
        line = leg.runs[self.side]
        if self.side not in leg.anew:
            self.record.go_on(line.t0_s)
            self.record.follow(line)
        elif leg.how == "needle":
            self.record.put(line.t0_s, line.x0, line)
        elif leg.step.wrong and leg.step.wrong.side == self.side:
            self._runs_from_wrong_cue(leg, line, leg.step.wrong.cue_s, leg.step.wrong.until_beat)
        elif self.record.line is not None and self._runs_on(leg):
            self.record.put(max(line.t0_s, self.record.now_s), line.x0, line)
        else:
            onset = self.hand.start(line)
            self.hand.note(
                "start", leg, leg.from_beat,
                planned_s=leg.planned_s, actual_s=line.t0_s, onset_s=onset, cue_s=line.x0,
            )  # fmt: skip

    def _runs_from_wrong_cue(
        self, leg: Leg, line: MotionLine, cue_s: float, until_beat: float
    ) -> None:
        """The start is missed; what is heard instead is put right at a beat."""
        self.hand.note("start", leg, leg.from_beat, planned_s=leg.planned_s, cue_s=line.x0)
        self.hand.start(MotionLine(line.t0_s, cue_s, line.rate, line.gain))
        right_s = leg.count.when(until_beat)
        right_s += self.hand.timing_s(right_s)
        right_s = max(right_s, self.record.now_s)
        self.record.put(right_s, line.at(right_s), line)

    def _rests(self, index: int, leg: Leg) -> None:
        """Let run for a moment, held, and brought to the next cue; in a pause held on the beat."""
        rng, record = self.hand.rng, self.record
        later = next((i for i in range(index, len(self.legs)) if self._sounds(i)), None)
        until_s = self.legs[-1].end_s if later is None else self._wanted_at_s(later)
        free_s = until_s - leg.start_s
        if record.line and later is not None and self._comes_by_itself(later):
            return
        if record.line and leg.piece is None:
            self._stop(index, leg)
        elif record.line:
            record.take(leg.start_s + min(float(rng.uniform(0.2, 1.2)), 0.15 * free_s))
        cue_s = None if later is None else self._cue_in_mind(leg, later)
        if cue_s is not None:
            held_s = min(float(rng.uniform(0.2, 1.2)), 0.1 * free_s)
            record.go_on(max(record.now_s, leg.start_s) + held_s)
            self.hand.bring_to(cue_s, until_s)

    def _wanted_at_s(self, later: int) -> float:
        """When a later leg wants the record: as it begins, or at its pick-up."""
        leg = self.legs[later]
        acts = self._written_acts(leg)
        return leg.planned_s + min(acts[0].beat if acts else 0.0, 0.0) * leg.beat_s

    def _comes_by_itself(self, later: int) -> bool:
        """Whether the record, let run, is where a later leg wants it: nothing to stop or wind."""
        leg = self.legs[later]
        if leg.plan(self.side).hand == "runs":
            return self.side not in leg.anew
        wants_s = leg.wants_s(self.side)
        if wants_s is None or self.record.line is None or not self._runs_on(leg):
            return False
        return abs(self.record.line.when(wants_s) - leg.start_s) < NEAR_S

    def _runs_on(self, leg: Leg) -> bool:
        """Whether by the record's way it comes into a leg by itself."""
        return (leg.index, self.side) in runs_through(self.routine)

    def _stop(self, index: int, leg: Leg) -> None:
        """Held on the beat at which all stops."""
        meant_s = leg.planned_s + self.hand.timing_s(leg.planned_s)
        taken_s = self.record.take(meant_s)
        before = self.legs[index - 1]
        self.hand.note(
            "stop", before, before.to_beat,
            planned_s=leg.planned_s, actual_s=taken_s, onset_s=taken_s,
        )  # fmt: skip

    def _cue_in_mind(self, leg: Leg, later: int) -> float | None:
        """The cue the performer winds to: the map's next, a wrong one if that is the fault to
        come, or after a pause the one that is really next."""
        wrong = self.legs[later].step.wrong
        if wrong and wrong.side == self.side:
            return wrong.cue_s
        if leg.piece is None:
            return self.legs[later].wants_s(self.side)
        # By the set piece it is for: with a pick-up it is due before that begins.
        mine = (move for move in changes(self.routine) if move.side == self.side)
        return next((move.cue_s for move in mine if move.after > leg.index), None)

    def _works(self, index: int, leg: Leg) -> None:
        """In the span, and away in time when the next set piece wants another cue."""
        if leg.how in ("brake", "stand", "spin up"):
            self.record.take(leg.start_s)
            return
        acts = self._written_acts(leg)
        if acts:
            self._acts(index, leg, acts)
            return
        was_running = self.record.line is not None
        home_s = self._home_s(leg)
        self.hand.to_home(home_s, leg.start_s)
        wanted_s = self._wanted_next_s(index, leg, home_s)
        if leg.juggles:
            juggle(self.hand, leg, self.turns[index], wound_after=wanted_s is not None)
        else:
            until = leg.to_beat
            if wanted_s is not None:
                until -= self._leaves_early_beats(leg, abs(wanted_s - home_s))
                last = _last_stroke(leg, self.side)
                until = max(until, last + 0.7 * (leg.to_beat - last)) if last > 0.0 else until
            first = leg.from_beat + (0.5 if was_running else 0.0)
            found = scratch_strokes(leg, self.side, self.routine.metre, until, self.hand.rng)
            strokes = [stroke for stroke in found if stroke.planned or stroke.beat >= first]
            scratch(self.hand, leg, strokes, until_beat=until, home_s=home_s)
        if wanted_s is not None and self.record.line is None:
            self.hand.bring_to(wanted_s, leg.end_s)

    def _written_acts(self, leg: Leg) -> tuple[Act, ...]:
        """The acts the map writes out for this deck in the leg's set piece."""
        return () if leg.piece is None else written_acts(self.routine, leg.index, self.side)

    def _acts(self, index: int, leg: Leg, acts: tuple[Act, ...]) -> None:
        """The map's own acts, and away in time when the next set piece wants another cue."""
        begins = leg.from_beat if leg.from_beat > 0.0 else min(acts[0].beat, 0.0)
        ahead = [act for act in acts if act.beat >= begins]
        home_s = ahead[0].from_s if ahead else acts[-1].to_s
        self.hand.to_home(home_s, max(leg.count.when(begins), self.record.now_s))
        play_acts(self.hand, leg, acts, until_beat=leg.to_beat)
        wanted_s = self._wanted_next_s(index, leg, self.record.x_s)
        if wanted_s is not None and self.record.line is None:
            self.hand.bring_to(wanted_s, leg.end_s)

    def _home_s(self, leg: Leg) -> float:
        """Where the record stands between strokes: its cue, or the span's start where the cue
        leaves no way forward."""
        plan = leg.worked(self.side)
        cue, start, end = plan.cue_s or 0.0, plan.from_s or 0.0, plan.to_s or 0.0
        return cue if leg.juggles or end - cue >= min(0.1, 0.5 * (end - start)) else start

    def _wanted_next_s(self, index: int, leg: Leg, home_s: float) -> float | None:
        """The cue this deck must stand at as the leg ends, by the map, if it is another."""
        after, following = index + 1, leg.index + 1
        if after >= len(self.legs) or self.legs[after].piece is None or not self._sounds(after):
            return None
        if self.legs[after].how == "brake" or following >= len(self.routine.pieces):
            return None
        cue_s = self.routine.pieces[following].plan(self.side).cue_s
        if cue_s is None or is_there(home_s, cue_s) or self._runs_on(self.legs[after]):
            return None
        return cue_s

    def _leaves_early_beats(self, leg: Leg, way_s: float) -> float:
        """How many beats before the leg's end the hand stops scratching, to be ready in time."""
        wind_s = wind_lasts_s(
            way_s,
            turns_per_s=self.hand.quickness * self.hand.hands.wind_slow_turns_per_s,
            turn_s=self.record.turn_s,
            over_turns=0.2,
        )
        beats = (wind_s + 0.6) / leg.beat_s
        return min(beats if beats <= 4.0 else 1.0, 0.5 * (leg.to_beat - leg.from_beat))


def _last_stroke(leg: Leg, side: Side) -> float:
    """The beat of the last stroke the map asks for in the leg, else the leg's first beat."""
    return max(
        (beat for beat in leg.worked(side).stroke_beats if beat < leg.to_beat),
        default=leg.from_beat,
    )
