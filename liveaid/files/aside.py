"""A file written beside its place, then moved there: never half a file, never a link's end."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path


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
