"""Tracker music as ground truth: rendered by libopenmpt, which tells on which row it stands.

A module is a score: its rows last a whole number of ticks, so its tempo is exact, and the player
itself says when each row begins. Needs Debian's libopenmpt0 (comes with openmpt123).
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from pathlib import Path

import numpy as np

RATE = 44100
BLOCK = 64
ROWS_IN_A_BEAT = (4, 8, 16)
"""Common practice, no source: which of them is taken, see `tempo_bpm`."""
EVEN = 0.97
"""A piece whose rows are not this evenly long has no one tempo and is left out."""


@dataclass(frozen=True, slots=True)
class Rendering:
    """Stereo sound, and the second at which each row begins."""

    samples: np.ndarray
    rows_s: np.ndarray

    def row_s(self) -> float | None:
        """Seconds of a row, by a line through the longest even stretch; None when uneven."""
        step = np.diff(self.rows_s)
        even = np.abs(step - np.median(step)) < 2.1 * BLOCK / RATE
        if len(step) < 32 or even.mean() < EVEN:
            return None
        edges = np.concatenate([[-1], np.flatnonzero(~even), [len(step)]])
        longest = int(np.argmax(np.diff(edges)))
        some = np.arange(edges[longest] + 1, edges[longest + 1] + 1)
        return float(np.polyfit(some, self.rows_s[some], 1)[0])

    def tempo_bpm(self) -> float | None:
        """4, 8 or 16 rows to a beat, whichever comes nearest to 120 BPM: the score does not say."""
        row_s = self.row_s()
        if row_s is None:
            return None
        choices = [60.0 / (row_s * rows) for rows in ROWS_IN_A_BEAT]
        return min(choices, key=lambda bpm: abs(np.log2(bpm / 120.0)))


def library() -> ctypes.CDLL:
    """libopenmpt with the types of what is used of it; OSError when it is not there."""
    lib = ctypes.CDLL("libopenmpt.so.0")
    pointer = ctypes.c_void_p
    lib.openmpt_module_create_from_memory2.restype = pointer
    lib.openmpt_module_create_from_memory2.argtypes = [ctypes.c_char_p, ctypes.c_size_t] + [
        pointer
    ] * 7
    lib.openmpt_module_destroy.argtypes = [pointer]
    lib.openmpt_module_read_float_stereo.restype = ctypes.c_size_t
    lib.openmpt_module_read_float_stereo.argtypes = [
        pointer, ctypes.c_int32, ctypes.c_size_t, pointer, pointer,
    ]  # fmt: skip
    for name in ("row", "order"):
        getattr(lib, f"openmpt_module_get_current_{name}").argtypes = [pointer]
    return lib


def render(lib: ctypes.CDLL, path: Path, seconds: float) -> Rendering:
    """The first seconds of a module, block by block, with a look at the row after each."""
    data = path.read_bytes()
    module = lib.openmpt_module_create_from_memory2(data, len(data), *[None] * 7)
    if not module:
        raise ValueError(f"{path}: no module")
    left, right = np.zeros(BLOCK, np.float32), np.zeros(BLOCK, np.float32)
    blocks, rows, last = [], [], None
    try:
        for block in range(int(seconds * RATE / BLOCK)):
            count = lib.openmpt_module_read_float_stereo(
                module, RATE, BLOCK, left.ctypes.data, right.ctypes.data
            )
            if not count:
                break
            now = (
                lib.openmpt_module_get_current_order(module),
                lib.openmpt_module_get_current_row(module),
            )
            if now != last:
                rows.append(block * BLOCK / RATE)
                last = now
            blocks.append(np.stack([left[:count], right[:count]], axis=1))
    finally:
        lib.openmpt_module_destroy(module)
    samples = np.concatenate(blocks) if blocks else np.zeros((0, 2), np.float32)
    return Rendering(
        samples / max(float(np.abs(samples).max(initial=0)), 1e-9) * 0.8, np.array(rows)
    )
