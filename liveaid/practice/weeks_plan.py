"""A session's plan: what is practised for how long, in which order, with breaks, and why.

Set pieces and transitions take turns, most to gain first, each for a few minutes, and what is to
gain most comes round again: practice in turns is kept better than one thing at a time (see next).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from liveaid.practice.care import BREAK_S, HANDS_ON_S
from liveaid.practice.next import FULL_TEMPO, Outlook
from liveaid.practice.records import PieceRow
from liveaid.practice.stretch import transition_name
from liveaid.practice.wilson import clean_rate
from liveaid.routine import Routine
from liveaid.routine.written_numbers import so_many

TURN_S = 5 * 60.0
"""One thing's turn (common practice, no source)."""
_IN_TURNS = 3
"""So many things take turns: with more, each comes round too seldom (common practice)."""
_UNTRIED = 0.8
"""What a transition gains that was never practised by itself, beside the set piece it leads to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One thing to do."""

    what: str
    """A stretch's name, or empty in a break."""
    lasts_s: float
    why: str

    @property
    def is_break(self) -> bool:
        """Whether hands are to be off."""
        return not self.what


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticePlan:
    """A session's turns, and which one is on since when."""

    turns: tuple[Turn, ...]
    at: int = 0
    since_s: float | None = None
    """Monotonic second at which this turn began; None before the first."""

    @property
    def turn(self) -> Turn | None:
        """What is on; None when all is done."""
        return self.turns[self.at] if self.at < len(self.turns) else None

    @property
    def says(self) -> str:
        """What is on now, for how long, and why."""
        turn = self.turn
        if turn is None:
            return "All of the plan is done."
        lasts = so_many(round(turn.lasts_s / 60), "minute")
        return f"Now {turn.what or 'a break'}, {lasts}: {turn.why}."

    def begun(self, now: float) -> PracticePlan:
        """The plan with its turn begun at a moment."""
        return replace(self, since_s=now)

    def moved_on(self, now: float) -> PracticePlan:
        """The plan at its next turn."""
        return replace(self, at=min(self.at + 1, len(self.turns)), since_s=now)

    def over(self, now: float) -> bool:
        """Whether the turn's time is up."""
        turn = self.turn
        return turn is not None and self.since_s is not None and now - self.since_s >= turn.lasts_s


def plan_of(
    routine: Routine, found: Outlook, pieces: Sequence[PieceRow], minutes: float
) -> PracticePlan:
    """A plan for so many minutes, breaks in between counted."""
    things = sorted(
        [(one.gain, one.name, one.why) for one in found.standings]
        + list(_transitions(routine, found, pieces)),
        key=lambda thing: -thing[0],
    )[:_IN_TURNS]
    turns: list[Turn] = []
    left_s, hands_on_s, k = 60.0 * minutes, 0.0, 0
    while left_s > 1.0 and things:
        if hands_on_s >= HANDS_ON_S:
            turns.append(Turn(what="", lasts_s=min(BREAK_S, left_s), why="hands off"))
            hands_on_s = 0.0
        else:
            _, name, why = things[k % len(things)]
            turns.append(Turn(what=name, lasts_s=min(TURN_S, left_s), why=why))
            hands_on_s += turns[-1].lasts_s
            k += 1
        left_s -= turns[-1].lasts_s
    return PracticePlan(turns=tuple(turns))


def _transitions(
    routine: Routine, found: Outlook, pieces: Sequence[PieceRow]
) -> list[tuple[float, str, str]]:
    """What each way into a set piece gains, by its own takes, or by where it leads."""
    things = []
    for index in range(len(routine.pieces) - 1):
        name, leads_to = transition_name(routine, index), found.standings[index + 1]
        rows = [r for r in pieces if r.aim == name and r.judged and r.tempo_part >= FULL_TEMPO]
        takes = [all(r.clean for r in group) for _, group in groupby(rows, lambda r: r.take)]
        if takes:
            rate = clean_rate(sum(takes[:20]), len(takes[:20]))
            things.append((1 - rate.low, name, f"{rate.clean} clean of {rate.takes}"))
        elif leads_to.timed and leads_to.takes:
            things.append((_UNTRIED * leads_to.gain, name, "the way into it was never practised"))
    return things
