"""One set piece of a take, with everything it is judged by: what was heard, what was planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from liveaid.practice.delays import Clock
from liveaid.practice.hear import Release, near, releases, strokes, takes_of_hand
from liveaid.practice.motion import Motion, motion
from liveaid.practice.planned_acts import LET_GO, Planned, runs_on
from liveaid.practice.trace import Trace
from liveaid.practice.visits import Visit
from liveaid.routine import SIDES, Piece, Routine, Runs, Side, Works
from liveaid.routine.acts import written_out

NEAR_CUE_S = 0.30
"""A record let go within this of a cue, in seconds of record, was meant for it."""
_TURNS_OFF = (0, -1, 1, -2, 2)
"""A record set by its sticker alone is out by whole turns (common practice, no source)."""
_START_WINDOW_BEATS = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class DeckActs:
    """What was heard of one deck over a take."""

    releases: list[Release]
    taken_s: list[float]
    """When the hand took the running record."""
    motion: Motion


@dataclass(frozen=True, slots=True)
class Due:
    """When a set piece's first beat was to be, what told so, and how fast the count went there."""

    at_s: float
    by: Clock
    speed: float = 1.0
    """Against the map's tempo: that of a record that carried the count."""


@dataclass(frozen=True, slots=True)
class Start:
    """When a started record was at its cue, and how many turns beyond it it was let go."""

    at_s: float
    turns_off: int = 0


def deck_acts(trace: Trace, routine: Routine) -> dict[Side, DeckActs]:
    """Every act of both hands that a take's positions tell."""
    reach = routine.turntable.pitch_range_percent
    motions = {side: motion(trace[side], pitch_range_percent=reach) for side in SIDES}
    return {side: DeckActs(releases(m), takes_of_hand(m), m) for side, m in motions.items()}


@dataclass(frozen=True, slots=True, eq=False)
class Attempt:
    """One visit of one set piece."""

    routine: Routine
    visit: Visit
    decks: Mapping[Side, DeckActs]
    plan: tuple[Planned, ...]
    """The set piece's planned acts."""
    due: Due | None
    """None where nothing told when it was to begin."""

    @property
    def piece(self) -> Piece:
        """The set piece."""
        return self.routine.pieces[self.visit.piece]

    @property
    def beats(self) -> float:
        """How many beats it has."""
        return float(self.routine.beats(self.visit.piece))

    @property
    def beat_s(self) -> float:
        """A beat at pitch 0."""
        return self.piece.beat_s

    @property
    def whole(self) -> bool:
        """Whether it was played to its end."""
        return self.beats - self.visit.to_beat < 1.0

    def cue_s(self, side: Side) -> float:
        """Where a record stands to be let go."""
        return self.piece.plan(side).cue_s or 0.0

    def start(self, side: Side) -> Start | None:
        """When a record that is started in this set piece was at its cue; None when not heard.

        A record let go whole turns beside its cue counts too, where none was let go at it.
        """
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Runs) or plan.at_s is None or visit.from_beat > 1.0:
            return None
        if runs_on(self.routine, visit.piece, side) and visit.piece > 0 and self.due is not None:
            return None
        about = visit.start_s if self.due is None else self.due.at_s
        for turns in _TURNS_OFF:
            cue_s = plan.at_s + turns * self.routine.turntable.turn_s
            times = [
                one.line.when(cue_s)
                for one in near(self.decks[side].releases, cue_s, within_s=NEAR_CUE_S)
            ]
            times = [t for t in times if abs(t - about) <= _START_WINDOW_BEATS * self.beat_s]
            if times:
                return Start(min(times, key=lambda time: abs(time - about)), turns)
        return None

    def is_let_go(self, side: Side) -> bool:
        """Whether a record is to be let go at all: what looks so where acts that are written out
        let none go is a slow push."""
        if not written_out(self.piece, side):
            return True
        return any(act.side == side and act.kind in LET_GO for act in self.plan)

    def turns_off(self, side: Side) -> int:
        """Whole turns by which a worked record was beside its place all through the visit; 0 also
        where little or nothing was done there. Acts that are written out are told by their time."""
        if written_out(self.piece, side):
            return 0
        if self._done(side, 0):
            return 0
        asked = sum(a.side == side and a.kind in (*LET_GO, "stroke") for a in self.plan)
        turned = (turns for turns in _TURNS_OFF if 2 * self._done(side, turns) >= asked > 0)
        return next(turned, 0)

    def _done(self, side: Side, turns: int) -> int:
        """How much was done with a worked record so many turns beside its place."""
        return len(self._let_go(side, turns) if self.piece.is_juggle else self._pushed(side, turns))

    def let_go(self, side: Side) -> list[Release]:
        """Releases of a worked record from its cue, or whole turns beside it, within the visit."""
        return self._let_go(side, self.turns_off(side))

    def _let_go(self, side: Side, turns: int) -> list[Release]:
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Works):
            return []
        low, high = visit.start_s - 0.5 * self.beat_s, visit.end_s - 0.2 * self.beat_s
        return [
            one
            for one in self.decks[side].releases
            if abs(one.from_s - self._place_s(one, side, turns)) <= NEAR_CUE_S
            and low <= one.line.when(self._place_s(one, side, turns)) <= high
        ]

    def _place_s(self, one: Release, side: Side, turns: int) -> float:
        """Where a release was meant to be from: the cue, or the nearest written act's place, so
        many turns beside it."""
        off_s = turns * self.routine.turntable.turn_s
        if not written_out(self.piece, side):
            return self.cue_s(side) + off_s
        places = [
            act.cue_s + off_s
            for act in self.plan
            if act.side == side and act.kind in LET_GO and act.cue_s is not None
        ]
        return min(places, key=lambda at: abs(at - one.from_s), default=self.cue_s(side) + off_s)

    def let_go_s(self, side: Side) -> list[float]:
        """When those records were at their cue, in order."""
        turns = self.turns_off(side)
        return sorted(
            one.line.when(self._place_s(one, side, turns)) for one in self._let_go(side, turns)
        )

    def taken_s(self, side: Side) -> list[float]:
        """When the hand took the running record, about the visit."""
        low = self.visit.start_s - 0.5 * self.beat_s
        high = self.visit.end_s + 1.5 * self.beat_s
        return [t for t in self.decks[side].taken_s if low <= t <= high]

    def pushed_s(self, side: Side) -> list[float]:
        """When each push forward in the worked span, or whole turns beside it, began."""
        return self._pushed(side, self.turns_off(side))

    def _pushed(self, side: Side, turns: int) -> list[float]:
        plan, visit = self.piece.plan(side), self.visit
        if not isinstance(plan, Works):
            return []
        off_s = turns * self.routine.turntable.turn_s
        low = (plan.from_s or 0.0) + off_s - NEAR_CUE_S
        high = (plan.to_s or 0.0) + off_s + NEAR_CUE_S
        found = strokes(
            self.decks[side].motion,
            start_s=visit.start_s - 0.25 * self.beat_s,
            end_s=visit.end_s - 0.02,
        )
        return [s.at_s for s in found if low <= s.from_s and s.from_s + s.way_s <= high]
