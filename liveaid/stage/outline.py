"""The routine as the pages draw it: set pieces on one line of beats, hands, energy, tight places.

Pure. What the stage says many times a second (`brief`) is apart from what a page asks for once
(`outline`); `edition` ties the two, so that a page notices a map that was edited.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from liveaid.routine import SIDES, Routine
from liveaid.routine.check import Finding, check
from liveaid.routine.coming import drawn

_TOLD = ("winding", "hands", "acts", "tempo", "reach", "time")
"""Rules whose findings matter while playing; the rest is for the desk."""


def outline(routine: Routine) -> Mapping[str, Any]:
    """What a picture of the routine needs, as plain data; beats and seconds from its start."""
    findings = [
        finding
        for finding in check(routine)
        if finding.rule in _TOLD and finding.severity != "remark" and finding.piece is not None
    ]
    pieces, beat, at_s = [], 0, 0.0
    for index in range(len(routine.pieces)):
        pieces.append(_piece(routine, index, beat, at_s, findings))
        beat += routine.beats(index)
        at_s += routine.piece_s(index)
    found = {
        "title": routine.title,
        "metre": routine.metre,
        "limit_s": routine.limit_s,
        "beats": beat,
        "seconds": round(at_s, 3),
        "pieces": pieces,
    }
    return {**found, "edition": _edition(found)}


class Outlined:
    """A routine with its outline, worked out once: it is asked for far oftener than edited."""

    def __init__(self) -> None:
        self._last: tuple[Routine, Mapping[str, Any]] | None = None

    def of(self, routine: Routine) -> Mapping[str, Any]:
        """The routine's outline."""
        if self._last is None or self._last[0] is not routine:
            self._last = routine, outline(routine)
        return self._last[1]


def brief(routine: Routine, edition: str, sends: str) -> dict[str, Any]:
    """The key `routine` of /status."""
    return {
        "title": routine.title,
        "metre": routine.metre,
        "pieces": len(routine.pieces),
        "rpm": routine.turntable.rpm,
        "sends": sends,
        "edition": edition,
    }


def _piece(
    routine: Routine, index: int, beat: int, at_s: float, findings: list[Finding]
) -> dict[str, Any]:
    piece = routine.pieces[index]
    return {
        "index": index,
        "name": piece.name,
        "part": piece.part,
        "technique": piece.technique,
        "bars": piece.bars,
        "tempo": piece.tempo_bpm,
        "energy": piece.energy,
        "count": piece.count,
        "prompt": piece.prompt,
        "from_beat": beat,
        "from_s": round(at_s, 3),
        "acts": drawn(routine, index),
        "hands": {side: piece.plan(side).hand for side in SIDES},
        "tight": [
            {"severity": one.severity, "side": one.side, "bar": one.bar, "says": one.says}
            for one in findings
            if one.piece == index
        ],
    }


def _edition(found: Mapping[str, Any]) -> str:
    text = json.dumps(found, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:12]
