"""A routine laid out on its two decks: by render for the audio, by check and arrange without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate

from liveaid.routine.layout.angles import sticker_angles
from liveaid.routine.layout.deck import DeckLayout, Grain, lay_out
from liveaid.routine.layout.material import Material
from liveaid.routine.layout.passage import passages_of
from liveaid.routine.layout.uses import Use
from liveaid.routine.model import SIDES, Routine, Side

RATE_HZ = 44_100
"""Frames a second that places are rounded to where no audio is made."""


def grain_of(
    routine: Routine, *, rate_hz: int = RATE_HZ, gap_turns: float = 1.0, sticker: bool = True
) -> Grain:
    """The measures of a routine's turntable at a sample rate."""
    return Grain(
        rate_hz=rate_hz,
        turn_s=routine.turntable.turn_s,
        gap_turns=gap_turns,
        sticker=sticker,
        side_s=routine.turntable.side_s,
    )


def lay_out_decks(
    routine: Routine,
    uses: Mapping[Side, Sequence[Use]],
    materials: Mapping[str, Material],
    grain: Grain,
) -> dict[Side, DeckLayout]:
    """Both decks, each in the order that winds least, a juggle's stickers alike."""
    lengths = (routine.piece_s(index) for index in range(len(routine.pieces)))
    starts_s = list(accumulate(lengths, initial=0.0))
    passages = {side: passages_of(uses[side], materials, starts_s) for side in SIDES}
    angles = sticker_angles(routine, passages, grain.turn_s) if grain.sticker else {}
    return {side: lay_out(side, passages[side], grain, angles) for side in SIDES}
