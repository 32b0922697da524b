"""The sounds' files: what each holds, studied where the map leaves it open; samples on demand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.files.inside import Stray
from liveaid.files.unreadable import Unreadable
from liveaid.files.workers import Task, Workers
from liveaid.render.cache import Cache
from liveaid.render.to_tempo import Recorded, recorded
from liveaid.routine import Routine, Runs, Sound, Works
from liveaid.routine.layout.material import STUDY_TRUSTED, Material, material_of, needs_study
from liveaid.routine.layout.uses import sounds_used
from liveaid.routine.parts import has_beat
from liveaid.routine.problems import Hindrance
from liveaid.routine.scene import reach
from liveaid.sound.read import open_sound
from liveaid.study import Study

MOST_CHANNELS = 2
LEAST_RATE_HZ, MOST_RATE_HZ = 4_000, 768_000
"""Sample rates outside these are a damaged header, not a sound."""
STUDY_LIMIT_S = 60.0
"""Seconds a study may take, and as many again for each two minutes of sound."""


@dataclass(frozen=True, slots=True)
class Held:
    """A sound's file as its header tells it."""

    path: Path
    frames: int
    rate_hz: int
    digest: str

    @property
    def duration_s(self) -> float:
        """Seconds in the file."""
        return self.frames / self.rate_hz


class BadSound(LiveaidError):
    """A sound whose header is fine and whose samples are not."""

    def __init__(self, name: str, found: str) -> None:
        self.name = name
        self.fault = Hindrance(("sounds", name, "file"), found, "a whole, sound file would do")
        super().__init__(f"{name}: {found}")


class Sources:
    """The files behind a routine's sounds, each read once."""

    def __init__(self, section_map: Path, routine: Routine) -> None:
        self._map = section_map
        self._files = {name: sound.file for name, sound in routine.sounds.items()}
        self._paths: dict[str, Path] = {}
        self._materials: dict[str, Material] = {}
        self._studied: dict[str, Study] = {}
        self._read: tuple[str, Recorded] | None = None

    def materials(
        self,
        routine: Routine,
        workers: Workers,
        cache: Cache,
        progress: Callable[[str], None] = lambda name: None,
    ) -> tuple[dict[str, Material], list[Hindrance]]:
        """What every sound in use holds, and what keeps any of them from being used."""
        faults: list[Hindrance] = []
        helds: dict[str, Held] = {}
        for name in sounds_used(routine):
            held = self._held(name)
            if isinstance(held, Hindrance):
                faults.append(held)
            else:
                helds[name] = held
                self._paths[name] = held.path
        studies = _studies(routine, helds, workers, cache, progress)
        for name, held in helds.items():
            study = studies.get(name)
            if isinstance(study, Hindrance):
                faults.append(study)
                continue
            if study is not None:
                self._studied[name] = study
            self._materials[name] = _material(routine, name, held, study)
            faults += _loop_fault(routine.sounds[name], self._materials[name])
        return dict(self._materials), faults

    def _held(self, name: str) -> Held | Hindrance:
        try:
            return _held(name, reach(self._files[name], self._map))
        except Stray as stray:
            where = ("sounds", name, "file")
            return Hindrance(where, stray.found, "a plain file in the scene's folder would do")

    def told(self, routine: Routine) -> Routine:
        """The routine with what was studied of its sounds written where its map left it open.

        So whoever reads the placed map knows the tempo and key that the deck files were made by.
        """
        told = {
            name: _told(sound, self._materials[name], self._studied.get(name))
            if name in self._materials
            else sound
            for name, sound in routine.sounds.items()
        }
        return routine.model_copy(update={"sounds": told})

    def digests(self) -> dict[str, str]:
        """The digest of each sound's file, as it was read."""
        return {name: material.digest for name, material in self._materials.items()}

    def recorded(self, name: str) -> Recorded:
        """A sound's samples. BadSound when they cannot be read to the end or are no numbers."""
        if self._read is None or self._read[0] != name:
            material = self._materials[name]
            samples = _samples(name, self._paths[name])
            loop = material.loop_beats is not None
            self._read = name, recorded(samples, material.rate_hz, loop=loop)
        return self._read[1]


