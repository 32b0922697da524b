"""One hand on one deck through a whole course: the record's track, and the acts that made it."""

from __future__ import annotations

from collections.abc import Sequence

from numpy.random import Generator

from liveaid.routine import Routine, Side
from liveaid.simulate.course import Leg
from liveaid.simulate.events import Event, EventKind
from liveaid.simulate.hands import Hands
from liveaid.simulate.line import Line
from liveaid.simulate.platter import RELEASE_S, Record, wind_lasts_s
from liveaid.simulate.track import Track
from liveaid.simulate.turns import Stroke, Turn, scratch_strokes, worked

_AT_CUE_S = 0.06
"""A record this near its cue, in seconds of record, is let go from where it stands."""
_NEAR_S = 1.5
"""A record this near is moved by hand as the set piece starts; from further it is called up."""
_STROKE_GAP_S = 0.06
"""The least time between two strokes of one hand."""


class DeckHand:
    """Plays one deck leg by leg; `track` and `events` are what came of it."""

    def __init__(
        self,
        side: Side,
        routine: Routine,
        legs: Sequence[Leg],
        turns: dict[int, list[Turn]],
        hands: Hands,
        rng: Generator,
    ) -> None:
        self.side, self.routine, self.legs, self.turns = side, routine, legs, turns
        self.hands, self.rng = hands, rng
        self.events: list[Event] = []
        first = next((x for leg in legs if (x := leg.wants_s(side)) is not None), 0.0)
        self.record = Record(
            t_s=legs[0].start_s - 1.0,
            x_s=first + hands.cue_s(rng),
            turn_s=routine.turntable.turn_s,
        )

    def play(self) -> Track:
        """Go through all legs."""
        for index, leg in enumerate(self.legs):
            hand = leg.plan(self.side).hand
            if hand == "runs":
                self._runs(leg)
            elif hand == "works":
                self._works(index, leg)
            elif index == 0 or self._sounds(index - 1):
                self._rests(index)
        self.record.go_on(self.legs[-1].end_s + 1.0)
        return self.record.track()

    def _sounds(self, index: int) -> bool:
        return self.legs[index].plan(self.side).hand != "rests"

    # --- a record that runs -----------------------------------------------------------------

    def _runs(self, leg: Leg) -> None:
        line = leg.runs[self.side]
        if self.side not in leg.anew:
            self.record.go_on(line.t0_s)
            self.record.follow(line)
        elif leg.how == "needle":
            self.record.put(line.t0_s, line.x0, line)
        elif leg.step.wrong and leg.step.wrong.side == self.side:
            self._start_wrong(leg, line)
        else:
            onset = self._start(line)
            self._note("start", leg, leg.from_beat, leg.planned_s, line.t0_s, onset, line.x0)

    def _start(self, line: Line) -> float:
        """The record runs on the line: let go when it stands at its cue, called up otherwise."""
        record = self.record
        at_cue = record.line is None and abs(record.x_s - line.x0) < _AT_CUE_S
        if at_cue and line.when(record.x_s) - 0.5 * RELEASE_S >= record.now_s:
            return record.let_go(line)[0]
        early_s = self.rng.uniform(0.15, 0.4)
        if record.line is None and line.t0_s - early_s > record.now_s:
            record.put(line.t0_s - early_s, line.x0)
            return record.let_go(line)[0]
        t_s = max(line.t0_s, record.now_s)
        record.put(t_s, line.at(t_s), line)
        return t_s

    def _start_wrong(self, leg: Leg, line: Line) -> None:
        """Started from another cue, and put right at a beat."""
        wrong = leg.step.wrong
        assert wrong is not None
        self._start(Line(line.t0_s, wrong.cue_s, line.rate, line.gain))
        right_s = leg.count.when(wrong.until_beat) + self.hands.timing_s(self.rng)
        self._note("start", leg, leg.from_beat, leg.planned_s, None, None, line.x0)
        self.record.put(right_s, line.at(right_s), line)

    # --- a record that rests ----------------------------------------------------------------

    def _rests(self, index: int) -> None:
        """Let run for a moment, held, and brought to the next cue."""
        leg, record = self.legs[index], self.record
        later = next((i for i in range(index, len(self.legs)) if self._sounds(i)), None)
        until = self.legs[later].planned_s if later is not None else self.legs[-1].end_s
        record.go_on(leg.start_s)
        free_s = until - leg.start_s
        if record.line:
            last = all(other.piece is None for other in self.legs[index:])
            if last or leg.piece is None:
                self._stop(index, leg)
            else:
                record.take(leg.start_s + min(self.rng.uniform(0.2, 1.2), 0.15 * free_s))
        target = self._next_cue(index, later)
        if target is not None:
            pause_s = min(self.rng.uniform(0.2, 1.2), 0.1 * free_s)
            record.go_on(max(record.now_s, leg.start_s) + pause_s)
            self._bring_to(target, until)

    def _stop(self, index: int, leg: Leg) -> None:
        """Held on the beat at which all stops."""
        before = self.legs[index - 1]
        taken = self.record.take(max(leg.planned_s + self.hands.timing_s(self.rng), 0.0))
        self._note("stop", before, before.to_beat, leg.planned_s, taken, taken, None)

    def _next_cue(self, index: int, later: int | None) -> float | None:
        """The cue the performer has in mind: the map's next, or a wrong one, or after a pause
        the one that is really next."""
        leg = self.legs[index]
        if later is None:
            return None
        wrong = self.legs[later].step.wrong
        if wrong and wrong.side == self.side:
            return wrong.cue_s
        if leg.piece is None:
            return self.legs[later].wants_s(self.side)
        found = self.routine.next_cue(self.side, leg.index)
        return found[1] if found else None

    def _bring_to(self, target_s: float, until_s: float) -> None:
        """By winding when there is time, by the needle when that is far, else called up at once."""
        record, rng = self.record, self.rng
        target_s = max(target_s + self.hands.cue_s(rng), 0.0)
        way_s, free_s = target_s - record.x_s, until_s - 0.15 - record.now_s
        if abs(way_s) < 0.01:
            return
        speed, over = self.hands.wind_turns_per_s(rng), float(rng.uniform(0.04, 0.2))
        lasts_s = wind_lasts_s(way_s, turns_per_s=speed, turn_s=record.turn_s, over_turns=over)
        if lasts_s < free_s:
            waver = [float(w) for w in rng.uniform(0.6, 1.4, 5)]
            record.wind(target_s, turns_per_s=speed, over_turns=over, waver=waver)
            return
        needle_s = self.routine.performer.needle_s
        if needle_s + 1.5 < free_s:
            record.put(record.now_s + needle_s, target_s + rng.uniform(-0.8, 0.8) * record.turn_s)
            record.go_on(record.now_s + 0.2)
            record.stroke(target_s, rng.uniform(0.4, 0.9))
            return
        record.put(max(record.now_s, until_s - rng.uniform(0.15, 0.5)), target_s)

    # --- a record that a hand works ---------------------------------------------------------

    def _works(self, index: int, leg: Leg) -> None:
        if leg.how in ("brake", "stand", "spin up"):
            self.record.take(leg.start_s)
            return
        assert leg.piece is not None
        at_once = self.record.line is not None
        home = self._home(leg)
        self._to_home(leg, home)
        target = self._wanted_next(index, home)
        until = leg.to_beat - (0.0 if target is None else self._leave_beats(leg, target, home))
        if leg.juggles:
            self._juggle(leg, self.turns[index], wound_after=target is not None)
        else:
            first = leg.from_beat + (0.5 if at_once else 0.0)
            strokes = scratch_strokes(leg, self.side, self.routine.metre, until, self.rng)
            self._scratch(leg, [s for s in strokes if s.planned or s.beat >= first], until, home)
        if target is not None and self.record.line is None:
            self._bring_to(target, leg.end_s)

    def _home(self, leg: Leg) -> float:
        """Where the record stands between strokes: its cue, or the span's start where the cue
        leaves no way forward."""
        assert leg.piece is not None
        plan = worked(leg.piece, self.side)
        cue, start, end = plan.cue_s or 0.0, plan.from_s or 0.0, plan.to_s or 0.0
        return cue if leg.juggles or end - cue >= min(0.1, 0.5 * (end - start)) else start

    def _to_home(self, leg: Leg, home: float) -> None:
        record = self.record
        record.go_on(leg.start_s)
        if record.line is not None:
            record.take(leg.start_s)
        way = abs(home - record.x_s)
        if way > _NEAR_S:
            record.put(record.now_s, max(home + self.hands.cue_s(self.rng), 0.0))
        elif way > _AT_CUE_S:
            record.stroke(max(home + self.hands.cue_s(self.rng), 0.0), 0.15 + 0.1 * way)

    def _wanted_next(self, index: int, home: float) -> float | None:
        """The cue this deck is wanted at as the leg ends, if another than where it is."""
        leg, after = self.legs[index], index + 1
        if after >= len(self.legs) or self.legs[after].piece is None or not self._sounds(after):
            return None
        following = leg.index + 1
        if leg.how == "brake" or following >= len(self.routine.pieces):
            return None
        cue = self.routine.pieces[following].plan(self.side).cue_s
        return cue if cue is not None and abs(cue - home) > 0.02 else None

    def _leave_beats(self, leg: Leg, target: float, home: float) -> float:
        """How many beats before the leg's end the hand stops scratching, to be ready in time."""
        need_s = 0.6 + wind_lasts_s(
            target - home,
            turns_per_s=self.hands.wind_slow_turns_per_s,
            turn_s=self.record.turn_s,
            over_turns=0.2,
        )
        need = need_s / leg.beat_s
        return min(need if need <= 4.0 else 1.0, 0.5 * (leg.to_beat - leg.from_beat))

    # --- juggling ---------------------------------------------------------------------------

    def _juggle(self, leg: Leg, turns: Sequence[Turn], *, wound_after: bool) -> None:
        """This deck's turns: let go on the beat, taken when the other comes in, brought back.

        After its last turn it is left where it is when it is wound elsewhere next.
        """
        assert leg.piece is not None
        mine = [turn for turn in turns if turn.side == self.side]
        plan = worked(leg.piece, self.side)
        cue, end = plan.cue_s or 0.0, plan.to_s or 0.0
        begins = turns[0].from_beat if turns else 0.0
        for turn, after in zip(mine, [*mine, None][1:], strict=True):
            kind: EventKind = "start" if turn.from_beat == begins else "release"
            planned = leg.count.when(turn.from_beat)
            missed = kind == "release" and self.rng.random() < self.hands.miss_rate
            error_s = self.hands.timing_s(self.rng)
            back_s = leg.count.when(turn.to_beat)
            ends = turn.to_beat < leg.to_beat
            if missed:
                self._note(kind, leg, turn.from_beat, planned, None, None, cue)
                if ends:
                    self._note("return", leg, turn.to_beat, back_s, None, None, cue)
                continue
            rate = leg.count.rate_at(planned) * leg.beat_s
            onset, line = self.record.let_go(Line(planned + error_s, cue, rate))
            self._note(kind, leg, turn.from_beat, planned, line.t0_s, onset, cue)
            out_s = line.when(end) + 0.05
            if ends:
                taken = self.record.take(min(back_s + self.hands.timing_s(self.rng), out_s))
                self._note("return", leg, turn.to_beat, back_s, taken, taken, cue)
            elif out_s < leg.end_s:
                self.record.take(out_s)
            if after or (ends and not wound_after):
                self._pull_back(cue, leg.count.when(after.from_beat) if after else leg.end_s)

    def _pull_back(self, cue: float, until: float) -> None:
        """Brought back to the cue in good time before the next release."""
        lasts_s = min(max(0.45 * (until - self.record.now_s), 0.12), self.rng.uniform(0.22, 0.4))
        self.record.go_on(self.record.now_s + 0.02)
        self.record.stroke(max(cue + self.hands.cue_s(self.rng), 0.0), lasts_s)

    # --- scratching -------------------------------------------------------------------------

    def _scratch(self, leg: Leg, strokes: Sequence[Stroke], until: float, home: float) -> None:
        """Push forward at each beat and come back before the next; now and then let it run."""
        assert leg.piece is not None
        room = max((worked(leg.piece, self.side).to_s or 0.0) - home, 0.02)
        acts = self._acts(leg, strokes, home)
        ends = [*(act_s for act_s, _ in acts), leg.count.when(until)][1:]
        for (begins, stroke), ends_s in zip(acts, ends, strict=True):
            self.record.go_on(begins)
            begins = self.record.now_s
            if stroke is None:
                self._note("stroke", leg, leg.count.at(begins), None, begins, begins, home)
            elif stroke.planned:
                planned = leg.count.when(stroke.beat)
                self._note("stroke", leg, stroke.beat, planned, begins, begins, home)
            self._one_stroke(leg, begins, ends_s, home, room)

    def _acts(
        self, leg: Leg, strokes: Sequence[Stroke], home: float
    ) -> list[tuple[float, Stroke | None]]:
        """When each stroke is to be made, missed ones left out, added ones (None) put in."""
        acts: list[tuple[float, Stroke | None]] = []
        times = [leg.count.when(stroke.beat) for stroke in strokes]
        gaps = [b - a for a, b in zip(times, [*times[1:], *times[-1:]], strict=True)]
        for stroke, planned, gap_s in zip(strokes, times, gaps, strict=True):
            error_s = self.hands.stroke_s(self.rng)
            miss, add = self.rng.random(2)
            if stroke.planned and miss < self.hands.miss_rate:
                self._note("stroke", leg, stroke.beat, planned, None, None, home)
                continue
            earliest = acts[-1][0] + _STROKE_GAP_S if acts else self.record.now_s
            acts.append((max(planned + error_s, earliest), stroke))
            if stroke.planned and add < self.hands.added_rate and gap_s > 0.35:
                acts.append((acts[-1][0] + 0.5 * gap_s, None))
        return acts

    def _one_stroke(self, leg: Leg, begins: float, ends: float, home: float, room: float) -> None:
        record, rng = self.record, self.rng
        gap_s = max(ends - begins, _STROKE_GAP_S)
        rate = leg.count.rate_at(begins) * leg.beat_s
        back_s = float(rng.uniform(0.12, 0.25))
        if gap_s > 0.5 and room > 0.3 and rng.random() < 0.35:
            runs_s = min(room / rate, (gap_s - 0.12) / 1.3) * float(rng.uniform(0.6, 1.0))
            record.let_go(Line(begins + 0.5 * RELEASE_S, record.x_s, rate))
            record.take(begins + runs_s)
        else:
            push_s = min(0.45 * gap_s, float(rng.uniform(0.07, 0.22)))
            way = min(room, 3.5 * push_s) * float(rng.uniform(0.5, 1.0))
            record.stroke(max(home, record.x_s - 0.02) + way, push_s)
        back_s = min(back_s, max(begins + gap_s - record.now_s - 0.005, 0.02))
        record.stroke(max(home + self.hands.cue_s(rng), 0.0), back_s)

    def _note(
        self,
        kind: EventKind,
        leg: Leg,
        beat: float,
        planned_s: float | None,
        actual_s: float | None,
        onset_s: float | None,
        cue_s: float | None,
    ) -> None:
        self.events.append(
            Event(
                kind=kind, side=self.side, piece=leg.index, beat=beat, planned_s=planned_s,
                actual_s=actual_s, onset_s=onset_s, cue_s=cue_s,
            )
        )  # fmt: skip
