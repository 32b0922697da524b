"""A file written beside its place, then moved there: never half a file, never a link's end.

The performer's own file, written anew, is kept beside it under another name.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import reason


def write_aside(target: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Put a file in place in one step, on the disk before it is seen. OSError when it cannot be.

    A link that stands there is replaced, not followed.
    """
    with made_aside(target, mode=mode) as aside, aside.open("r+b") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


@contextlib.contextmanager
def made_aside(target: Path, *, mode: int = 0o644) -> Iterator[Path]:
    """An empty file beside its place, to write in; there when the block ends, gone if it breaks.

    OSError when it cannot be.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:60]}.")
    os.close(handle)
    aside = Path(name)
    try:
        yield aside
        aside.chmod(mode)
        aside.replace(target)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise


def write_keeping_old(target: Path, data: bytes) -> Path | None:
    """Put a file in place; returns where the old one is kept, None if there was none or no change.

    LiveaidError when the disk does not take it; the old file is then as it was.
    """
    try:
        if not os.path.lexists(target):
            write_aside(target, data)
            return None
        old = target.read_bytes()
        if old == data:
            return None
        kept = _free_name(target)
        write_aside(kept, old)
        write_aside(target, data)
    except OSError as error:
        would_do = "a file that can be written would do"
        raise LiveaidError(f"{target}: found {reason(error)}; {would_do}") from error
    return kept


def _free_name(target: Path) -> Path:
    number = 1
    while os.path.lexists(free := target.with_name(f"{target.stem}-old-{number}{target.suffix}")):
        number += 1
    return free
