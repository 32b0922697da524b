"""The sounds' files: what each holds, studied where the map leaves it open; samples on demand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.files.unreadable import Unreadable
from liveaid.files.workers import Task, Workers
from liveaid.render.cache import Cache
from liveaid.render.sound_header import SoundHeader, sound_header
from liveaid.render.to_tempo import Recorded, recorded
from liveaid.routine import Routine, Sound
from liveaid.routine.acts import sounds_used
from liveaid.routine.layout.material import STUDY_TRUSTED, Material, material_of
from liveaid.routine.layout.uses import asks_for_study
from liveaid.routine.problems import Hindrance
from liveaid.sound.read import open_sound
from liveaid.study import Study

STUDY_LIMIT_S = 60.0
"""Seconds a study may take, and as many again for each two minutes of sound."""


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
        self._digests: dict[str, str] = {}
        self._materials: dict[str, Material] = {}
        self._studied: dict[str, Study] = {}
        self._read: tuple[str, Recorded] | None = None

    def materials(
        self,
        routine: Routine,
        workers: Workers,
        cache: Cache,
        known: Callable[[str], Study | None] = lambda digest: None,
        progress: Callable[[str], None] = lambda name: None,
    ) -> tuple[dict[str, Material], list[Hindrance]]:
        """What every sound in use holds, and what keeps any of them from being used."""
        faults: list[Hindrance] = []
        headers: dict[str, SoundHeader] = {}
        used = sounds_used(routine)
        for name in used:
            header = sound_header(name, self._files[name], self._map)
            if isinstance(header, Hindrance):
                faults.append(header)
                continue
            try:
                self._digests[name] = content_hash(str(header.path))[0]
            except Unreadable as error:
                would_do = "a WAV, FLAC, OGG or MP3 file would do"
                faults.append(Hindrance(("sounds", name, "file"), str(error), would_do))
                continue
            headers[name] = header
            self._paths[name] = header.path
        studies = self._studies(routine, headers, workers, cache, known, progress)
        for name, header in headers.items():
            study = studies.get(name)
            if isinstance(study, Hindrance):
                faults.append(study)
                continue
            if study is not None:
                self._studied[name] = study
            self._materials[name] = material_of(
                routine, name, used[name], frames=header.frames, rate_hz=header.rate_hz,
                study=study, digest=self._digests[name],
            )  # fmt: skip
            faults += _loop_fault(routine.sounds[name], self._materials[name])
        return dict(self._materials), faults

    def _studies(
        self,
        routine: Routine,
        headers: Mapping[str, SoundHeader],
        workers: Workers,
        cache: Cache,
        known: Callable[[str], Study | None],
        progress: Callable[[str], None],
    ) -> dict[str, Study | Hindrance]:
        """The studies the map needs, as kept or known, or made now, each in a worker process."""
        from liveaid.study import study

        found: dict[str, Study | Hindrance] = {}
        awaited = 0
        for name, header in headers.items():
            if not asks_for_study(routine, name):
                continue
            digest = self._digests[name]
            made_before = cache.find_study(digest) or known(digest)
            if made_before is not None:
                found[name] = made_before
                continue
            limit_s = STUDY_LIMIT_S * (1.0 + header.duration_s / 120.0)
            workers.submit(Task(("study", name), study, (str(header.path),), limit_s))
            awaited += 1
        for _ in range(awaited):
            outcome = workers.next()
            name = outcome.key[1]
            progress(name)
            if isinstance(outcome.value, Study):
                cache.keep_study(self._digests[name], outcome.value)
                found[name] = outcome.value
            else:
                what = f"{headers[name].path}: {outcome.fault}"
                would_do = "a file that can be read would do"
                found[name] = Hindrance(("sounds", name, "file"), what, would_do)
        return found

    def filled_in(self, routine: Routine) -> Routine:
        """The routine with what was studied of its sounds written where its map left it open.

        So whoever reads the placed map knows the tempo and key that the deck files were made by.
        """
        sounds = {
            name: _filled_in(sound, self._materials[name], self._studied.get(name))
            if name in self._materials
            else sound
            for name, sound in routine.sounds.items()
        }
        return routine.model_copy(update={"sounds": sounds})

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


def _filled_in(sound: Sound, material: Material, study: Study | None) -> Sound:
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
