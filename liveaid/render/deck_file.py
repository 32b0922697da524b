"""One 24-bit WAV file, written block by block, with its cue points.

Written by hand rather than by a library so that a full disk is an OSError where it happens, and
so that the cue points are in the file from the first write.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from liveaid.files.inside import is_plain
from liveaid.render.cue_chunk import (
    MAKER,
    CuePoint,
    chunk,
    cue_chunks,
    format_chunk,
    info_chunk,
    riff_sizes,
)
from liveaid.render.edges import Samples

FRAME_BYTES = 6
"""Two channels of 24 bits."""
_FULL_SCALE = 2**23


def packed(sound: Samples) -> bytes:
    """Samples of shape (frames, 2), full scale at 1.0, as little-endian 24-bit integers."""
    whole = np.rint(sound * np.float32(_FULL_SCALE))
    numbers = np.clip(whole, -_FULL_SCALE, _FULL_SCALE - 1).astype("<i4")
    return np.ascontiguousarray(numbers).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def write_deck_file(
    path: Path,
    blocks: Iterable[Samples],
    *,
    frames: int,
    rate_hz: int,
    title: str,
    points: Sequence[CuePoint] = (),
) -> None:
    """Write the file and see it on the disk. OSError when it cannot be; ValueError when too long.

    The blocks must hold `frames` frames in all.
    """
    before = format_chunk(rate_hz=rate_hz, channels=2, bits=24) + info_chunk(title)
    after = cue_chunks(points)
    riff, data = riff_sizes(frames * FRAME_BYTES, len(before) + len(after))
    with path.open("wb") as file:
        file.write(b"RIFF" + riff.to_bytes(4, "little") + b"WAVE" + before)
        file.write(b"data" + data.to_bytes(4, "little"))
        written = 0
        for block in blocks:
            file.write(packed(block))
            written += len(block)
        if written != frames:
            raise ValueError(f"{path.name}: {written} frames came, {frames} were announced")
        file.write(after)
        file.flush()
        os.fsync(file.fileno())


def ours(path: Path) -> bool:
    """Whether a file is one this program wrote, by its INFO list."""
    if not is_plain(path):
        return False
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError:
        return False
    return head[:4] == b"RIFF" and chunk(b"ISFT", MAKER + b"\0") in head
