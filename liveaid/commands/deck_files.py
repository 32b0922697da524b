"""How long the two deck files are, where they can be found."""

from __future__ import annotations

import contextlib
from pathlib import Path

from liveaid.files.inside import Stray
from liveaid.files.unreadable import Unreadable
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.scene import reach
from liveaid.sound.read import open_sound


def deck_lengths_s(routine: Routine, section_map: Path) -> dict[Side, float]:
    """Seconds of each deck file that is there, from its header; a deck without one is left out."""
    lengths: dict[Side, float] = {}
    for side in SIDES:
        with (
            contextlib.suppress(Unreadable, OSError, Stray),
            open_sound(reach(routine.decks.of(side).file, section_map)) as reader,
        ):
            lengths[side] = reader.declared / reader.rate_hz
    return lengths
