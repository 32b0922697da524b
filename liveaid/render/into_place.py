"""A set of files written aside in their own folder, then moved into place together.

Everything is written in full before the first move, and the moves are renames within one folder,
so a crash, a full disk or Ctrl-C leaves the files that were there. The last file given moves last.
What a crash left aside is cleared, the files by the names they were given and nothing else.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import reason

_PREFIX = ".making-"
_FORGOTTEN_S = 3600.0
"""An aside folder untouched for so long was left by a crash."""


@contextlib.contextmanager
def folder_aside(folder: Path, names: Sequence[str]) -> Iterator[Path]:
    """A folder beside the files to come, to write them in by these names; gone when the block ends.

    LiveaidError when the folder cannot be made or written to.
    """
    with said_clearly(folder):
        folder.mkdir(parents=True, exist_ok=True)
        _clear_forgotten(folder, names)
        aside = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{os.getpid()}-", dir=folder))
    try:
        yield aside
    finally:
        _drop(aside, names)


def move_into_place(aside: Path, folder: Path, names: Sequence[str]) -> None:
    """Move each file from `aside` to its place in `folder`, in order; a link there is replaced, not
    followed. LiveaidError when one cannot be."""
    with said_clearly(folder):
        for name in names:
            (aside / name).chmod(0o644)
            (aside / name).replace(folder / name)
        _sync_folder(folder)


@contextlib.contextmanager
def said_clearly(folder: Path) -> Iterator[None]:
    """Turns what the system says into a sentence with a way out. Raises LiveaidError."""
    try:
        yield
    except OSError as error:
        raise LiveaidError(_sentence(error, folder)) from error


def _sentence(error: OSError, folder: Path) -> str:
    kept = "the files that were there are as they were"
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        free = shutil.disk_usage(folder if folder.is_dir() else folder.parent).free
        full = f"the disk full, {free / 1e6:.0f} MB left"
        return f"{folder}: found {full}; more room would do; {kept}"
    if error.errno == errno.EFBIG:
        return f"{folder}: found a limit on the size of a file; a higher one would do; {kept}"
    return f"{folder}: found {reason(error)}; a folder that can be written to would do; {kept}"


def _clear_forgotten(folder: Path, names: Sequence[str]) -> None:
    for path in folder.glob(f"{_PREFIX}*"):
        with contextlib.suppress(OSError):
            if stat.S_ISDIR(path.lstat().st_mode) and _left_by_a_crash(path):
                _drop(path, names)


def _drop(aside: Path, names: Sequence[str]) -> None:
    """Delete an aside folder's files by their names, then the folder if nothing else is in it."""
    with contextlib.suppress(OSError):
        for path in aside.iterdir():
            if any(path.name == name or path.name.startswith(f".{name}.") for name in names):
                path.unlink(missing_ok=True)
        aside.rmdir()


def _left_by_a_crash(path: Path) -> bool:
    """Whether nobody writes there any more: its process is gone, or it is old."""
    if time.time() - path.stat().st_mtime > _FORGOTTEN_S:
        return True
    number = path.name.removeprefix(_PREFIX).partition("-")[0]
    if os.name != "posix" or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)  # signal 0 is not sent; it asks whether there is such a process
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _sync_folder(folder: Path) -> None:
    """Have the renames on the disk, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def set_aside(path: Path) -> Path:
    """Rename a file that is not ours to a free name beside it, and say which."""
    for number in range(1, 1000):
        free = path.with_name(f"{path.stem}-kept-{number}{path.suffix}")
        if not os.path.lexists(free):
            with said_clearly(path.parent):
                path.rename(free)
            return free
    raise LiveaidError(f"{path}: found a file that is not ours and no free name; move it away")
