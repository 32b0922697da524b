"""Where in a take it was broken off and begun again: a stop, a way back, and a new start.

Between a false start and a good run both records stand for a moment and are wound back. What goes
on from where it stopped was only held up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from liveaid.practice.motion import Phase, motion
from liveaid.practice.trace import Trace
from liveaid.practice.visits import Sure
from liveaid.routine import SIDES, Routine, Side

STOPPED_S = 0.40
"""No record turns by itself for so long: hands that juggle leave less between two turns."""
_STOOD_S = 0.25
"""Both records stand for so long at least somewhere in it."""
_RUN_S = 0.15
"""A record that turns by itself for less is moved by a hand."""
_BACK_S = 0.35
"""A record begun again from so much earlier was brought back, in seconds of record."""
_BACK_BEATS = 1.5
_SOON_S = 8.0
"""How long after a break the follower may take to be sure again."""


@dataclass(frozen=True, slots=True)
class Break:
    """Nothing is played from one moment to the other."""

    start_s: float
    end_s: float


def breaks(routine: Routine, trace: Trace, sures: Sequence[Sure]) -> list[Break]:
    """Every place at which the take was broken off and begun again from earlier, in order."""
    phases = _phases(routine, trace)
    runs = _runs(phases)
    return [
        gap
        for gap in _gaps(runs)
        if _stood_s(phases, gap) >= _STOOD_S and _began_anew(routine, runs, sures, gap)
    ]


def stopped_s(routine: Routine, trace: Trace, end_s: float) -> float:
    """When a take that was begun anew at `end_s` was broken off: as its last record stopped."""
    ends = [
        phase.end_s
        for found in _runs(_phases(routine, trace)).values()
        for phase in found
        if phase.start_s < end_s - STOPPED_S
    ]
    last_s = max(ends, default=end_s)
    return last_s if end_s - last_s >= STOPPED_S else end_s


def _phases(routine: Routine, trace: Trace) -> dict[Side, tuple[Phase, ...]]:
    reach = routine.turntable.pitch_range_percent
    return {
        side: motion(trace[side], pitch_range_percent=reach).phases
        for side in SIDES
        if len(trace[side].now_s)
    }


def _runs(phases: dict[Side, tuple[Phase, ...]]) -> dict[Side, list[Phase]]:
    """When each record turned by itself."""
    return {
        side: [p for p in found if p.does == "runs" and p.end_s - p.start_s >= _RUN_S]
        for side, found in phases.items()
    }


def _gaps(runs: dict[Side, list[Phase]]) -> list[Break]:
    """Stretches in which no record turns by itself."""
    spells = sorted((p.start_s, p.end_s) for found in runs.values() for p in found)
    joined: list[tuple[float, float]] = []
    for start, end in spells:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return [Break(a[1], b[0]) for a, b in pairwise(joined) if b[0] - a[1] >= STOPPED_S]


def _stood_s(phases: dict[Side, tuple[Phase, ...]], gap: Break) -> float:
    """The longest both records stand in a gap."""
    stands = [
        [
            (max(p.start_s, gap.start_s), min(p.end_s, gap.end_s))
            for p in found
            if p.does == "stands" and p.end_s > gap.start_s and p.start_s < gap.end_s
        ]
        for found in phases.values()
    ]
    if len(stands) == 1:
        return max((end - start for start, end in stands[0]), default=0.0)
    left, right = stands
    return max((min(a[1], b[1]) - max(a[0], b[0]) for a in left for b in right), default=0.0)


def _began_anew(
    routine: Routine, runs: dict[Side, list[Phase]], sures: Sequence[Sure], gap: Break
) -> bool:
    """Whether what comes after a gap was there before it."""
    before = next((s for s in reversed(sures) if s.now_s <= gap.start_s + 0.3), None)
    after = next((s for s in sures if gap.end_s + 0.3 < s.now_s < gap.end_s + _SOON_S), None)
    if before is None:
        return False
    back = any(_went_back(found, gap) for found in runs.values())
    if after is None:
        return back and bool(routine.pieces[before.piece].running)
    since_s = after.now_s - gap.end_s
    resumed = after.beats_in(routine) - since_s / after.beat_s
    return before.beats_in(routine) - resumed > _BACK_BEATS


def _went_back(runs: Sequence[Phase], gap: Break) -> bool:
    """Whether a record turns again from where it had been before the gap."""
    before = [p for p in runs if p.end_s <= gap.start_s + 0.01]
    after = [p for p in runs if p.start_s >= gap.end_s - 0.01]
    return bool(before and after) and after[0].from_s < before[-1].to_s - _BACK_S
