"""A scene judged as it is written: its sounds from the shelf, its cues laid out without audio."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from liveaid.files.file_bytes import content_hash
from liveaid.files.folders import shipped
from liveaid.files.inside import Stray
from liveaid.files.unreadable import Unreadable
from liveaid.render.cache import CACHE, Cache
from liveaid.routine import Routine, Runs
from liveaid.routine.layout.lay import lay_out_routine
from liveaid.routine.layout.material import Material, material_of, needs_study
from liveaid.routine.layout.uses import sounds_used
from liveaid.routine.opened import Opened
from liveaid.routine.part_faults import part_faults
from liveaid.routine.problems import Hindrance
from liveaid.routine.scene import DECKS, reach, scene_folder
from liveaid.shelf.database import shelf_for
from liveaid.shelf.for_map import known_sounds, with_marks, with_shelf_words
from liveaid.sound.read import open_sound
from liveaid.study.facts import Study


@dataclass(frozen=True, slots=True)
class Judged:
    """What check and arrange look at."""

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
    if file.resolve().is_relative_to(
        shipped("scenes").resolve()
    ):  # its sounds are made where it is first played
        return Judged(found.judged, file, False, (), (), {}, {}, {})
    known = known_sounds(found.judged, file, shelf_for(found.file))
    routine = with_shelf_words(found.judged, known)
    studies = {name: sound.study for name, sound in known.items() if sound.study is not None}
    phrases = {
        name: study.phrases_s for name, study in studies.items() if study.kind == "a cappella"
    }
    marked = with_marks(found.judged, known)
    files = _Files(marked, file, studies, found.written)
    materials = files.materials()
    files.faults += part_faults(found.judged, sound_s=files.sound_s, digests=files.digests())
    laid = None
    if not routine.placed and not files.faults and not files.unstudied:
        laid = lay_out_routine(marked, materials)
    if laid is None or laid.placed is None:
        faults = (*files.faults, *(laid.faults if laid else ()))
        return Judged(
            routine, file, False, faults, tuple(files.unstudied), materials, files.sound_s, phrases
        )
    placed = with_shelf_words(laid.placed, known)
    return Judged(placed, file, True, laid.faults, (), materials, files.sound_s, phrases)


def layer(found: Opened) -> Callable[[Routine], Routine | None] | None:
    """What lays other orders of a scene's set pieces out; None where its sounds are not known."""
    seen = judged(found)
    if seen.faults or seen.unstudied or not seen.materials:
        return None
    return lambda routine: lay_out_routine(routine, seen.materials).placed


class _Files:
    """The sounds' files as their headers tell them, with what was studied of them before."""

    def __init__(
        self,
        routine: Routine,
        section_map: Path,
        studies: dict[str, Study],
        written: Routine | None,
    ) -> None:
        """`written`: the map whose words for the files the performer knows."""
        self._routine, self._map, self._studies = routine, section_map, studies
        self._written = (written or routine).sounds
        self._cache = Cache(scene_folder(section_map) / DECKS / CACHE)
        self.faults: list[Hindrance] = []
        self.unstudied: list[str] = []
        self.sound_s: dict[str, float] = {}

    def materials(self) -> dict[str, Material]:
        """What is known of each sound in use; faults are gathered for those that cannot be had."""
        used = sounds_used(self._routine)
        made = {}
        for name in self._routine.sounds:
            lies = self._header(name, used=name in used)
            if lies is None or name not in used:
                continue
            path, frames, rate_hz = lies
            study = self._study(name, path)
            if study is None and self._asks_for_study(name):
                self.unstudied.append(name)
                continue
            made[name] = material_of(
                self._routine, name, used[name], frames=frames, rate_hz=rate_hz, study=study
            )
        return made

    def digests(self) -> dict[str, str]:
        """The bytes' hash of each sound whose parts say which file they were found in."""
        found = {}
        for name in self.sound_s:
            if self._routine.sounds[name].parts_of:
                path = reach(self._routine.sounds[name].file, self._map)
                found[name] = content_hash(str(path))[0]
        return found

    def _header(self, name: str, *, used: bool) -> tuple[Path, int, int] | None:
        """Where a sound lies, its frames and its rate; None, and a fault, when it cannot be had."""
        said = self._routine.sounds[name].file
        where = ("sounds", name, "file")
        try:
            path = reach(said, self._map)
            if not path.is_file():
                called = self._written[name].file if name in self._written else said
                raise Unreadable(f"{called}, {'a folder' if path.is_dir() else 'no such file'}")
            with open_sound(path) as reader:
                frames, rate_hz = reader.declared, reader.rate_hz
        except (Unreadable, Stray, OSError) as error:
            if used:
                self.faults.append(
                    Hindrance(where, str(error), "a sound file, relative to the map, would do")
                )
            return None
        self.sound_s[name] = frames / rate_hz
        return path, frames, rate_hz

    def _study(self, name: str, path: Path) -> Study | None:
        """From the shelf, else from an earlier render."""
        if name in self._studies or not self._asks_for_study(name):
            return self._studies.get(name)
        return self._cache.find_study(content_hash(str(path))[0])

    def _asks_for_study(self, name: str) -> bool:
        plans = [plan for _, _, plan in sounds_used(self._routine)[name]]
        return needs_study(
            self._routine.sounds[name],
            runs=any(isinstance(plan, Runs) or plan.bars_in > 0 for plan in plans),
            from_start=any(not isinstance(plan, Runs) and plan.bars_in == 0 for plan in plans),
        )
