"""A section map, and what is played in one of its set pieces, as a short word.

Two maps with the same digest say the same: comments, order of fields and defaults written out do
not count. A set piece keeps its digest when it is renamed or laid elsewhere on the deck files, and
gets another when the hands have something else to do.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from liveaid.routine.model import SIDES, Piece, Rests, Routine, Runs, Side

_BYTES = 16
"""128 bits: no two maps of one performer are alike by chance (birthday bound 2^64)."""

_PLAYED = {"hand", "sound", "bars_in", "strokes", "acts", "notes", "tones"}
"""Fields of a plan that say what is played."""


def map_digest(routine: Routine) -> str:
    """The digest of a section map as a whole, in hex."""
    tree = routine.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    tree.pop("rendered", None)
    return _digest(tree)


def piece_digest(routine: Routine, index: int) -> str:
    """The digest of what is played in one set piece: beats, tempo, and what each hand does."""
    piece = routine.pieces[index]
    played: dict[str, Any] = {
        "beats": routine.beats(index),
        "tempo": piece.tempo_bpm,
        "count": piece.count,
        "juggle": piece.juggle,
        **{side: _played(routine, piece, side) for side in SIDES},
    }
    if piece.juggle or any(getattr(piece.plan(side), "acts", None) for side in SIDES):
        figures = {name: f.model_dump(mode="json") for name, f in routine.figures.items()}
        played["figures"] = figures
    return _digest(played)


def _played(routine: Routine, piece: Piece, side: Side) -> dict[str, Any]:
    """One hand's part; where on the deck file it lies counts only if no sound says what it is."""
    plan = piece.plan(side)
    played = plan.model_dump(include=_PLAYED)
    if isinstance(plan, Rests):
        return played
    played["bars_in"] = plan.bars_in
    if plan.sound is None:
        played |= {"cue": plan.cue_s, "to": None if isinstance(plan, Runs) else plan.to_s}
    return played


def _digest(tree: Any) -> str:
    text = json.dumps(tree, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=_BYTES).hexdigest()
