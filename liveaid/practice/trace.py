"""A take's whole position trace as few bytes as will do, and back.

Layout: the magic, then zlib of a header and, per deck, the message times and positions as
integers in steps of 20 microseconds. Both are differenced twice, because a turning record changes
by the same step again and again, and their bytes are sorted by weight, because the high ones are
nearly all alike. 20 microseconds is one sample at 48 kHz, rounded down: finer than any sender.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.routine import SIDES, Side

Floats = NDArray[np.float64]
Message = tuple[float, Side, float]
"""Monotonic second of arrival, deck, deck-file second."""

STEP_S = 20e-6
_TRACE_MAGIC = b"liveaid trace 1\n"
_FAR_S = 1e8
_LARGEST = 256_000_000
"""Bytes a trace may unfold to: a day of two decks at a thousand messages a second is less."""


class TraceError(LiveaidError, ValueError):
    """The bytes are no trace, or are cut short."""


@dataclass(frozen=True, slots=True, eq=False)
class DeckTrace:
    """One deck's messages: `now_s` and `position_s`, both of shape (messages,), in time order."""

    now_s: Floats
    position_s: Floats

    def between(self, start_s: float, end_s: float) -> DeckTrace:
        """The messages that arrived from start to end."""
        first, last = np.searchsorted(self.now_s, [start_s, end_s])
        return DeckTrace(self.now_s[first:last], self.position_s[first:last])


Trace = dict[Side, DeckTrace]


def trace_of(messages: Iterable[Message]) -> Trace:
    """The messages sorted by deck and time of arrival."""
    listed = list(messages)
    return {side: _deck([(t, p) for t, s, p in listed if s == side]) for side in SIDES}


def messages_of(trace: Trace) -> list[Message]:
    """All messages of both decks in the order they arrived."""
    merged: list[Message] = [
        (float(t), side, float(p))
        for side, deck in trace.items()
        for t, p in zip(deck.now_s, deck.position_s, strict=True)
    ]
    return sorted(merged, key=lambda message: message[0])


def pack(trace: Trace) -> bytes:
    """The trace as bytes, each value rounded to 20 microseconds."""
    body = b""
    for side in SIDES:
        deck = trace[side]
        body += struct.pack("<q", len(deck.now_s)) + _column(deck.now_s) + _column(deck.position_s)
    return _TRACE_MAGIC + zlib.compress(body, 6)


def unpack(data: bytes) -> Trace:
    """The trace in the bytes that `pack` wrote. TraceError for anything else."""
    if not data.startswith(_TRACE_MAGIC):
        raise TraceError("not a trace: a file written by `liveaid review --trace` would do")
    inflate = zlib.decompressobj()
    try:
        body = inflate.decompress(data[len(_TRACE_MAGIC) :], _LARGEST)
    except zlib.error as error:
        raise TraceError(f"a damaged trace ({error}); an undamaged copy would do") from error
    trace, at = {}, 0
    for side in SIDES:
        count = _count(body, at)
        now_s, at = _values(body, at + 8, count)
        position_s, at = _values(body, at, count)
        trace[side] = DeckTrace(now_s, position_s)
    if at != len(body) or not inflate.eof:
        raise TraceError("a trace cut short; an undamaged copy would do")
    return trace


def _deck(heard: list[tuple[float, float]]) -> DeckTrace:
    table = np.array(sorted(heard, key=lambda message: message[0]), float).reshape(-1, 2)
    if not np.isfinite(table).all() or (np.abs(table) > _FAR_S).any():
        raise ValueError("a time or position that is not finite, or beyond three years")
    return DeckTrace(table[:, 0].copy(), table[:, 1].copy())


def _column(values: Floats) -> bytes:
    """Second differences of the values in steps, all lowest bytes first, then the next ones."""
    steps = np.rint(values / STEP_S).astype("<i8")
    twice = np.diff(np.diff(steps, prepend=0), prepend=0)
    zigzag = (twice << 1) ^ (twice >> 63)
    return zigzag.astype("<i8").view(np.uint8).reshape(-1, 8).T.tobytes()


def _count(body: bytes, at: int) -> int:
    if at + 8 > len(body):
        raise TraceError("a trace cut short; an undamaged copy would do")
    count = int(struct.unpack_from("<q", body, at)[0])
    if not 0 <= count * 16 <= len(body) - at:
        raise TraceError("a trace cut short; an undamaged copy would do")
    return count


def _values(body: bytes, at: int, count: int) -> tuple[Floats, int]:
    if at + count * 8 > len(body):
        raise TraceError("a trace cut short; an undamaged copy would do")
    table = np.frombuffer(body, np.uint8, count * 8, at).reshape(8, count).T
    zigzag = np.ascontiguousarray(table).view("<i8").reshape(count)
    twice = (zigzag >> 1 & 0x7FFFFFFFFFFFFFFF) ^ -(zigzag & 1)
    return np.cumsum(np.cumsum(twice)) * STEP_S, at + count * 8
