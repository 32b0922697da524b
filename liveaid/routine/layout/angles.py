"""At which sticker angle each passage's cue comes up, so that a juggle's two decks come up alike.

Every passage's own cue stands at angle 0. A juggle whose record is one that ran on to it has its
cue wherever that is; then the other deck's copy is turned to the same angle, since two hands that
juggle look at two stickers and take them for one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from liveaid.routine.layout.passage import Passage, UseIn
from liveaid.routine.model import SIDES, Routine, Side, other_side

SAME_ANGLE_S = 1e-6


def sticker_angles(
    routine: Routine, passages: Mapping[Side, Sequence[Passage]], turn_s: float
) -> dict[tuple[Side, int], float]:
    """Deck seconds past a whole turn of each passage whose cue is turned, by deck and set piece of
    its first use. The passage with more uses keeps its angle; what is set once stays."""
    angles: dict[tuple[Side, int], float] = {}
    settled: set[tuple[Side, int]] = set()
    for index, piece in enumerate(routine.pieces):
        left, right = (_of_piece(passages[side], index) for side in SIDES)
        if not piece.is_juggle or left is None or right is None:
            continue
        found: dict[Side, Found] = {"left": left, "right": right}
        by_need = sorted(SIDES, key=lambda side: _need(found[side], side, settled))
        turned, kept = by_need[0], other_side(by_need[0])
        if _name(found[turned], turned) in settled:
            continue
        wanted_s = _comes_up_s(found[kept], kept, angles) - _into_s(found[turned])
        angle_s = wanted_s % turn_s
        if min(angle_s, turn_s - angle_s) > SAME_ANGLE_S:
            angles[_name(found[turned], turned)] = angle_s
        settled |= {_name(found[side], side) for side in SIDES}
    return angles


Found: TypeAlias = tuple[Passage, UseIn]


def _of_piece(passages: Sequence[Passage], piece: int) -> Found | None:
    for passage in passages:
        for used in passage.uses:
            if used.use.piece == piece:
                return passage, used
    return None


def _name(found: Found, side: Side) -> tuple[Side, int]:
    return side, found[0].uses[0].use.piece


def _need(found: Found, side: Side, settled: set[tuple[Side, int]]) -> tuple[bool, int, bool]:
    """Which side to turn: one not settled yet, with the fewest uses; right before left."""
    return _name(found, side) in settled, len(found[0].uses), side == "left"


def _into_s(found: Found) -> float:
    """Deck seconds from the passage's own cue to the use's."""
    return found[1].cue_s - found[0].cue_s


def _comes_up_s(found: Found, side: Side, angles: Mapping[tuple[Side, int], float]) -> float:
    return angles.get(_name(found, side), 0.0) + _into_s(found)
