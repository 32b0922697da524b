"""A take held against the plan: which acts were heard when, which were missed, which added."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from liveaid.practice.act_score import ActScore, Outcome, Played
from liveaid.practice.attempt import Attempt, Due, Start, deck_acts
from liveaid.practice.bar_left_out import bar_left_out
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.counting import counted, counted_by_hands, own_turns
from liveaid.practice.delays import Clock
from liveaid.practice.hand_acts import held_acts
from liveaid.practice.hand_cuts import hand_cuts, openings_of
from liveaid.practice.match import match_by_habit
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.planned_acts import (
    LET_GO,
    SCORED,
    WINDOW_BEATS,
    EventKind,
    Planned,
    planned_events,
    written,
)
from liveaid.practice.trace import Trace
from liveaid.practice.visits import Visit
from liveaid.practice.winds import winds_of
from liveaid.routine import SIDES, Routine, Runs, Side
from liveaid.routine.acts import STROKES, Act, acts_of, written_out
from liveaid.routine.way import changes

ENOUGH_BEATS = 8.0
"""So many last beats of a set piece tell how fast the next is counted (common practice)."""


def assess(
    routine: Routine,
    trace: Trace,
    visits: Sequence[Visit],
    *,
    mixer: Sequence[FaderHeard] = (),
    counted_in_s: float | None = None,
    tempo_part: float = 1.0,
    stops: bool = True,
) -> list[Played]:
    """Every visit of a take with its acts, in order.

    `mixer` is what the faders told meanwhile, as it arrived. `counted_in_s` is when the count-in
    put the first beat, where there was one, at `tempo_part` of the map's tempo. `stops` as in
    `planned_events`. Delays are out of the others already (see delays).
    """
    decks = deck_acts(trace, routine)
    plan = planned_events(routine, stops=stops)
    due = None if counted_in_s is None else Due(counted_in_s, "click", tempo_part)
    played: list[Played] = []
    for visit in visits:
        if played:
            due = _due(routine, played[-1], visit)
        acts = tuple(act for act in plan if act.piece == visit.piece)
        attempt = Attempt(routine, visit, decks, acts, due)
        played.append(_with_cuts(_played(attempt), routine, mixer))
    winds = winds_of(routine, trace, played)
    return [replace(one, winds=winds.get(place, ())) for place, one in enumerate(played)]


def _with_cuts(played: Played, routine: Routine, mixer: Sequence[FaderHeard]) -> Played:
    """The visit with its fader held against its count; as it is where there is none."""
    if played.count is None:
        return played
    faders = hand_cuts(routine, played.visit, played.count.when, mixer)
    cuts = {fader.side: fader.cuts for fader in faders}
    acts = tuple(
        replace(act, openings=openings_of(act.open, mine)) if (mine := cuts.get(act.side)) else act
        for act in played.acts
    )
    return replace(played, faders=faders, acts=acts)


def _due(routine: Routine, before: Played, visit: Visit) -> Due | None:
    """When the next set piece's first beat was, by the count of the one before."""
    beats = float(routine.beats(before.visit.piece))
    follows = visit.piece == before.visit.piece + 1 and visit.from_beat <= 1.0
    whole = beats - before.visit.to_beat < 1.0
    if before.count is None or before.count.by is None or not (follows and whole):
        return None
    return Due(before.count.when(beats), before.count.by, _speed_at_end(routine, before, beats))


def _speed_at_end(routine: Routine, before: Played, beats: float) -> float:
    """How fast the count went in a set piece's last beats, against the map's tempo."""
    assert before.count is not None
    from_beat = max(0.0, beats - ENOUGH_BEATS)
    return before.count.tempo_bpm(from_beat, beats) / routine.pieces[before.visit.piece].tempo_bpm


def _played(attempt: Attempt) -> Played:
    starts = {side: attempt.start(side) for side in SIDES}
    turned = [start.at_s for start in starts.values() if start is not None and start.turns_off]
    if turned:  # who follows by the record's place comes that much too late or too soon
        attempt = replace(attempt, visit=replace(attempt.visit, start_s=min(turned)))
    count = counted(attempt, starts)
    if count is None:
        return Played(attempt.visit, tuple(_unheard(attempt)), None)
    gone: tuple[Planned, ...] = ()
    if attempt.piece.is_juggle and not written(attempt.piece):
        attempt = replace(attempt, plan=own_turns(attempt, count))
    elif (short := bar_left_out(attempt, count, counted_by_hands)) is not None:
        attempt, count, gone = short.attempt, short.count, short.gone
    held = _Held(attempt, count, starts)
    found = [*held.acts(), *(held.left_out(act) for act in gone)]
    found = sorted(_once(found), key=lambda act: (act.beat, act.side))
    return Played(attempt.visit, tuple(_turned(found, attempt)), count)


