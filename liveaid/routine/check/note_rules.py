"""What each note of a melody asks of the pitch fader, or where on the record it lies."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.record.platter import sticker_degrees, turns
from liveaid.routine.acts import Act, acts_of
from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import SIDES, Routine, Works


def judge_notes(routine: Routine) -> Iterator[Finding]:
    """A remark for each melody: its notes, each with per cent and reach, or with its place."""
    reach = routine.turntable.pitch_range_percent
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            plan = piece.plan(side)
            if not isinstance(plan, Works) or plan.notes is None:
                continue
            acts = [act for act in acts_of(routine, index, side) if act.kind != "catch"]
            acts = [act for act in acts if act.written]
            laid = plan.tones == "laid"
            told = {act.figure: _place(routine, act) if laid else _percent(act) for act in acts}
            over = [100.0 * abs(act.speed - 1.0) for act in acts]
            beyond = not laid and max(over, default=0.0) > reach
            yield found(
                routine, "remark", "acts",
                f"{side}'s notes: " + ", ".join(f"{name} {where}" for name, where in told.items()),
                "`tones: laid` has the render lay each note out on the record" if beyond else "",
                piece=index, side=side,
                numbers={"notes": float(len(told)), "most_percent": max(over, default=0.0)},
            )  # fmt: skip


def _percent(act: Act) -> str:
    return f"{100.0 * (act.speed - 1.0):+.2f} %"


def _place(routine: Routine, act: Act) -> str:
    rpm = routine.turntable.rpm
    return f"turn {turns(act.from_s, rpm):.2f}, sticker {sticker_degrees(act.from_s, rpm):.0f}°"
