"""A take held against the plan: which acts were heard when, which were missed, which added."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, TypeAlias

from liveaid.practice.events import (
    EventKind,
    Planned,
    juggle_acts,
    juggled,
    planned_events,
    runs_on,
    written,
)
from liveaid.practice.grid import Grid, grid_of_hands, grid_of_record
from liveaid.practice.hear import Release, near, releases, strokes, takes_of_hand
from liveaid.practice.match import match, match_by_habit
from liveaid.practice.motion import Motion, motion
from liveaid.practice.trace import Trace
from liveaid.routine import SIDES, Routine, Runs, Side, Works, other_side

Outcome: TypeAlias = Literal["heard", "missed", "added", "skipped"]

NEAR_CUE_S = 0.30
"""A record let go within this of a cue, in seconds of record, was meant for it."""
_WINDOW_BEATS: dict[EventKind, float] = {
    "start": 1.0, "release": 0.5, "return": 0.5, "stroke": 0.35, "stop": 1.0,
}  # fmt: skip
"""How far from its beat an act may be and still be that act (tuned on simulated hands that are
60 ms off)."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A set piece as it was gone through: from one beat to another, about when."""

    piece: int
    from_beat: float
    to_beat: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One act of a hand: planned, heard, or both."""

    kind: EventKind
    side: Side
    piece: int
    beat: float
    """Beats from the set piece's start where it was planned, or where it fell when added."""
    outcome: Outcome
    heard_s: float | None = None
    due_s: float | None = None
    """When its beat was; None where nothing told."""
    anchored: bool = True
    """False when the beat was only fitted to what the hands did: then early and late can't be told
    apart, and an error is only one act against the others."""
    beat_s: float = 0.0

    @property
    def error_s(self) -> float | None:
        """Heard less due, above 0 late."""
        if self.outcome != "heard" or self.heard_s is None or self.due_s is None:
            return None
        return self.heard_s - self.due_s

    @property
    def error_beats(self) -> float | None:
        """The same in beats."""
        return None if self.error_s is None else self.error_s / self.beat_s


@dataclass(frozen=True, slots=True)
class Played:
    """One visit assessed."""

    visit: Visit
    acts: tuple[Act, ...]
    grid: Grid | None


def assess(
    routine: Routine,
    trace: Trace,
    visits: Sequence[Visit],
    *,
    counted_in_s: float | None = None,
    stops: bool = True,
) -> list[Played]:
    """Every visit of a take with its acts, in order.

    `counted_in_s` is when the count-in put the first beat, where there was one. `stops` as in
    `planned_events`.
    """
    reach = routine.turntable.pitch_range_percent
    motions = {side: motion(trace[side], pitch_range_percent=reach) for side in SIDES}
    heard = {side: Heard(releases(m), takes_of_hand(m), m) for side, m in motions.items()}
    plan = planned_events(routine, stops=stops)
    played: list[Played] = []
    due_s = counted_in_s
    for place, visit in enumerate(visits):
        before = played[-1] if played else None
        if before is not None:
            due_s = _due(routine, before, visit)
        ear = _Ear(routine, heard, [act for act in plan if act.piece == visit.piece])
        played.append(ear.play(visit, due_s, last=place == len(visits) - 1))
    return played


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What was heard of one deck."""

    releases: list[Release]
    taken_s: list[float]
    motion: Motion


def _due(routine: Routine, before: Played, visit: Visit) -> float | None:
    """When the next set piece's first beat was, by the count of the one before."""
    follows = visit.piece == before.visit.piece + 1
    whole = routine.beats(before.visit.piece) - before.visit.to_beat < 1.0
    if before.grid is None or not (follows and whole) or visit.from_beat > 1.0:
        return None
    return before.grid.when(float(routine.beats(before.visit.piece)))


