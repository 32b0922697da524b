"""How long the two deck files are, where they can be found."""

from __future__ import annotations

import contextlib
from pathlib import Path

import soundfile

from liveaid.files.inside import Stray
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.scene import reach


def deck_lengths_s(routine: Routine, section_map: Path) -> dict[Side, float]:
    """Seconds of each deck file that is there, from its header; a deck without one is left out."""
    lengths: dict[Side, float] = {}
    for side in SIDES:
        with contextlib.suppress(RuntimeError, OSError, Stray):
            about = soundfile.info(str(reach(routine.decks.of(side).file, section_map)))
            lengths[side] = about.frames / about.samplerate
    return lengths
