"""Which files below a folder may be sounds, and which bytes they hold.

Walking never stops at a bad entry: it is a `Trouble`, one line, and the rest goes on. Nothing but
regular files is ever opened, since opening a pipe or a device can wait for ever.
"""

from __future__ import annotations

import errno
import os
import stat
import time
from collections.abc import Iterator
from dataclasses import dataclass

from liveaid.files.file_bytes import Signature, reason, signature_of, sort_of
from liveaid.files.names import shown

SOUND_ENDINGS = frozenset({
    ".wav", ".wave", ".bwf", ".rf64", ".w64", ".aif", ".aiff", ".aifc", ".flac", ".ogg", ".oga",
    ".opus", ".mp3", ".mp2", ".m4a", ".aac", ".wma", ".caf", ".au", ".snd",
})  # fmt: skip
"""Endings of files that claim to be sounds; others are passed over without a word."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A file that claims to be a sound, not yet opened."""

    path: str
    signature: Signature


@dataclass(frozen=True, slots=True)
class Trouble:
    """A file or folder that could not be gathered, and why in one line."""

    path: str
    why: str
    out_of_sight: bool = False
    """True when what is there, or below, could not even be looked at: it may be as it was."""

    def __str__(self) -> str:
        return f"{shown(self.path)}: {self.why}"


@dataclass(frozen=True, slots=True)
class Passed:
    """An entry that claims to be no sound."""

    path: str


Found = Entry | Trouble | Passed


def walk(root: str) -> Iterator[Found]:
    """Every file below a folder in the order of names, folders behind links last.

    Links are followed, each folder is entered once. `root` may also be one file, which is then
    looked at whatever its ending.
    """
    if not os.path.isdir(root):
        yield _judged(root)
        return
    real = [_Folder(root, ())]
    linked: list[_Folder] = []
    entered: dict[tuple[int, int], str] = {}
    while real or linked:
        folder = (real or linked).pop()
        listing = _enter(folder, entered)
        if isinstance(listing, Trouble):
            yield listing
            continue
        for child in listing:
            if not _is_folder(child):
                yield _candidate(child)
        inner = (*folder.above, folder.path)
        for child in reversed(listing):
            if _is_folder(child) and not child.name.startswith("."):
                (linked if child.is_symlink() else real).append(_Folder(child.path, inner))


@dataclass(frozen=True, slots=True)
class _Folder:
    path: str
    above: tuple[str, ...]
    """The folders it was reached through, outermost first."""


def _enter(
    folder: _Folder, entered: dict[tuple[int, int], str]
) -> list[os.DirEntry[str]] | Trouble:
    """A folder's entries by name; none when it was entered by another way before."""
    try:
        status = os.stat(folder.path)
        place = (status.st_dev, status.st_ino)
        first = entered.setdefault(place, folder.path)
        if first in folder.above:
            return Trouble(folder.path, f"a link in a circle, back to {shown(first)}")
        if first != folder.path:
            return []
        with os.scandir(folder.path) as listing:
            return sorted(listing, key=lambda child: child.name)
    except OSError as error:
        why = f"this folder cannot be read: {reason(error)}"
        return Trouble(folder.path, why, out_of_sight=True)


def below(path: str, folder: str) -> bool:
    """Whether a path is a folder itself or lies in it, by name alone."""
    return path == folder or path.startswith(folder.rstrip(os.sep) + os.sep)


def _candidate(child: os.DirEntry[str]) -> Found:
    ending = os.path.splitext(child.name)[1].lower()
    if child.name.startswith(".") or ending not in SOUND_ENDINGS:
        return Passed(child.path)
    return _judged(child.path)


def _judged(path: str) -> Found:
    try:
        status = os.stat(path)
    except OSError as error:
        if error.errno == errno.ENOENT and os.path.islink(path):
            return Trouble(path, "a link that leads nowhere")
        return Trouble(path, f"cannot be looked at: {reason(error)}", out_of_sight=True)
    if not stat.S_ISREG(status.st_mode):
        return Trouble(path, f"{sort_of(status.st_mode)}, not a file")
    if status.st_size == 0:
        return Trouble(path, "an empty file, 0 bytes")
    return Entry(path, signature_of(status, now_ns=time.time_ns()))


def _is_folder(child: os.DirEntry[str]) -> bool:
    try:
        return child.is_dir()
    except OSError:
        return False