def _turned(acts: Iterable[ActScore], attempt: Attempt) -> Iterator[ActScore]:
    """The acts, a worked record that was whole turns beside its place named at its first."""
    off = {side: attempt.turns_off(side) for side in SIDES}
    for act in acts:
        turns = off.pop(act.side, 0) if act.outcome == "heard" else 0
        yield replace(act, turns_off=turns) if turns else act


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """A visit's acts held against its count."""

    attempt: Attempt
    count: BeatTimes
    starts: Mapping[Side, Start | None]

    def acts(self) -> Iterator[ActScore]:
        """Every act planned or heard."""
        for side in SIDES:
            if written_out(self.attempt.piece, side):
                yield from self._written(side)
                continue
            taken = self.attempt.taken_s(side)
            yield from self._group(side, LET_GO, self._let_go_s(side))
            yield from self._group(side, ("return",), taken, added=False)
            yield from self._group(side, ("stroke",), self._pushed_s(side))
            yield from self._group(side, ("stop",), taken, added=False)

    def left_out(self, act: Planned) -> ActScore:
        """An act of a bar that was left out as a whole."""
        return self._act(act, "missed")

    def _in_what_was_played(self, act: Act) -> bool:
        low, high = self.count.left_out or (0.0, 0.0)
        return not low <= act.beat < high

    def _written(self, side: Side) -> Iterator[ActScore]:
        """A deck whose acts are written out: each stroke and release by its own place."""
        visit = self.attempt.visit
        written = acts_of(self.attempt.routine, visit.piece, side)
        # A visit that was noticed a little late has its first acts all the same, and its pick-up.
        begins = visit.from_beat <= 0.5
        first = min(written[0].beat, 0.0) if begins and written else visit.from_beat - 0.5
        start_s = min(visit.start_s, self.count.when(first)) if begins else visit.start_s
        for one in held_acts(
            [act for act in written if self._in_what_was_played(act)],
            self.attempt.decks[side], self.count.when, start_s=start_s, end_s=visit.end_s,
            brought=tuple(self._brought(side, written)),
        ):  # fmt: skip
            if one.act is None:
                yield self._extra(side, "stroke", one.at_s or visit.start_s)
                continue
            kind = SCORED[one.act.kind]
            begins = kind == "release" and abs(one.act.beat) < 1e-9
            gone = one.act.beat > visit.to_beat - 0.25 and not self.attempt.whole
            early = one.act.beat < first
            left_out = one.outcome == "missed" and (gone or early)
            yield ActScore(
                kind="start" if begins else kind, side=side, beat=one.act.beat,
                outcome="skipped" if left_out else one.outcome, heard_s=one.at_s, due_s=one.due_s,
                by=self.count.by, beat_s=self._beat_s_at(one.act.beat), open=one.act.open,
                turn_ms=one.turn_ms, longer_percent=one.longer_percent,
                way_turns=self._turns(one.act),
            )  # fmt: skip

    def _brought(self, side: Side, written: Sequence[Act]) -> Iterator[tuple[float, float]]:
        """Before its first act and after its last the record may be on its way by hand."""
        piece = self.attempt.visit.piece
        for way in changes(self.attempt.routine) if written else ():
            if way.side == side and way.by_a_hand and way.after == piece:
                yield -math.inf, self.count.when(written[0].beat)
            if way.side == side and way.by_a_hand and way.before == piece:
                yield self.count.when(written[-1].end_beat), math.inf

    def _turns(self, act: Act) -> float | None:
        """How far a stroke goes; None of what is none."""
        way_s = abs(act.way_s) if act.kind in STROKES else None
        return None if way_s is None else way_s / self.attempt.routine.turntable.turn_s

    def _let_go_s(self, side: Side) -> list[float]:
        start = self.starts[side]
        if isinstance(self.attempt.piece.plan(side), Runs):
            return [] if start is None else [start.at_s]
        return self.attempt.let_go_s(side) if self.attempt.piece.is_juggle else []

    def _pushed_s(self, side: Side) -> list[float]:
        asked = any(act.side == side for act in self.attempt.plan)
        return self.attempt.pushed_s(side) if asked and not self.attempt.piece.is_juggle else []

    def _group(
        self, side: Side, kinds: tuple[EventKind, ...], times: list[float], *, added: bool = True
    ) -> Iterator[ActScore]:
        """The planned acts of these kinds on one side, and the times heard for them."""
        visit = self.attempt.visit
        planned = [a for a in self.attempt.plan if a.side == side and a.kind in kinds]
        planned = [a for a in planned if a.beat >= visit.from_beat - 0.5]
        if not planned and not (added and times):
            return
        due = [self._due_s(act) for act in planned]
        window = WINDOW_BEATS[planned[0].kind if planned else kinds[-1]] * self.attempt.beat_s
        found = match_by_habit(due, times, window_s=window)
        for i, j in found.pairs:
            # The first start of all, with nothing before it, gives the count: it cannot be off.
            known = None if self._gives_the_count(planned[i]) else due[i]
            yield self._act(planned[i], "heard", heard_s=times[j], due_s=known)
        for i in found.missed:
            gone = planned[i].beat > visit.to_beat - 0.25 and not self.attempt.whole
            yield self._act(planned[i], "skipped" if gone else "missed", due_s=due[i])
        for j in found.added if added else ():
            yield self._extra(side, kinds[-1], times[j])

    def _starts_a_record(self, act: Planned) -> bool:
        return act.kind == "start" and isinstance(self.attempt.piece.plan(act.side), Runs)

    def _gives_the_count(self, act: Planned) -> bool:
        counts = act.side == self.count.by
        return self._starts_a_record(act) and self.attempt.due is None and counts

    def _told(self, act: Planned) -> Due | None:
        """A started record answers to the count before it; all else to the set piece's own."""
        return self.attempt.due if self._starts_a_record(act) else None

    def _due_s(self, act: Planned) -> float:
        told = self._told(act)
        return told.at_s if told else self.count.when(act.beat)

    def _act(
        self,
        act: Planned,
        outcome: Outcome,
        *,
        heard_s: float | None = None,
        due_s: float | None = None,
    ) -> ActScore:
        told = self._told(act)
        start = self.starts[act.side] if self._starts_a_record(act) else None
        by: Clock | None = told.by if told else self.count.by
        return ActScore(
            kind=act.kind, side=act.side, beat=act.beat, outcome=outcome,
            heard_s=heard_s, due_s=due_s, by=by, beat_s=self._beat_s_at(act.beat),
            turns_off=start.turns_off if start else 0,
        )  # fmt: skip

    def _extra(self, side: Side, kind: EventKind, time_s: float) -> ActScore:
        beat = self.count.beat_at(time_s)
        return ActScore(
            kind=kind, side=side, beat=beat, outcome="added",
            heard_s=time_s, by=self.count.by, beat_s=self._beat_s_at(beat),
        )  # fmt: skip

    def _beat_s_at(self, beat: float) -> float:
        return self.count.when(beat + 1.0) - self.count.when(beat)


def _once(acts: Sequence[ActScore]) -> Iterator[ActScore]:
    """A missed release counts once: the return it would have asked for goes with it."""
    gone = sorted((a.beat, a.side) for a in acts if a.kind in LET_GO and a.outcome == "missed")
    let_go = sorted((a.beat, a.side) for a in acts if a.kind in LET_GO)
    for act in acts:
        before = [one for one in let_go if one[1] == act.side and one[0] < act.beat]
        lost = act.kind == "return" and act.outcome == "missed" and before and before[-1] in gone
        yield replace(act, outcome="skipped") if lost else act


def _unheard(attempt: Attempt) -> Iterator[ActScore]:
    visit = attempt.visit
    for act in attempt.plan:
        inside = visit.from_beat <= act.beat <= visit.to_beat
        yield ActScore(
            kind=act.kind, side=act.side, beat=act.beat, by=None,
            outcome="missed" if inside else "skipped", beat_s=attempt.beat_s,
        )  # fmt: skip
