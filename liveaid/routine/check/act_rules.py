"""Whether the acts of every set piece can be played, and up to which tempo."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from liveaid.routine.check.demands import Demand, WorkedDemand, tightest, worked
from liveaid.routine.check.findings import Finding, found
from liveaid.routine.check.stroke_rules import (
    judge_brought,
    judge_reach_of_strokes,
    judge_rows,
    judge_stroke_times,
)
from liveaid.routine.check.together import (
    both_heard,
    judge_fader,
    judge_let_go,
    judge_pitch,
    judge_two_hands,
)
from liveaid.routine.model import SIDES, Routine
from liveaid.routine.written_numbers import number_text

MOST_TOLD = 3
"""So many of one kind in one set piece are told; the rest are counted."""


def demands_of(routine: Routine, piece: int) -> tuple[Demand, ...]:
    """Everything the acts of one set piece ask of the hands, by beat."""
    return tuple(sorted(_demands(worked(routine, piece)), key=lambda each: each.beat))


def _demands(at: WorkedDemand) -> Iterator[Demand]:
    for side in SIDES:
        yield from judge_stroke_times(at, side)
        yield from judge_reach_of_strokes(at, side)
        yield from judge_rows(at, side)
        yield from judge_brought(at, side)
        yield from judge_fader(at, side)
        yield from judge_pitch(at, side)
    yield from judge_let_go(at)
    yield from judge_two_hands(at)


def judge_acts(routine: Routine) -> Iterator[Finding]:
    """What cannot be played, and what only just can, with beats, what it needs and what it has."""
    for piece in range(len(routine.pieces)):
        demands = demands_of(routine, piece)
        for verdict in ("impossible", "tight"):
            yield from _told(routine, [each for each in demands if each.verdict == verdict])
        yield from _over_each_other(routine, piece)


def _told(routine: Routine, demands: list[Demand]) -> Iterator[Finding]:
    """The worst few of each kind, the rest counted."""
    for kind in dict.fromkeys(demand.kind for demand in demands):
        alike = [demand for demand in demands if demand.kind == kind]
        alike.sort(key=lambda each: each.has / each.needs if each.needs else math.inf)
        for number, demand in enumerate(alike[:MOST_TOLD]):
            more = len(alike) - MOST_TOLD if number == MOST_TOLD - 1 else 0
            yield _finding(routine, demand, more)


def _finding(routine: Routine, demand: Demand, more: int) -> Finding:
    unit = "" if demand.unit == "%" else " "
    needs, has = _apart(demand.needs, demand.has)
    says = f"beat {_beat(routine, demand.beat)}: {demand.says};"
    says += f" needs {needs}{unit}{demand.unit}, has {has}{unit}{demand.unit}"
    says += f"; {more} more like it" if more > 0 else ""
    return found(
        routine, "error" if demand.verdict == "impossible" else "warning", "acts", says,
        demand.way_out, piece=demand.piece, beat=demand.beat, side=demand.side,
        numbers={"beat": demand.beat, "needs": demand.needs, "has": demand.has},
    )  # fmt: skip


def _apart(needs: float, has: float) -> tuple[str, str]:
    """Both to a hundredth, or finer where they would look alike and are not."""
    alike = f"{needs:.2f}" == f"{has:.2f}" and abs(needs - has) >= 5e-4
    digits = 3 if alike else 2
    return f"{needs:.{digits}f}", f"{has:.{digits}f}"


def _over_each_other(routine: Routine, piece: int) -> Iterator[Finding]:
    at = worked(routine, piece)
    heard = both_heard(at)
    if not heard:
        return
    beats = sum(end - start for start, end in heard)
    start = heard[0][0]
    yield found(
        routine, "warning", "acts",
        f"beat {_beat(routine, start)}: both records are heard over each other, {beats:.3g} beats"
        " in all",
        "end the one where the other comes in, if it is not meant",
        piece=piece, beat=start, numbers={"beat": start, "beats": beats},
    )  # fmt: skip


def _beat(routine: Routine, beat: float) -> str:
    """A beat as the performer counts it: in its bar, from 1; a pick-up by how long before."""
    if beat < 0.0:
        return f"-{number_text(-beat)}"
    return f"{beat % routine.metre + 1.0:.3g}"


@dataclass(frozen=True, slots=True)
class Fastest:
    """The highest tempo at which one set piece can still be played, and what sets it."""

    piece: int
    name: str
    tempo_bpm: float
    """As written."""
    fastest_bpm: float | None
    """None: no act of it depends on tempo."""
    demand: Demand | None
    within_pitch: bool
    """Whether the pitch fader reaches that tempo from the written one."""

    def to_json(self) -> dict[str, Any]:
        """Plain data; `piece` from 0."""
        return {
            "piece": self.piece,
            "name": self.name,
            "tempo": self.tempo_bpm,
            "fastest": None if self.fastest_bpm is None else round(self.fastest_bpm, 2),
            "within_pitch": self.within_pitch,
            "set_by": self.demand.to_json() if self.demand else None,
        }


def fastest(routine: Routine) -> tuple[Fastest, ...]:
    """Every set piece's highest tempo, in order."""
    return tuple(_fastest(routine, piece) for piece in range(len(routine.pieces)))


def _fastest(routine: Routine, piece: int) -> Fastest:
    at = routine.pieces[piece]
    demand = tightest(demands_of(routine, piece), at.tempo_bpm)
    most = demand.fastest_bpm(at.tempo_bpm) if demand else None
    reach = 1.0 + routine.turntable.pitch_range_percent / 100.0
    within = most is None or most <= at.tempo_bpm * reach
    return Fastest(piece, at.name, at.tempo_bpm, most, demand, within)


def hardness(routine: Routine, piece: int) -> float:
    """How near its acts come to what hands can do: 1 just possible, above it not, 0 none."""
    shares = [
        each.needs / each.has if each.has > 0 else 2.0
        for each in demands_of(routine, piece)
        if each.unit == "s"
    ]
    return min(max(shares, default=0.0), 2.0)
