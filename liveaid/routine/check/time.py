"""How long the routine takes against its limit, and where nothing sounds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain

from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import Routine, Side, Works, clock_time

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
    """Dead air: set pieces in which both decks rest, and gaps between written strokes or acts."""
    heard = [
        [span for side in piece.sounding for span in _heard(routine, index, side)]
        for index, piece in enumerate(routine.pieces)
    ]
    for index, spans in enumerate(heard):
        beats = float(routine.beats(index))
        picked_up = [
            (beats + a, beats + b) for a, b in chain(*heard[index + 1 : index + 2]) if a < 0
        ]
        yield from _gaps(routine, index, [*spans, *picked_up])


def _heard(routine: Routine, index: int, side: Side) -> list[tuple[float, float]]:
    """From and to which beat one deck is heard; throughout where it runs, or the hand is free."""
    piece, plan = routine.pieces[index], routine.pieces[index].plan(side)
    if written_out(piece, side):
        return [span for act in acts_of(routine, index, side) for span in act.open]
    if isinstance(plan, Works) and plan.strokes and plan.span_s is not None:
        lasts = plan.span_s / piece.beat_s
        return [(stroke, stroke + lasts) for stroke in plan.strokes]
    return [(0.0, float(routine.beats(index)))]


def _gaps(routine: Routine, index: int, heard: list[tuple[float, float]]) -> Iterator[Finding]:
    """Stretches of a bar or more in which nothing is heard."""
    heard_until, end = 0.0, float(routine.beats(index))
    for start, stop in [*sorted(heard), (end, end)]:
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
