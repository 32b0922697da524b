"""What the shelf knows of the sounds a section map names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from liveaid.errors import LiveaidError
from liveaid.files.inside import Stray
from liveaid.files.unreadable import Unreadable
from liveaid.routine.model import Routine, Sound
from liveaid.routine.scene import reach
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study

TRUSTED = 0.3
"""A studied tempo or key below this confidence is not told as the sound's (as render has it)."""


def known_sounds(routine: Routine, section_map: Path, shelf_file: Path) -> dict[str, ShelfSound]:
    """The map's sounds that were studied, by their names in the map; copies in the scene's folder
    of sounds that lie elsewhere are these sounds.

    A shelf that is not there, or cannot be read now, knows nothing.
    """
    paths: dict[str, str] = {}
    for name, sound in routine.sounds.items():
        try:
            paths[str(reach(sound.file, section_map).resolve())] = name
        except (Stray, OSError):
            continue
    if not paths or not shelf_file.is_file():
        return {}
    try:
        with Shelf(shelf_file, make=False) as shelf:
            found = {
                paths[path]: sound
                for sound in shelf.at(paths)
                for path in (sound.path, *sound.copies)
                if path in paths
            }
            for path, name in paths.items():
                if name not in found and (copied := _copied(shelf, path)):
                    found[name] = copied
    except LiveaidError:
        return {}
    return {name: sound for name, sound in found.items() if sound.study is not None}


def _copied(shelf: Shelf, path: str) -> ShelfSound | None:
    try:
        return shelf.copied(path)
    except (Unreadable, OSError):
        return None  # told where the sound is read


def studies_on(shelf_file: Path) -> Callable[[str], Study | None]:
    """What was measured of a file's bytes, asked by their digest; None where the shelf does not
    know, is not there or cannot be read now."""

    def known(digest: str) -> Study | None:
        if not shelf_file.is_file():
            return None
        try:
            with Shelf(shelf_file, make=False) as shelf:
                return shelf.study_of(digest)
        except (LiveaidError, ValueError):
            return None

    return known


def with_shelf_words(routine: Routine, known: Mapping[str, ShelfSound]) -> Routine:
    """The routine with kind, tempo, key, source and licence of its sounds as the shelf has them,
    where the map is silent."""
    sounds = {
        name: sound.model_copy(update=_words(sound, known[name])) if name in known else sound
        for name, sound in routine.sounds.items()
    }
    return routine.model_copy(update={"sounds": sounds})


def with_marks(routine: Routine, known: Mapping[str, ShelfSound]) -> Routine:
    """The routine with the performer's own word on its sounds, as marked on the shelf, where the
    map is silent: what render goes by, which studies the rest itself."""
    sounds = {
        name: sound.model_copy(update=_marked(sound, known[name])) if name in known else sound
        for name, sound in routine.sounds.items()
    }
    return routine.model_copy(update={"sounds": sounds})


def _marked(sound: Sound, on_shelf: ShelfSound) -> dict[str, Any]:
    marks = on_shelf.marks
    study = on_shelf.study
    bar_s = study.first_downbeat if study and marks.bar_s is not None else None
    said = {
        "kind": marks.kind,
        "tempo_bpm": marks.tempo_bpm,
        "first_beat_s": bar_s,
        "follow": study is not None and bool(study.beats_s) and sound.first_beat_s is None,
        "key": marks.key,
        "source": marks.source or None,
        "licence": marks.licence or None,
    }
    said = {name: value for name, value in said.items() if value or name == "first_beat_s"}
    return {
        name: value
        for name, value in said.items()
        if value is not None and getattr(sound, name) is None
    }


def _words(sound: Sound, on_shelf: ShelfSound) -> dict[str, Any]:
    study, marks = on_shelf.study, on_shelf.marks
    words: dict[str, Any] = {}
    if study is not None:
        words["kind"] = study.kind
        if study.tempo is not None and study.tempo_confidence >= TRUSTED:
            words["tempo_bpm"] = study.tempo
            words["first_beat_s"] = study.first_beat
        if study.key is not None and study.key_confidence >= TRUSTED:
            words |= {"key": study.key, "tuning_cents": study.tuning_cents}
    words |= {"source": marks.source or None, "licence": marks.licence or None}
    if sound.tempo_bpm is not None:
        words.pop("first_beat_s", None)
    if sound.key is not None:
        words.pop("tuning_cents", None)
    silent = {name for name in words if getattr(sound, name) in (None, 0.0)}
    return {name: value for name, value in words.items() if name in silent and value is not None}
