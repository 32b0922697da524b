"""Where a name in a folder really leads: inside it, or by `..` or a link out of it.

A scene may come from a stranger. What it names is read, and what we write goes, only where it
may: every name is followed to its end before anything is opened, and only plain files are opened,
since a pipe or a device can wait for ever.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Sequence
from pathlib import Path

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import reason, sort_of
from liveaid.files.harmless import harmless
from liveaid.files.names import shown

MOST_BYTES_A_NAME = 255
"""Longest name in a folder: NAME_MAX of the file systems in use (ext4, APFS, NTFS in its units)."""


class Stray(LiveaidError):
    """A name that must not be followed. `found` says what it is, `outside` whether it leads out."""

    def __init__(self, found: str, *, outside: bool = False) -> None:
        self.found = found
        self.outside = outside
        super().__init__(f"found {found}")


def odd_name(name: str) -> str:
    """What is odd about a file's name, in words; empty when nothing is."""
    if not name.strip():
        return "a name of nothing but blanks"
    if harmless(name, lines=False) != name:
        return "a name with control characters"
    try:
        longest = max(len(part.encode()) for part in name.replace("\\", "/").split("/"))
    except UnicodeEncodeError:
        return "a name with half a letter"
    return "" if longest <= MOST_BYTES_A_NAME else f"a name of {longest} bytes"


def followed(name: str, folder: Path, allowed: Sequence[Path]) -> Path:
    """The file or folder that `name`, seen from `folder`, leads to, all links followed.

    Stray when that is below none of `allowed` or cannot be looked at. What is not there at all
    may come to be, and is no stray.
    """
    if odd := odd_name(name):
        raise Stray(odd)
    path = folder / os.path.expanduser(name)
    try:
        end = Path(os.path.realpath(path))
        below = any(is_below(end, Path(os.path.realpath(one))) for one in allowed)
    except (OSError, ValueError) as error:
        raise Stray(f"{shown(path)}, which cannot be looked at") from error
    if not below:
        raise Stray(_way_out(path, end), outside=True)
    return end


def plain_file(name: str, folder: Path, allowed: Sequence[Path]) -> Path:
    """`followed`, and what is there is a plain file or nothing. Stray otherwise."""
    end = followed(name, folder, allowed)
    try:
        mode = os.stat(end).st_mode
    except FileNotFoundError:
        return end
    except OSError as error:
        why = "a link in a circle" if error.errno == errno.ELOOP else reason(error)
        raise Stray(f"{shown(end)}, {why}") from error
    if not stat.S_ISREG(mode):
        raise Stray(f"{shown(end)}, {sort_of(mode)}")
    return end


def is_below(path: Path, folder: Path) -> bool:
    """Whether a path, both without links, is the folder or lies in it."""
    return path == folder or folder in path.parents


def is_plain(path: Path) -> bool:
    """Whether a plain file lies there, no link: what we made ourselves, as far as looks go."""
    try:
        return stat.S_ISREG(os.lstat(path).st_mode)
    except (OSError, ValueError):
        return False


def _way_out(path: Path, end: Path) -> str:
    apart = Path(os.path.abspath(path))
    if apart == end:
        return f"{shown(end)}, outside the scene's folder"
    return f"{shown(path)}, which leads out of the scene's folder, to {shown(end)}"
