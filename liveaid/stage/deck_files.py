"""How long the two deck files are, where they can be found."""

from __future__ import annotations

import contextlib
from pathlib import Path

import soundfile

from liveaid.routine import SIDES, Routine, Side


def deck_lengths_s(routine: Routine, section_map: Path) -> dict[Side, float]:
    """Seconds of each deck file that is there, from its header; a deck without one is left out."""
    lengths: dict[Side, float] = {}
    for side in SIDES:
        for folder in (section_map.parent, section_map.parent.parent):
            file = folder / routine.decks.of(side).file
            with contextlib.suppress(RuntimeError, OSError):
                about = soundfile.info(str(file))
                lengths[side] = about.frames / about.samplerate
                break
    return lengths
