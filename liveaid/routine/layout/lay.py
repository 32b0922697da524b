"""A routine laid out on its two decks: by render for the audio, by check and arrange without it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from liveaid.routine.acts import sounds_used
from liveaid.routine.layout.angles import sticker_angles
from liveaid.routine.layout.deck import DeckLayout, Grain, lay_out
from liveaid.routine.layout.material import Material
from liveaid.routine.layout.passage import passages_of
from liveaid.routine.layout.placed import placed_routine
from liveaid.routine.layout.uses import Use, uses_of
from liveaid.routine.model import SIDES, Routine, Side, clock_time
from liveaid.routine.problems import Hindrance
from liveaid.routine.timeline import starts_s

LAY_LONGEST_S = 7200.0
"""The longest limit a section map can state; a guide mix of it fits a WAV file, and memory."""
LAY_RATE_HZ = 44_100
"""Frames a second that places are rounded to where no audio is made."""


def grain_of(
    routine: Routine, *, rate_hz: int = LAY_RATE_HZ, gap_turns: float = 1.0, sticker: bool = True
) -> Grain:
    """The measures of a routine's turntable at a sample rate."""
    return Grain(
        rate_hz=rate_hz,
        turn_s=routine.turntable.turn_s,
        gap_turns=gap_turns,
        sticker=sticker,
        side_s=routine.turntable.side_s,
    )


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A routine laid out, or what keeps it from being."""

    placed: Routine | None
    """The routine with every cue's deck-file second; None when there are faults."""
    faults: tuple[Hindrance, ...]


def lay_out_routine(routine: Routine, materials: Mapping[str, Material]) -> LaidOut:
    """The routine placed as render would place it, from facts alone, in milliseconds.

    `materials`: what is known of each sound it plays; faults of files were told by who made them.
    """
    grain = grain_of(routine)
    uses, faults = uses_of(routine, materials)
    if faults or any(name not in materials for name in sounds_used(routine)):
        return LaidOut(None, tuple(faults))
    layouts = lay_out_decks(routine, uses, materials, grain)
    files = {name: sound.file for name, sound in routine.sounds.items()}
    placed = placed_routine(
        routine, layouts, rate_hz=grain.rate_hz, decks=routine.decks, files=files
    )
    return LaidOut(placed, tuple(too_long(routine, layouts, grain.rate_hz)))


def too_long(
    routine: Routine, layouts: Mapping[Side, DeckLayout], rate_hz: int
) -> Iterator[Hindrance]:
    """Decks that do not fit a record side, and a routine that fits no evening."""
    side_s = routine.turntable.side_s
    for side, layout in layouts.items():
        length_s = layout.frames / rate_hz
        if length_s > side_s:
            found = (
                f"{clock_time(side_s)}, and the {side} deck needs {clock_time(math.ceil(length_s))}"
            )
            would_do = "fewer bars, a smaller gap, or some of it on the other deck would do"
            yield Hindrance(("turntable", "side"), found, would_do)
    if routine.duration_s > LAY_LONGEST_S:
        found = f"{clock_time(math.ceil(routine.duration_s))} of music in all"
        yield Hindrance(("pieces",), found, f"up to {clock_time(LAY_LONGEST_S)} would do")


def lay_out_decks(
    routine: Routine,
    uses: Mapping[Side, Sequence[Use]],
    materials: Mapping[str, Material],
    grain: Grain,
) -> dict[Side, DeckLayout]:
    """Both decks, each in the order that winds least, a juggle's stickers alike."""
    starts = starts_s(routine)
    passages = {side: passages_of(uses[side], materials, starts) for side in SIDES}
    angles = sticker_angles(routine, passages, grain.turn_s) if grain.sticker else {}
    return {side: lay_out(side, passages[side], grain, angles) for side in SIDES}
