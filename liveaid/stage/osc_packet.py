"""What an OSC packet says, as flat messages: bundles unfolded, time tags set aside.

The readers of single types are python-osc's; the walk is our own, because its packet class cannot
be given to strangers: an element of negative size makes it loop for ever, a float cut short reads
as zero (a needle jump to the start of the file), and each unknown type tag is a line in the log.
Standard: Open Sound Control 1.0 (Wright, 2002).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

from pythonosc.parsing import osc_types

OSC_PACKET_MAX_BYTES = 16384
"""A bundle of MAX_MESSAGES positions with long addresses has some 12,000 bytes."""
MAX_MESSAGE_BYTES = 8192
"""A position message has some 30 bytes; nothing a deck says needs more than this."""
OSC_PACKET_MAX_DEPTH = 8
MAX_MESSAGES = 256
MAX_ARGUMENTS = 64

_BUNDLE = b"#bundle\x00"
_FLOAT = struct.Struct(">f")

Argument: TypeAlias = int | float | str | bytes | bool | None


@dataclass(frozen=True, slots=True)
class OscMessage:
    """One OSC message: its address as sent, and its arguments in order."""

    address: str
    arguments: tuple[Argument, ...]


class Refused(Exception):
    """Why a packet, or what it says, is not used: `reason` is one of osc.REASONS."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


def read_packet(data: bytes) -> list[OscMessage]:
    """All messages of one datagram, in the order written. Refused, and nothing else, is raised.

    Time tags are ignored: a position is true when it arrives, whatever the sender's clock says.
    """
    if len(data) > OSC_PACKET_MAX_BYTES:
        raise Refused("too large")
    messages: list[OscMessage] = []
    try:
        _element(data, 0, messages)
    except Refused:
        raise
    except (osc_types.ParseError, ValueError, IndexError) as error:
        raise Refused("cut short or garbled") from error
    return messages


def _element(data: bytes, depth: int, messages: list[OscMessage]) -> None:
    if len(data) % 4:
        raise Refused("cut short or garbled")  # "always a multiple of 4": OSC 1.0, OSC Packets
    if data.startswith(_BUNDLE):
        _bundle(data, depth, messages)
    elif data.startswith(b"/"):
        if len(data) > MAX_MESSAGE_BYTES:
            raise Refused("too large")
        if len(messages) >= MAX_MESSAGES:
            raise Refused("too many messages")
        messages.append(_message(data))
    else:
        raise Refused("not OSC")


def _bundle(data: bytes, depth: int, messages: list[OscMessage]) -> None:
    if depth >= OSC_PACKET_MAX_DEPTH:
        raise Refused("nested too deep")
    start = 16  # "#bundle" and its time tag
    if len(data) < start:
        raise Refused("cut short or garbled")
    while start < len(data):
        size, start = osc_types.get_int(data, start)
        if size <= 0 or start + size > len(data):
            raise Refused("cut short or garbled")
        _element(data[start : start + size], depth + 1, messages)
        start += size


def count_messages(data: bytes) -> int:
    """How many messages a datagram holds, at the cost of a look at each size; at least 1."""
    if not data.startswith(_BUNDLE):
        return 1
    count, start = 0, 16
    while start + 4 <= len(data):
        size = int.from_bytes(data[start : start + 4], "big")
        start += 4
        inner = data[start : start + size] if data.startswith(_BUNDLE, start) else b""
        # A bundle in a bundle is rare, and no deeper one is looked into.
        count += max(1, inner.count(b",")) if inner else 1
        start += max(size, 4)
    return max(count, 1)


@lru_cache(maxsize=512)
def _only_a_float(head: bytes) -> str | None:
    """The address of a message with one float, from its bytes but for the number's; None: another.

    Most of what decks send; their addresses are few, so that each is read only once.
    """
    address, start = osc_types.get_string(head, 0)
    return address if head[start:] == b",f\0\0" else None


def _message(data: bytes) -> OscMessage:
    if data[-8:-4] == b",f\0\0":
        known = _only_a_float(data[:-4])
        if known is not None:
            return OscMessage(known, _FLOAT.unpack(data[-4:]))
    address, start = osc_types.get_string(data, 0)
    if start == len(data):
        return OscMessage(address, ())  # older senders leave the type tags out: OSC 1.0
    tags, start = osc_types.get_string(data, start)
    if not tags.startswith(","):
        raise Refused("cut short or garbled")
    if len(tags) > MAX_ARGUMENTS + 1:
        raise Refused("too many arguments")
    arguments: list[Argument] = []
    for tag in tags[1:]:
        if tag in _WORDS:
            arguments.append(_WORDS[tag])
        elif tag in _READERS:
            size, read = _READERS[tag]
            if start + size > len(data):
                raise Refused("cut short or garbled")
            value, start = read(data, start)
            arguments.append(value)
        elif tag not in "[]":  # arrays are read flat: an argument keeps its place in the message
            raise Refused("unknown type")
    if start != len(data):
        raise Refused("cut short or garbled")
    return OscMessage(address, tuple(arguments))


def _blob(data: bytes, start: int) -> tuple[bytes, int]:
    value, end = osc_types.get_blob(data, start)
    if end < start + 4:
        raise Refused("cut short or garbled")  # a negative size would walk backwards
    return value, end


_READERS: dict[str, tuple[int, Callable[[bytes, int], tuple[Any, int]]]] = {
    "i": (4, osc_types.get_int),
    "f": (4, osc_types.get_float),
    "h": (8, osc_types.get_int64),
    "d": (8, osc_types.get_double),
    "s": (4, osc_types.get_string),
    "S": (4, osc_types.get_string),
    "b": (4, _blob),
    "t": (8, osc_types.get_uint64),
    "c": (4, osc_types.get_int),
    "r": (4, osc_types.get_int),
    "m": (4, osc_types.get_int),
}
"""Type tag: fewest bytes, reader. Tags and sizes: OSC 1.0, "OSC Type Tag String"."""

_WORDS: dict[str, Argument] = {"T": True, "F": False, "N": None, "I": float("inf")}
"""Types that have no bytes: true, false, nil, infinitum."""
