"""The two deck files: how long they are, and which that the map names are not there."""

from __future__ import annotations

import contextlib
from pathlib import Path

from liveaid.files.inside import Stray
from liveaid.files.names import shown
from liveaid.files.unreadable import Unreadable
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.problems import Hindrance
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


def missing_deck_files(routine: Routine, section_map: Path) -> list[Hindrance]:
    """The deck files of the performer's own that the map names and that are not there."""
    if routine.rendered is not None or not routine.placed:
        return []
    named = [side for side in SIDES if side in routine.decks.model_fields_set]
    return [
        Hindrance(
            ("decks", side, "file"),
            f"{shown(routine.decks.of(side).file)}, where there is no such file",
            "the file this deck plays, so that its cues can be held against its length",
        )
        for side in named
        if not reach(routine.decks.of(side).file, section_map).is_file()
    ]
