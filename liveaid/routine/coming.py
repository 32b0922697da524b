"""The acts to come, in words and as lines to draw: place over time, the fader beneath it. Pure."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, groupby
from typing import Any

import numpy as np

from liveaid.routine.acts import STANDING, Act, acts_of, joined, written_acts, written_out
from liveaid.routine.model import SIDES, Routine, Side
from liveaid.routine.movement import places_s

TOLD = 3
"""So many acts to come are told: more than these no one reads while playing."""
_CURVE = 6
"""Straight lines that a stroke is drawn with."""
_NEVER_TOLD = ("catch", "wind", "back-cue")
"""What follows of itself."""


@dataclass(frozen=True, slots=True)
class Call:
    """One figure, or one act that belongs to none, as it comes."""

    side: Side
    piece: int
    beat: float
    """Beats from its set piece's start."""
    routine_beat: float
    """Beats from the start of what is told: the routine, or one set piece by itself."""
    act: str
    """The figure's name, else the act's kind."""
    part: str | None
    says: str


class Coming:
    """All of a routine's written acts, by when they come."""

    def __init__(self, routine: Routine) -> None:
        self._starts = _starts(routine)
        self._calls = sorted(
            (
                replace(call, routine_beat=self._starts[index] + call.beat)
                for index in range(len(routine.pieces))
                for call in calls(routine, index)
            ),
            key=lambda call: (call.routine_beat, call.side),
        )
        self._beats = [call.routine_beat for call in self._calls]

    def after(self, piece: int, beat: float) -> list[dict[str, Any]]:
        """The next acts after a place of the routine, soonest first, as /status tells them."""
        now = self._starts[piece] + beat
        first = bisect_right(self._beats, now + 1e-6)
        return [
            {
                "side": call.side,
                "act": call.act,
                "part": call.part,
                "piece": call.piece,
                "in_beats": round(call.routine_beat - now, 3),
                "says": call.says,
            }
            for call in self._calls[first : first + TOLD]
        ]


def calls(routine: Routine, index: int) -> list[Call]:
    """One set piece's figures and acts as a performer would say them, by beat."""
    found = []
    for side in SIDES:
        told = [act for act in written_acts(routine, index, side) if _told(act)]
        for _, group in groupby(told, key=lambda act: (act.figure, act.path, act.part)):
            found += [
                Call(side, index, act.beat, act.beat, *_named(act), _says(side, act))
                for act in _firsts(list(group))
            ]
    return sorted(found, key=lambda call: (call.beat, call.side))


def _told(act: Act) -> bool:
    return act.written and act.kind not in _NEVER_TOLD


def _firsts(group: Sequence[Act]) -> list[Act]:
    """Of one figure its first act; of acts that belong to none, and records let go, each."""
    if not group[0].figure:
        return list(group)
    return [act for act in group if act.kind == "let go"] or list(group[:1])


def _named(act: Act) -> tuple[str, str | None]:
    one_record = act.kind == "let go" or act.kind in STANDING
    return (act.kind if one_record or not act.figure else act.figure), act.part


def _says(side: Side, act: Act) -> str:
    name, part = _named(act)
    return f"{side}: {name}" + (f" {part}" if part else "")


def _starts(routine: Routine) -> list[int]:
    lengths = (routine.beats(index) for index in range(len(routine.pieces)))
    return list(accumulate(lengths, initial=0))


def drawn(routine: Routine, index: int) -> dict[str, dict[str, Any]]:
    """One set piece's acts as lines to be drawn, by side, plain data.

    `line`: beats and turns of the record from the lowest place, point by point. `open`: beats from
    and to which the fader is open. `parts`: each part's name and the turns it lies between.
    """
    return {
        side: _drawn(routine, acts_of(routine, index, side))
        for side in SIDES
        if written_out(routine.pieces[index], side)
    }


def _drawn(routine: Routine, acts: Sequence[Act]) -> dict[str, Any]:
    turn_s = routine.turntable.turn_s
    beats = sorted({beat for act in acts for beat in _points(act)})
    places = places_s(acts, np.asarray(beats)) if acts else np.zeros(0)
    low = min((min(act.from_s, act.to_s) for act in acts), default=0.0)
    parts: dict[str, tuple[float, float]] = {}
    for act in acts:
        if act.part and act.written:
            ends = (min(act.from_s, act.to_s), max(act.from_s, act.to_s))
            known = parts.get(act.part, ends)
            parts[act.part] = (min(known[0], ends[0]), max(known[1], ends[1]))
    return {
        "line": [
            [round(beat, 3), round(float(place - low) / turn_s, 4)]
            for beat, place in zip(beats, places, strict=True)
        ],
        "open": [
            [round(start, 3), round(end, 3)]
            for start, end in joined(span for act in acts for span in act.open)
        ],
        "parts": [
            {"name": name, "from": round((a - low) / turn_s, 4), "to": round((b - low) / turn_s, 4)}
            for name, (a, b) in parts.items()
        ],
    }


def _points(act: Act) -> list[float]:
    """Beats at which an act's line bends."""
    if act.kind in STANDING or act.beats == 0.0 or act.way_s == 0.0:
        return [act.beat, act.end_beat]
    return [act.beat + act.beats * step / _CURVE for step in range(_CURVE + 1)]
