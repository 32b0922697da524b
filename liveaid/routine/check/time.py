"""How long the routine takes against its limit, and where nothing sounds."""

from __future__ import annotations

import math
from collections.abc import Iterator

from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import Routine, Works, clock_time

SHORT_SHARE = 0.8
"""A routine that uses less of its limit than this gives time away."""


def judge_time(routine: Routine) -> Iterator[Finding]:
    """Total length against the limit, with the pitch at which it would just fit."""
    total, limit = routine.duration_s, routine.limit_s
    length = minutes(total)
    if limit is None:
        yield found(
            routine, "remark", "time", f"the routine takes {length}; no limit is set",
            "`limit:` says how long the set may be", numbers={"total_s": total},
        )  # fmt: skip
        return
    spare = limit - total
    figures = {"total_s": total, "limit_s": limit, "spare_s": spare}
    if spare < 0:
        faster = 100.0 * (total / limit - 1.0)
        within = faster <= routine.turntable.pitch_range_percent
        out = f"cut {math.ceil(_bars(routine, -spare))} bars"
        out += f", or play all of it {faster:.1f} % faster" if within else ""
        says = f"the routine takes {length}, {-spare:.1f} s over the limit of {minutes(limit)}"
        yield found(routine, "error", "time", says, out, numbers=figures)
        return
    slower = 100.0 * spare / limit
    says = f"the routine takes {length} of {minutes(limit)}: {spare:.1f} s to spare"
    if slower < 2.0:
        says += f"; played {slower:.1f} % slow it would be over"
        out = "a bar or two less would leave room for a slow evening"
        yield found(routine, "warning", "time", says, out, numbers=figures)
    elif total < SHORT_SHARE * limit:
        out = f"{math.floor(_bars(routine, spare))} more bars would fit"
        yield found(routine, "remark", "time", says, out, numbers=figures)
    else:
        yield found(routine, "remark", "time", says, numbers=figures)


def judge_silence(routine: Routine) -> Iterator[Finding]:
    """Dead air: set pieces in which both decks rest, and gaps between written strokes."""
    for index, piece in enumerate(routine.pieces):
        plans = [piece.plan(side) for side in piece.sounding]
        if not plans:
            yield _dead_air(routine, index, 0.0, float(routine.beats(index)))
        elif all(plan.placed and plan.stroke_beats for plan in plans):
            yield from _gaps(routine, index, [plan for plan in plans if isinstance(plan, Works)])


def _gaps(routine: Routine, index: int, plans: list[Works]) -> Iterator[Finding]:
    """Stretches of a bar or more in which every span let go has played out."""
    heard_until, end = 0.0, float(routine.beats(index))
    played = sorted(
        (stroke, stroke + (plan.span_s or 0.0) / routine.pieces[index].beat_s)
        for plan in plans
        for stroke in plan.stroke_beats
    )
    for start, stop in [*played, (end, end)]:
        if start - heard_until >= routine.metre:
            yield _dead_air(routine, index, heard_until, start)
        heard_until = max(heard_until, stop)


def _dead_air(routine: Routine, index: int, start: float, end: float) -> Finding:
    beats = end - start
    seconds = beats * routine.pieces[index].beat_s
    long = beats > routine.metre
    return found(
        routine, "warning" if long else "remark", "time",
        f"dead air: nothing sounds for {beats:.3g} beats ({seconds:.1f} s)",
        "let a record run through, or keep it to a bar as a break" if long else "", piece=index,
        beat=start, numbers={"beats": beats, "seconds": seconds},
    )  # fmt: skip


def _bars(routine: Routine, seconds: float) -> float:
    """Bars of the last set piece in so many seconds."""
    return seconds / (routine.metre * routine.pieces[-1].beat_s)


def minutes(seconds: float) -> str:
    """Seconds as ``m:ss``, with a tenth where there is one."""
    return clock_time(seconds, digits=1)
