"""A scene judged as it is written: its sounds from the shelf, its cues laid out without audio."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from liveaid.files.file_bytes import content_hash
from liveaid.files.folders import shipped
from liveaid.render.cache import CACHE, Cache
from liveaid.render.sound_header import SoundHeader, sound_header
from liveaid.routine import Routine
from liveaid.routine.acts import sounds_used
from liveaid.routine.layout.lay import lay_out_routine
from liveaid.routine.layout.material import Material, material_of
from liveaid.routine.layout.uses import asks_for_study
from liveaid.routine.opened import Opened
from liveaid.routine.part_faults import part_faults
from liveaid.routine.problems import Hindrance
from liveaid.routine.scene import DECKS, scene_folder
from liveaid.shelf.database import shelf_for
from liveaid.shelf.for_map import known_sounds, with_marks, with_shelf_words
from liveaid.study.facts import Study


@dataclass(frozen=True, slots=True)
class Judged:
    """A map as check and arrange look at it, with what is known of its sounds."""

    routine: Routine
    """The written map; laid out without audio where no deck file holds it yet."""
    file: Path
    """The map its file names are seen from."""
    laid_out: bool
    """Whether its deck-file seconds are those that render would give it."""
    faults: tuple[Hindrance, ...]
    """What keeps it from being laid out, and sound files that are not there."""
    unstudied: tuple[str, ...]
    """Sounds of which nothing is known yet, so that nothing can be laid out."""
    materials: dict[str, Material]
    """What is known of each sound it plays."""
    sound_s: dict[str, float]
    """Seconds of each sound's file that can be read."""
    phrases: dict[str, tuple[tuple[float, float], ...]]
    """From and to of the phrases of each sound that is spoken or sung."""


def judged(found: Opened) -> Judged:
    """The written map of a scene, ready to be judged; nothing is studied or rendered for it."""
    file = found.judged_file
    if file.resolve().is_relative_to(shipped("scenes").resolve()):
        # Its sounds are made where it is first played.
        return Judged(found.judged, file, False, (), (), {}, {}, {})
    known = known_sounds(found.judged, file, shelf_for(found.file))
    routine = with_shelf_words(found.judged, known)
    studies = {name: sound.study for name, sound in known.items() if sound.study is not None}
    phrases = {
        name: study.phrases_s for name, study in studies.items() if study.kind == "a cappella"
    }
    marked = with_marks(found.judged, known)
    headers, faults = _headers(marked, file, found.written)
    sound_s = {name: header.duration_s for name, header in headers.items()}
    materials, unstudied = _materials(marked, file, headers, studies)
    digests = {
        name: content_hash(str(header.path))[0]
        for name, header in headers.items()
        if marked.sounds[name].parts_of
    }
    faults += part_faults(found.judged, sound_s=sound_s, digests=digests)
    laid = None
    if not routine.placed and not faults and not unstudied:
        laid = lay_out_routine(marked, materials)
        faults += laid.faults
    laid_out = laid is not None and laid.placed is not None
    if laid is not None and laid.placed is not None:
        routine = with_shelf_words(laid.placed, known)
    return Judged(
        routine, file, laid_out, tuple(faults), tuple(unstudied), materials, sound_s, phrases
    )


def layer(found: Opened) -> Callable[[Routine], Routine | None] | None:
    """What lays other orders of a scene's set pieces out; None where its sounds are not known."""
    seen = judged(found)
    if seen.faults or seen.unstudied or not seen.materials:
        return None
    return lambda routine: lay_out_routine(routine, seen.materials).placed


def _headers(
    routine: Routine, file: Path, written: Routine | None
) -> tuple[dict[str, SoundHeader], list[Hindrance]]:
    """Where each sound lies and how long it is; a fault for each that is played and not to be had.

    `written`: the map whose words for the files the performer knows.
    """
    words, used = (written or routine).sounds, sounds_used(routine)
    headers: dict[str, SoundHeader] = {}
    faults: list[Hindrance] = []
    for name, sound in routine.sounds.items():
        called = words[name].file if name in words else sound.file
        header = sound_header(name, sound.file, file, called=called)
        if isinstance(header, SoundHeader):
            headers[name] = header
        elif name in used:
            faults.append(header)
    return headers, faults


def _materials(
    routine: Routine, file: Path, headers: Mapping[str, SoundHeader], studies: Mapping[str, Study]
) -> tuple[dict[str, Material], list[str]]:
    """What is known of each sound that is played, by the shelf or by an earlier render's study;
    and those of which too little is known."""
    cache = Cache(scene_folder(file) / DECKS / CACHE)
    materials: dict[str, Material] = {}
    unstudied: list[str] = []
    for name, places in sounds_used(routine).items():
        if name not in headers:
            continue
        header, study = headers[name], studies.get(name)
        if study is None and asks_for_study(routine, name):
            study = cache.find_study(content_hash(str(header.path))[0])
            if study is None:
                unstudied.append(name)
                continue
        materials[name] = material_of(
            routine, name, places, frames=header.frames, rate_hz=header.rate_hz, study=study
        )
    return materials, unstudied
