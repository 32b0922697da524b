"""What a sound file's container promises, read from its bytes: decoders keep silent about it.

Sources: RIFF/WAVE (IBM and Microsoft 1991; RF64: EBU Tech 3306), AIFF 1.3 (Apple 1989),
Ogg pages (RFC 3533), MPEG audio frames (ISO/IEC 11172-3), their Xing frame count from memory.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass, replace
from typing import BinaryIO

UNKNOWN = 0xFFFFFFFF
OGG_END_OF_STREAM = 4


@dataclass(frozen=True, slots=True)
class Promise:
    """Frames the container promises (None: it does not say), and a fault seen in it."""

    frames: int | None = None
    fault: str = ""
    padding: tuple[int, int] = (0, 0)
    """Frames of silence, at least and at most, that the coder added without telling, so that the
    decoder could not take them off."""


def promised(stream: BinaryIO) -> Promise:
    """What the container of an open file promises."""
    size = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    head = stream.read(12)
    if head[:4] in (b"RIFF", b"RF64") and head[8:] == b"WAVE":
        return Promise(_wav_frames(stream, size))
    if head[:4] == b"FORM" and head[8:] in (b"AIFF", b"AIFC"):
        return Promise(_aiff_frames(stream, size))
    if head[:4] == b"OggS":
        return Promise(fault=_ogg_fault(stream, size))
    if head[:3] == b"ID3" or (len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0):
        return _mpeg_promise(stream, size)
    return Promise()


# A decoder of layer III begins 529 frames late and coders as a rule 576 more; the end is filled up
# to a whole frame. AAC in a bare stream (ADTS) begins a frame late at least, 2112 at most. (From
# memory; found so in files by three coders.)
_MPEG_LATE = 1105
_AAC_PADDING = (1024, 2112 + 1023)


def _wav_frames(stream: BinaryIO, size: int) -> int | None:
    """Frames by the data chunk's own size."""
    at, align, long_data = 12, 0, None
    while at + 8 <= size:
        stream.seek(at)
        name, length = struct.unpack("<4sI", stream.read(8))
        if name == b"ds64":
            long_data = struct.unpack("<8xQ", stream.read(16))[0] if at + 24 <= size else None
        elif name == b"fmt ":
            body = stream.read(16)
            # Only where a frame has a fixed size (PCM, float, extensible) do bytes tell frames.
            coding = int.from_bytes(body[:2], "little")
            align = int.from_bytes(body[12:14], "little") if coding in (1, 3, 0xFFFE) else 0
        elif name == b"data":
            length = long_data if length == UNKNOWN and long_data else length
            return length // align if align and length not in (0, UNKNOWN) else None
        at += 8 + length + (length & 1)
    return None


def _aiff_frames(stream: BinaryIO, size: int) -> int | None:
    """Frames by the common chunk."""
    at = 12
    while at + 8 <= size:
        stream.seek(at)
        name, length = struct.unpack(">4sI", stream.read(8))
        if name == b"COMM":
            body = stream.read(6)
            return int.from_bytes(body[2:6], "big") if len(body) == 6 else None
        at += 8 + length + (length & 1)
    return None


def _ogg_fault(stream: BinaryIO, size: int) -> str:
    """Whether the last page is whole and says that it is the last."""
    stream.seek(max(0, size - 70_000))  # a page is at most 65,307 bytes
    tail = stream.read()
    at = tail.rfind(b"OggS")
    cut = "cut off: the stream stops without its closing page"
    if at < 0 or at + 27 > len(tail):
        return cut
    lacing = tail[at + 27 : at + 27 + tail[at + 26]]
    whole = len(lacing) == tail[at + 26] and at + 27 + len(lacing) + sum(lacing) <= len(tail)
    return "" if whole and tail[at + 5] & OGG_END_OF_STREAM else cut


# Layer III, kbit/s by index, for MPEG-1 and for MPEG-2 and 2.5; frames a second by index.
_KBIT_1 = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
_KBIT_2 = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_RATES = (44100, 48000, 32000)


_GAPLESS_AT = 141
"""Bytes from an info header to the three that tell what was added at the start and the end, where
its writer says so (LAME's extension, from memory)."""


@dataclass(frozen=True, slots=True)
class _Frame:
    bytes: int
    samples: int
    info_at: int
    """Where an info header stands in it, bytes from its start."""


def _mpeg_frame(head: bytes) -> _Frame | None:
    """The layer III frame behind four bytes; None where there is none."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE6 != 0xE2:
        return None
    version, kbit, rate = head[1] >> 3 & 3, head[2] >> 4, head[2] >> 2 & 3
    if version == 1 or kbit in (0, 15) or rate == 3:
        return None
    one, mono = version == 3, head[3] >> 6 == 3
    rate_hz = _RATES[rate] >> (0 if one else 1 if version == 2 else 2)
    samples = 1152 if one else 576
    kbit_s = (_KBIT_1 if one else _KBIT_2)[kbit]
    length = samples // 8 * kbit_s * 1000 // rate_hz + (head[2] >> 1 & 1)
    return _Frame(length, samples, 4 + ((17 if mono else 32) if one else (9 if mono else 17)))


def _mpeg_promise(stream: BinaryIO, size: int) -> Promise:
    """The frame count of the info header against the bytes there are, or the last frame's end."""
    at = _after_tag(stream)
    stream.seek(at)
    first = stream.read(4096)
    frame = _mpeg_frame(first)
    if frame is None:
        return Promise(padding=_AAC_PADDING if _is_adts(first) else (0, 0))
    added = (_MPEG_LATE, _MPEG_LATE + frame.samples)
    info = first[frame.info_at : frame.info_at + 16]
    if info[:4] in (b"Xing", b"Info") and len(info) == 16 and info[7] & 3 == 3:
        told = int.from_bytes(info[12:16], "big")
        # A byte or two of slack: writers differ in whether the info frame itself is counted.
        short = size - at < told - frame.bytes - 2
        fault = f"cut off: the header promises {told} bytes, {size - at} are there"
        tells = any(first[frame.info_at + _GAPLESS_AT :][:3])
        return Promise(fault=fault if told and short else "", padding=(0, 0) if tells else added)
    return replace(_walked(stream, at, size), padding=added)


def _is_adts(head: bytes) -> bool:
    """Whether a bare AAC stream begins here: its sync word, and layer 0."""
    return len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0


def _after_tag(stream: BinaryIO) -> int:
    """Where the audio begins behind a leading tag."""
    stream.seek(0)
    head = stream.read(10)
    if head[:3] != b"ID3" or len(head) < 10:
        return 0
    length = 0
    for byte in head[6:10]:
        length = length << 7 | byte & 0x7F
    return 10 + length + (10 if head[5] & 0x10 else 0)


def _walked(stream: BinaryIO, at: int, size: int) -> Promise:
    """Walk frame by frame, since the decoder only guesses: how many, and the last one's end."""
    frames = 0
    while True:
        stream.seek(at)
        frame = _mpeg_frame(stream.read(4))
        if frame is None:
            break  # the end, a trailing tag, or something the decoder will speak about
        frames += frame.samples
        at += frame.bytes
    return Promise(frames, "cut off: the last frame stops in the middle" if at > size else "")
