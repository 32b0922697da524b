"""The parts of a WAV file around its samples: format, cue points and their labels, as bytes.

Layout: Microsoft and IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991),
"Waveform Audio File Format": `cue `, and `LIST` of type `adtl` with one `labl` a cue point.
Little-endian; a chunk of odd size is followed by one zero byte its size does not count.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

MOST_BYTES = 0xFFFF_FFFF
"""A RIFF size is 32 bits."""
MAKER = b"liveaid"
"""What the INFO list's ISFT says, so that a file we made is known again."""
_LONGEST_LABEL = 200
"""Bytes of a label; readers reserve 256 for it."""


@dataclass(frozen=True, slots=True)
class CuePoint:
    """A frame of the file and what stands there."""

    frame: int
    label: str


def chunk(name: bytes, body: bytes) -> bytes:
    """One RIFF chunk: name, size, body, and the byte that makes it even."""
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def format_chunk(*, rate_hz: int, channels: int, bits: int) -> bytes:
    """`fmt ` for plain PCM."""
    frame = channels * bits // 8
    return chunk(
        b"fmt ", struct.pack("<HHIIHH", 1, channels, rate_hz, rate_hz * frame, frame, bits)
    )


def cue_chunks(points: Sequence[CuePoint]) -> bytes:
    """`cue ` and its labels. Points are numbered from 1 in the order of their frames."""
    if not points:
        return b""
    ordered = sorted(points, key=lambda point: point.frame)
    table = struct.pack("<I", len(ordered))
    labels = b"adtl"
    for number, point in enumerate(ordered, start=1):
        # One data chunk: chunk and block start are 0, and both positions count its frames.
        table += struct.pack("<II4sIII", number, point.frame, b"data", 0, 0, point.frame)
        labels += chunk(b"labl", struct.pack("<I", number) + _text(point.label))
    return chunk(b"cue ", table) + chunk(b"LIST", labels)


def info_chunk(title: str) -> bytes:
    """`LIST` of type `INFO`: the title, and that we made the file."""
    body = b"INFO" + chunk(b"INAM", _text(title)) + chunk(b"ISFT", MAKER + b"\0")
    return chunk(b"LIST", body)


def riff_sizes(data_bytes: int, around: int) -> tuple[int, int]:
    """The sizes the RIFF and data headers state. ValueError when 32 bits cannot hold them.

    `around` is the bytes of all other chunks, their headers included.
    """
    riff = 4 + around + 8 + data_bytes + data_bytes % 2
    if riff > MOST_BYTES:
        raise ValueError(f"{riff} bytes; a WAV file holds {MOST_BYTES}")
    return riff, data_bytes


def _text(text: str) -> bytes:
    """A label's bytes, cut at a whole character, with the zero that ends it."""
    plain = " ".join(text.replace("\0", " ").split())
    return plain.encode()[:_LONGEST_LABEL].decode(errors="ignore").encode() + b"\0"
