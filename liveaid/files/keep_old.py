"""The performer's own file written anew, the one that was there kept beside it."""

from __future__ import annotations

import os
from pathlib import Path

from liveaid.errors import LiveaidError
from liveaid.files.aside import write_aside


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
        why = (error.strerror or str(error)).lower()
        raise LiveaidError(f"{target}: found {why}; a file that can be written would do") from error
    return kept


def _free_name(target: Path) -> Path:
    number = 1
    while os.path.lexists(free := target.with_name(f"{target.stem}-old-{number}{target.suffix}")):
        number += 1
    return free
