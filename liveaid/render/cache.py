"""Rendered passages kept beside the decks, so that what has not changed is not made again.

A passage is known by its recipe: the bytes of its sounds, the cut, the speed, the level, and the
version of this code. Whatever cannot be read, or not written, is simply made again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import shutil
from dataclasses import asdict
from pathlib import Path

import numpy as np

from liveaid.files.aside import made_aside
from liveaid.files.inside import is_plain
from liveaid.render.edges import Samples
from liveaid.render.passage_level import Level
from liveaid.study.facts import STUDY_VERSION, Study

CACHE = ".rendered"
"""The folder of it beside the deck files."""
CACHE_VERSION = 1
"""Raise it when the same recipe gives other samples."""


ROOM_BYTES = 2_000_000
"""Left free beside what is to be written: the map, the sheet, the disk's own book-keeping."""


_OURS = re.compile(r"(?P<unfinished>\.)?(?P<recipe>[0-9a-f]{32})\.(?:npy|json)(?(1)\.\w+)")
"""Names of the files we keep, and of those a crash left unfinished; nothing else is ever taken
out."""


class Cache:
    """A folder of passages: `<recipe's hash>.npy` and `.json`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._used: set[str] = set()
        self._left_free = 0

    def leave_free(self, size: int) -> None:
        """Keep nothing that would leave the disk less than so many bytes: others need them."""
        self._left_free = size + ROOM_BYTES

    def find(self, recipe: str) -> tuple[Samples, Level] | None:
        """The passage made by this recipe before, mapped from the file; None when there is none."""
        name = self._name(recipe)
        self._used.add(name)
        if not (is_plain(self.folder / f"{name}.json") and is_plain(self.folder / f"{name}.npy")):
            return None
        try:
            level = Level(**json.loads((self.folder / f"{name}.json").read_text()))
            samples = np.load(self.folder / f"{name}.npy", mmap_mode="r", allow_pickle=False)
        except (OSError, ValueError, TypeError, EOFError):
            return None
        shaped = samples.ndim == 2 and samples.shape[1] == 2 and samples.dtype == np.float32
        return (samples, level) if shaped else None

    def keep(self, recipe: str, samples: Samples, level: Level) -> None:
        """Keep a passage; quietly not, when the disk has no room for it."""
        name = self._name(recipe)
        self._used.add(name)
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            if shutil.disk_usage(self.folder).free < samples.nbytes + self._left_free:
                return
            self._write(f"{name}.npy", samples)
            self._write(f"{name}.json", json.dumps(asdict(level)))

    def find_study(self, digest: str) -> Study | None:
        """The study of a file with these bytes, made before by this version of the study."""
        name = self._study_name(digest)
        if not is_plain(self.folder / f"{name}.json"):
            return None
        try:
            return Study.from_json((self.folder / f"{name}.json").read_text())
        except (OSError, ValueError):
            return None

    def keep_study(self, digest: str, study: Study) -> None:
        """Keep a study; quietly not, when the disk has no room for it."""
        name = self._study_name(digest)
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            self._write(f"{name}.json", study.to_json())

    def sweep(self) -> None:
        """Delete what was neither found nor kept through this cache, and what a crash left."""
        with contextlib.suppress(OSError):
            for path in self.folder.iterdir():
                made = _OURS.fullmatch(path.name)
                if made and (made["unfinished"] or made["recipe"] not in self._used):
                    path.unlink(missing_ok=True)

    def _write(self, name: str, content: Samples | str) -> None:
        with made_aside(self.folder / name) as aside:
            if isinstance(content, str):
                aside.write_text(content)
            else:
                with aside.open("wb") as file:
                    np.save(file, content, allow_pickle=False)

    def _study_name(self, digest: str) -> str:
        name = self._name(f"study {STUDY_VERSION} of {digest}")
        self._used.add(name)
        return name

    @staticmethod
    def _name(recipe: str) -> str:
        return hashlib.sha256(f"version {CACHE_VERSION}\n{recipe}".encode()).hexdigest()[:32]
