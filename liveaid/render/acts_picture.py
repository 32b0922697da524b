"""Acts drawn small, for the sheet: the record's place over time, the fader beneath it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape
from typing import Any

from liveaid.routine import Routine
from liveaid.routine.coming import calls, drawn
from liveaid.routine.timeline import pick_up_beats

BEAT = 36.0
"""Width of a beat in the picture's own units."""
HIGH, GAP, FADER = 60.0, 6.0, 7.0
BARS_A_ROW = 4


def acts_pictures(routine: Routine, index: int) -> str:
    """Every worked deck of a set piece whose acts are written out, in rows of a few bars; or ''."""
    rows = []
    for side, lines in drawn(routine, index).items():
        for first, last in _rows(routine, index):
            rows.append(_row(routine, index, side, lines, first, last))
    return "".join(rows)


def _rows(routine: Routine, index: int) -> Iterator[tuple[int, int]]:
    """From and to which beat each row goes; the first begins with the pick-up."""
    row, beats = BARS_A_ROW * routine.metre, routine.beats(index)
    for first in range(0, beats, row):
        early = 0 if first else math.ceil(pick_up_beats(routine, index))
        yield first - early, min(first + row, beats)


def _row(
    routine: Routine, index: int, side: str, lines: dict[str, Any], first: int, last: int
) -> str:
    """A few bars of one deck: up is forward on the record, a block beneath is the open fader."""
    tallest = max((turns for _, turns in lines["line"]), default=0.0) or 1.0
    points = " ".join(
        f"{(beat - first) * BEAT:.1f},{HIGH * (1.0 - turns / tallest):.1f}"
        for beat, turns in lines["line"]
        if first - 1e-6 <= beat <= last + 1e-6
    )
    marks = "".join(
        f'<path class="{"bar" if beat % routine.metre == 0 else "beat"}" '
        f'd="M{(beat - first) * BEAT:.1f} 0V{HIGH + GAP + FADER:.1f}"/>'
        for beat in range(first, last + 1)
    )
    opened = "".join(
        f'<rect x="{(max(start, first) - first) * BEAT:.1f}" y="{HIGH + GAP:.1f}" '
        f'width="{(min(end, last) - max(start, first)) * BEAT:.1f}" height="{FADER:g}"/>'
        for start, end in lines["open"]
        if end > first and start < last
    )
    names = "".join(
        f'<text x="{(call.beat - first) * BEAT + 2:.1f}" y="{HIGH + GAP + FADER + 11:.1f}">'
        f"{escape(' '.join(filter(None, (call.act, call.part))))}</text>"
        for call in calls(routine, index)
        if call.side == side and first <= call.beat < last
    )
    width, high = (last - first) * BEAT, HIGH + GAP + FADER + 16
    about = (
        f"{side} record, bars {max(first, 0) // routine.metre + 1} to {-(-last // routine.metre)}:"
        " its place over time, the open fader beneath"
    )
    return (
        f'<svg class="acts" viewBox="-2 -2 {width + 4:g} {high:g}" role="img" '
        f'aria-label="{escape(about)}">{marks}<polyline points="{points}"/>{opened}{names}</svg>'
    )
