"""A file written beside its place, then moved there: never half a file, never a link's end."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_aside(target: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Put a file in place in one step, on the disk before it is seen. OSError when it cannot be.

    A link that stands there is replaced, not followed.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, aside = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:60]}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(aside, mode)
        os.replace(aside, target)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise
