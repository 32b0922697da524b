"""Takes that ended, each in a file of its own beside the database, until they are in it.

Written before anything else is done with a take and taken away once the database has it, so that
a locked, full or broken database loses none. A file that was spoiled is left where it is and told.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from pathlib import Path

from liveaid.files.aside import write_aside
from liveaid.files.inside import is_plain
from liveaid.practice.records import Kept
from liveaid.practice.trace import pack, unpack

_MAGIC = b"liveaid take 1\n"
_NAME = re.compile(r"([0-9a-f]{32})\.take")
_DIGEST_BYTES = 16
"""Enough to notice a spoiled file; nobody has a reason to forge one."""


class Spoiled(ValueError):
    """A take's file that is not what was written."""


class Journal:
    """The folder of takes that are not in the database yet: `takes.sqlite.waiting`."""

    def __init__(self, database: Path) -> None:
        self.folder = database.with_name(f"{database.name}.waiting")

    def write(self, code: str, take: Kept) -> None:
        """Put a take on the disk under its code. OSError when it does not go there."""
        write_aside(self._file(code), to_bytes(take))

    def waiting(self) -> list[str]:
        """The codes of the takes that wait, the oldest first; no file but ours is looked at."""
        try:
            found = [path for path in self.folder.iterdir() if _NAME.fullmatch(path.name)]
            plain = [path for path in found if is_plain(path)]
            return [path.stem for path in sorted(plain, key=lambda path: path.stat().st_mtime_ns)]
        except OSError:
            return []

    def read(self, code: str) -> Kept:
        """A take that waits. Spoiled when its file is not what was written; OSError."""
        return from_bytes(self._file(code).read_bytes())

    def drop(self, code: str) -> None:
        """The database has it: take its file away, and the folder with the last one."""
        try:
            self._file(code).unlink(missing_ok=True)
            os.rmdir(self.folder)
        except OSError:
            return  # others wait there; or the disk is read-only, and the code keeps it single

    def _file(self, code: str) -> Path:
        return self.folder / f"{code}.take"


def to_bytes(take: Kept) -> bytes:
    """A take as one file: what it is, a line of words, a line that tells it whole, the trace."""
    body = json.dumps(take.words()).encode() + b"\n" + pack(take.trace)
    return _MAGIC + _digest(body) + b"\n" + body


def from_bytes(data: bytes) -> Kept:
    """The take in a file's bytes. Spoiled when they are not what was written."""
    magic, rest = data[: len(_MAGIC)], data[len(_MAGIC) :]
    digest, _, body = rest.partition(b"\n")
    if magic != _MAGIC or digest != _digest(body):
        raise Spoiled("not a whole take")
    line, _, trace = body.partition(b"\n")
    return Kept.of_words(json.loads(line), unpack(trace))


def _digest(body: bytes) -> bytes:
    return hashlib.blake2b(body, digest_size=_DIGEST_BYTES).hexdigest().encode()
