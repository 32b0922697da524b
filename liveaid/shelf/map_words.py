"""What a section map says of its sounds, put over what the shelf knows of them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace

from liveaid.routine.model import Sound
from liveaid.shelf.shelf_sound import ShelfSound


def with_map_words(
    sounds: Iterable[ShelfSound], told: Mapping[str, Sound], folder: str
) -> list[ShelfSound]:
    """The sounds with kind, tempo, key, source and licence as the map in `folder` has them.

    A sound is the map's when it, or a copy of it, lies where the map says.
    """
    by_path = {os.path.abspath(os.path.join(folder, said.file)): said for said in told.values()}
    return [
        _with(sound, next((by_path[p] for p in (sound.path, *sound.copies) if p in by_path), None))
        for sound in sounds
    ]


def _with(sound: ShelfSound, said: Sound | None) -> ShelfSound:
    if said is None:
        return sound
    marks = replace(
        sound.marks,
        kind=said.kind or sound.marks.kind,
        tempo_bpm=said.tempo_bpm or sound.marks.tempo_bpm,
        key=said.key or sound.marks.key,
        source=said.source or sound.marks.source,
        licence=said.licence or sound.marks.licence,
    )
    study = marks.applied(sound.study) if sound.study else None
    return replace(sound, marks=marks, study=study)