def _held(name: str, path: Path) -> Held | Hindrance:
    """What the file's header says, or what is wrong with the file."""
    where = ("sounds", name, "file")
    if not path.is_file():
        what = "a folder" if path.is_dir() else "no such file"
        return Hindrance(where, f"{path}, {what}", "a sound file, relative to the map, would do")
    try:
        digest, _ = content_hash(str(path))
        with open_sound(path) as reader:
            frames, rate, channels = reader.declared, reader.rate_hz, reader.channels
    except Unreadable as error:
        return Hindrance(where, str(error), "a WAV, FLAC, OGG or MP3 file would do")
    if frames < 1:
        return Hindrance(where, f"{path}, which holds no sound", "a file with sound in it would do")
    if channels > MOST_CHANNELS:
        return Hindrance(where, f"{path}, {channels} channels", "one or two channels would do")
    if not LEAST_RATE_HZ <= rate <= MOST_RATE_HZ:
        would_do = f"{LEAST_RATE_HZ} to {MOST_RATE_HZ} Hz would do"
        return Hindrance(where, f"{path} at {rate} Hz", would_do)
    return Held(path, frames, rate, digest)


def _studies(
    routine: Routine,
    helds: Mapping[str, Held],
    workers: Workers,
    cache: Cache,
    progress: Callable[[str], None],
) -> dict[str, Study | Hindrance]:
    """The studies the map needs, from the cache or made now, each in a worker process."""
    from liveaid.study import study

    found: dict[str, Study | Hindrance] = {}
    awaited = 0
    for name, held in helds.items():
        plans = [plan for _, _, plan in sounds_used(routine)[name]]
        runs = any(isinstance(plan, Runs) or plan.bars_in > 0 for plan in plans)
        from_start = any(not isinstance(plan, Runs) and plan.bars_in == 0 for plan in plans)
        if _only_parts(routine.sounds[name], name, plans):
            continue
        if not needs_study(routine.sounds[name], runs=runs, from_start=from_start):
            continue
        known = cache.find_study(held.digest)
        if known is not None:
            found[name] = known
            continue
        limit_s = STUDY_LIMIT_S * (1.0 + held.duration_s / 120.0)
        workers.submit(Task(("study", name), study, (str(held.path),), limit_s))
        awaited += 1
    for _ in range(awaited):
        outcome = workers.next()
        name = outcome.key[1]
        progress(name)
        if isinstance(outcome.value, Study):
            cache.keep_study(helds[name].digest, outcome.value)
            found[name] = outcome.value
        else:
            what = f"{helds[name].path}: {outcome.fault}"
            found[name] = Hindrance(
                ("sounds", name, "file"), what, "a file that can be read would do"
            )
    return found


def _only_parts(sound: Sound, name: str, plans: Sequence[Runs | Works]) -> bool:
    """Whether only named parts of it are played, as they are: the map says where they lie."""
    played = (plan for plan in plans if plan.sound == name)
    return not has_beat(sound) and all(getattr(plan, "notes", None) for plan in played)


def _material(routine: Routine, name: str, held: Held, study: Study | None) -> Material:
    return material_of(
        routine,
        name,
        sounds_used(routine)[name],
        frames=held.frames,
        rate_hz=held.rate_hz,
        study=study,
        digest=held.digest,
    )


def _told(sound: Sound, material: Material, study: Study | None) -> Sound:
    facts: dict[str, object] = {}
    if sound.tempo_bpm is None and material.gridded and material.tempo_bpm is not None:
        facts["tempo_bpm"] = round(material.tempo_bpm, 4)
        if sound.first_beat_s is None:
            facts["first_beat_s"] = round(material.first_beat_s, 6)
    if sound.key is None and study and study.key and study.key_confidence >= STUDY_TRUSTED:
        facts |= {"key": study.key, "tuning_cents": round(study.tuning_cents, 1)}
    return sound.model_copy(update=facts)


def _loop_fault(sound: Sound, material: Material) -> list[Hindrance]:
    # A loop of unknown tempo is told as such.
    if not sound.loop or material.loop_beats is not None or material.tempo_bpm is None:
        return []
    where = ("sounds", material.name, "loop")
    beats = material.duration_s / material.beat_s()
    found = f"yes, and {material.name} is {beats:.2f} beats long at {material.tempo_bpm:g} BPM"
    return [Hindrance(where, found, "a file of whole beats, or its exact tempo, would do")]


def _samples(name: str, path: Path) -> NDArray[np.float32]:
    try:
        with open_sound(path) as reader:
            blocks = list(reader)
            faults = reader.all_faults()
    except Unreadable as error:
        raise BadSound(name, str(error)) from error
    if faults:
        raise BadSound(name, f"{path}, {'; '.join(faults)}")
    return np.concatenate(blocks)