class _Ear:
    """Assesses one visit of one set piece."""

    def __init__(self, routine: Routine, heard: dict[Side, Heard], plan: Sequence[Planned]) -> None:
        self.routine, self.heard, self.plan = routine, heard, list(plan)

    def play(self, visit: Visit, due_s: float | None, *, last: bool) -> Played:
        self.visit, self.piece = visit, self.routine.pieces[visit.piece]
        self.beat_s = 60.0 / self.piece.tempo_bpm
        starts = {side: self._started(side, due_s) for side in SIDES}
        grid = self._record_grid(starts) or self._hands_grid(due_s)
        if grid is None:
            return Played(visit, tuple(self._unheard(self.plan)), None)
        self.grid, self.due_s = grid, due_s
        if juggled(self.piece) and not written(self.piece):
            self.plan = self._own_turns()
        acts = sorted(self._acts(starts, last=last), key=lambda act: (act.beat, act.side))
        return Played(visit, tuple(acts), grid)

    # --- the count ------------------------------------------------------------------------

    def _started(self, side: Side, due_s: float | None) -> float | None:
        """When a record that is started in this set piece was at its cue; None when not heard."""
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Runs) or plan.at_s is None or visit.from_beat > 1.0:
            return None
        if runs_on(self.routine, visit.piece, side) and visit.piece > 0 and due_s is not None:
            return None
        about = visit.start_s if due_s is None else due_s
        window = 1.5 * self.beat_s
        times = [
            one.line.when(plan.at_s)
            for one in near(self.heard[side].releases, plan.at_s, within_s=NEAR_CUE_S)
        ]
        times = [time for time in times if abs(time - about) <= window]
        return min(times, key=lambda time: abs(time - about), default=None)

    def _record_grid(self, starts: dict[Side, float | None]) -> Grid | None:
        """The count by the deck that carries it, or by the other one where that is not heard."""
        sides = [side for side in SIDES if isinstance(self.piece.plan(side), Runs)]
        for side in sorted(sides, key=lambda side: side != self.piece.count):
            plan = self.piece.plan(side)
            assert isinstance(plan, Runs)
            start = starts[side]
            begins = self.visit.start_s - 0.5 * self.beat_s if start is None else start + 0.03
            grid = grid_of_record(
                self.heard[side].motion,
                at_s=plan.at_s or 0.0,
                tempo_bpm=self.piece.tempo_bpm,
                beats=float(self.routine.beats(self.visit.piece)),
                start_s=begins,
                end_s=self.visit.end_s + 0.5 * self.beat_s,
            )
            if grid is not None:
                return grid
        return None

    def _hands_grid(self, due_s: float | None) -> Grid | None:
        """The count where no deck runs: on from the beat before, bent by what the hands did."""
        visit = self.visit
        inside = [
            one
            for side in SIDES
            for one in self._let_go(side)
            if visit.start_s - self.beat_s <= one.start_s <= visit.end_s
        ]
        lines = [one.line for one in inside if one.end_s - one.start_s > 0.25]
        about_s = due_s if due_s is not None else self._first_act_s(inside)
        acts: list[tuple[float, float]] = [(0.0, about_s)]
        guess: Grid | None = None
        for _ in range(3):
            guess = grid_of_hands(
                start_s=due_s, about_s=about_s, beat_s=self.beat_s,
                beats=self.routine.beats(visit.piece), lines=lines, acts=acts,
            )  # fmt: skip
            acts = self._beats_of(guess) if guess else []
        return guess

    def _first_act_s(self, inside: Sequence[Release]) -> float:
        first = min((one.start_s for one in inside), default=self.visit.start_s)
        return first - round((first - self.visit.start_s) / self.beat_s) * self.beat_s

    def _beats_of(self, grid: Grid) -> list[tuple[float, float]]:
        """Beats and times of what the hands did, for bending the count."""
        pairs: list[tuple[float, float]] = []
        for side in SIDES:
            plan = self.piece.plan(side)
            if not isinstance(plan, Works):
                continue
            times = [one.line.when(plan.cue_s or 0.0) for one in self._let_go(side)]
            planned = [a.beat for a in self.plan if a.side == side and a.kind in _LET_GO]
            if written(self.piece):
                found = match(
                    [grid.when(b) for b in planned], sorted(times), window_s=self._window("release")
                )
                pairs += [(planned[i], sorted(times)[j]) for i, j in found.pairs]
            elif juggled(self.piece):
                pairs += [(float(round(grid.beat_at(t))), t) for t in times]
        beats = float(self.routine.beats(self.visit.piece))
        return [(b, t) for b, t in pairs if 0 <= b < beats]

    def _let_go(self, side: Side) -> list[Release]:
        """Releases of a worked record from its cue within the visit."""
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Works):
            return []
        return [
            one
            for one in near(self.heard[side].releases, plan.cue_s or 0.0, within_s=NEAR_CUE_S)
            if visit.start_s - 0.5 * self.beat_s <= one.line.when(plan.cue_s or 0.0)
            and one.line.when(plan.cue_s or 0.0) <= visit.end_s - 0.2 * self.beat_s
        ]

    # --- the acts -------------------------------------------------------------------------

    def _acts(self, starts: dict[Side, float | None], *, last: bool) -> Iterator[Act]:
        for side in SIDES:
            yield from self._act_group(side, _LET_GO, self._let_go_times(side, starts))
            yield from self._act_group(side, ("return",), self._taken(side), added=False)
            yield from self._act_group(side, ("stroke",), self._strokes(side))
            yield from self._act_group(side, ("stop",), self._taken(side), added=False)

    def _let_go_times(self, side: Side, starts: dict[Side, float | None]) -> list[float]:
        plan, start = self.piece.plan(side), starts[side]
        if isinstance(plan, Runs):
            return [] if start is None else [start]
        if not juggled(self.piece):
            return []
        return sorted(one.line.when(plan.cue_s or 0.0) for one in self._let_go(side))

    def _taken(self, side: Side) -> list[float]:
        low = self.visit.start_s - 0.5 * self.beat_s
        high = self.visit.end_s + 1.5 * self.beat_s
        return [t for t in self.heard[side].taken_s if low <= t <= high]

    def _strokes(self, side: Side) -> list[float]:
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Works) or not any(a.side == side for a in self.plan):
            return []
        if juggled(self.piece):
            return []
        low, high = (plan.from_s or 0.0) - NEAR_CUE_S, (plan.to_s or 0.0) + NEAR_CUE_S
        found = strokes(
            self.heard[side].motion,
            start_s=visit.start_s - 0.25 * self.beat_s,
            end_s=visit.end_s - 0.02,
        )
        return [s.at_s for s in found if low <= s.from_s and s.from_s + s.way_s <= high]

    def _act_group(
        self, side: Side, kinds: tuple[EventKind, ...], times: list[float], *, added: bool = True
    ) -> Iterator[Act]:
        """The planned acts of these kinds on one side, and the times heard for them."""
        planned = [a for a in self.plan if a.side == side and a.kind in kinds]
        planned = [a for a in planned if a.beat >= self.visit.from_beat - 0.5]
        if not planned and not (added and times):
            return
        due = [self._due_s(act) for act in planned]
        window = self._window(planned[0].kind if planned else kinds[-1])
        found = match_by_habit(due, times, window_s=window)
        for i, j in found.pairs:
            # The first start of all, with nothing before it, gives the count: it cannot be off.
            known = None if self._gives_the_count(planned[i]) else due[i]
            yield self._act(planned[i], "heard", heard_s=times[j], due_s=known)
        for i in found.missed:
            gone = planned[i].beat > self.visit.to_beat - 0.25 and not self._whole()
            yield self._act(planned[i], "skipped" if gone else "missed", due_s=due[i])
        for j in found.added if added else ():
            yield self._extra(side, kinds[-1], times[j])

    def _gives_the_count(self, act: Planned) -> bool:
        runs = act.kind == "start" and isinstance(self.piece.plan(act.side), Runs)
        return runs and self.due_s is None and act.side == self.piece.count

    def _due_s(self, act: Planned) -> float:
        """A started record answers to the count before it; all else to the set piece's own."""
        starts = act.kind == "start" and isinstance(self.piece.plan(act.side), Runs)
        return self.due_s if starts and self.due_s is not None else self.grid.when(act.beat)

    def _act(self, act: Planned, outcome: Outcome, **times: float | None) -> Act:
        return Act(
            kind=act.kind, side=act.side, piece=act.piece, beat=act.beat, outcome=outcome,
            beat_s=self._beat_s_at(act.beat), anchored=self.grid.anchored, **times,
        )  # fmt: skip

    def _extra(self, side: Side, kind: EventKind, time_s: float) -> Act:
        beat = self.grid.beat_at(time_s)
        return Act(
            kind=kind, side=side, piece=self.visit.piece, beat=beat, outcome="added",
            heard_s=time_s, beat_s=self._beat_s_at(beat),
        )  # fmt: skip

    def _beat_s_at(self, beat: float) -> float:
        return self.grid.when(beat + 1.0) - self.grid.when(beat)

    def _window(self, kind: EventKind) -> float:
        return _WINDOW_BEATS[kind] * self.beat_s

    def _whole(self) -> bool:
        """Whether the set piece was played to its end."""
        return self.routine.beats(self.visit.piece) - self.visit.to_beat < 1.0

    def _unheard(self, plan: Sequence[Planned]) -> Iterator[Act]:
        for act in plan:
            outcome: Outcome = (
                "missed" if self.visit.from_beat <= act.beat <= self.visit.to_beat else "skipped"
            )
            yield Act(
                kind=act.kind, side=act.side, piece=act.piece, beat=act.beat, outcome=outcome,
                beat_s=self.beat_s,
            )  # fmt: skip

    # --- a juggle the map does not write out ----------------------------------------------

    def _own_turns(self) -> list[Planned]:
        """What the hands must have meant: each release on its nearest beat, decks taking turns.

        Where one deck comes twice with two beats or more between, and turns alternate otherwise,
        the other deck's turn half-way between was left out.
        """
        turns = sorted(
            (float(round(self.grid.beat_at(one.line.when(self._cue(side))))), side)
            for side in SIDES
            for one in self._let_go(side)
        )
        beats = float(self.routine.beats(self.visit.piece))
        turns = [(beat, side) for beat, side in turns if 0 <= beat < beats]
        kept = [act for act in self.plan if act.kind not in _LET_GO]
        return kept + list(juggle_acts(self.piece, self.visit.piece, _alternating(turns), beats))

    def _cue(self, side: Side) -> float:
        return self.piece.plan(side).cue_s or 0.0


_LET_GO: tuple[EventKind, ...] = ("start", "release")


def _alternating(turns: list[tuple[float, Side]]) -> list[tuple[float, Side]]:
    """The turns with those put in that the other deck left out."""
    same = [(a, b) for a, b in pairwise(turns) if a[1] == b[1]]
    if len(turns) < 4 or len(same) > 0.4 * (len(turns) - 1):
        return turns
    left_out = [
        (float(round((a[0] + b[0]) / 2)), other_side(a[1])) for a, b in same if b[0] - a[0] >= 2
    ]
    return sorted(turns + left_out)


def moved(played: Played, by_s: float) -> Played:
    """The same visit so much later, for putting a take's clock to zero."""
    visit = replace(
        played.visit, start_s=played.visit.start_s + by_s, end_s=played.visit.end_s + by_s
    )
    return replace(played, visit=visit)
