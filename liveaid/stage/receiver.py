"""The UDP socket positions arrive on: drained in one go, each datagram at its own arrival time."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import struct
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from liveaid.stage.address import Address, StageError
from liveaid.stage.osc import Heard, read_positions
from liveaid.stage.osc_map import Table
from liveaid.stage.osc_packet import MAX_BYTES
from liveaid.stage.words import WordError

ASKED_BYTES = 4 * 1024 * 1024
"""The default buffer keeps some 256 small datagrams while the loop is busy; this keeps a second's
worth of the fastest senders."""
LATE_S = 0.5
"""A datagram that lay in the queue longer than this says where the record was, not where it is."""
AT_ONCE = 512
"""Datagrams read before the loop may do something else: a flood must not starve the page, and what
queued up during a hitch is to be heard whole before the prompt is worked out from it."""
_SO_TIMESTAMPNS = 35 if sys.platform == "linux" else None
_TIMESPEC = struct.Struct("@qq")


@dataclass(slots=True)
class Counts:
    """What has come in, for /health."""

    datagrams: int = 0
    heard: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    last_refused: dict[str, Any] | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain counts by name."""
        return {
            "datagrams": self.datagrams,
            "heard": dict(self.heard),
            "refused": dict(self.refused),
            "last_refused": self.last_refused,
        }


class Receiver:
    """Owns the socket; hands over what was heard, a batch at a time, on the loop's own thread."""

    def __init__(
        self,
        table: Table,
        heard: Callable[[Sequence[Heard]], None],
        word: Callable[[object, object], Any] = lambda word, piece: None,
    ) -> None:
        """`heard` is told what decks said; `word` a word and its set piece as they were sent, and
        raises WordError when they are none."""
        self._table = table
        self._told = heard
        self._word = word
        self._socket: socket.socket | None = None
        self.counts = Counts()
        self.granted_bytes = 0

    def open(self, address: Address) -> None:
        """Listen at `address`. StageError when it is taken or not this machine's."""
        opened = socket.socket(address.family(socket.SOCK_DGRAM), socket.SOCK_DGRAM)
        try:
            opened.setblocking(False)
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, ASKED_BYTES)
            if _SO_TIMESTAMPNS is not None:
                with contextlib.suppress(OSError):
                    opened.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
            opened.bind((address.host, address.port))
        except OSError as error:
            opened.close()
            raise _cannot_listen(address, error) from error
        self.granted_bytes = opened.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
        self._socket = opened
        asyncio.get_running_loop().add_reader(opened, self._drain)

    @property
    def address(self) -> Address:
        """Where it listens, the port filled in."""
        assert self._socket is not None
        host, port = self._socket.getsockname()[:2]
        return Address(host, port)

    def to_json(self) -> dict[str, Any]:
        """Where it listens and what came in, for /health."""
        return {
            "address": str(self.address),
            "buffer_bytes": self.granted_bytes,
            **self.counts.to_json(),
        }

    def close(self) -> None:
        """Stop listening; what is still queued is lost."""
        if self._socket is not None:
            asyncio.get_running_loop().remove_reader(self._socket)
            self._socket.close()
            self._socket = None

    def _drain(self) -> None:
        heard: list[Heard] = []
        now, real_now = time.monotonic(), time.time()
        for _ in range(AT_ONCE):
            assert self._socket is not None
            try:
                data, extra, sender = _receive(self._socket)
            except (BlockingIOError, InterruptedError):
                break
            except OSError:  # a reply to something we never sent (ICMP); nothing to read
                break
            self.counts.datagrams += 1
            age_s = _age_s(extra, real_now)
            if age_s > LATE_S:
                self._refuse("too late", sender)
                continue
            reading = read_positions(data, self._table, now - age_s)
            heard.extend(reading.heard)
            for word, piece in reading.words:
                self._hear_word(word, piece, sender)
            for reason in reading.refused:
                self._refuse(reason, sender)
        if heard:
            self.counts.heard.update(item.what for item in heard)
            self._told(heard)

    def _hear_word(self, word: object, piece: object, sender: Any) -> None:
        try:
            self._word(word, piece)
        except WordError:
            self._refuse("no such word", sender)

    def _refuse(self, reason: str, sender: Any) -> None:
        self.counts.refused[reason] += 1
        self.counts.last_refused = {"reason": reason, "from": f"{sender[0]}:{sender[1]}"}


def _receive(opened: socket.socket) -> tuple[bytes, Sequence[tuple[int, int, bytes]], Any]:
    if _SO_TIMESTAMPNS is None:
        data, sender = opened.recvfrom(MAX_BYTES + 1)
        return data, (), sender
    data, extra, _, sender = opened.recvmsg(MAX_BYTES + 1, 64)
    return data, extra, sender


def _age_s(extra: Sequence[tuple[int, int, bytes]], real_now: float) -> float:
    """How long ago the kernel took the datagram in; 0 where it does not say, or its clock was set.

    Measured on the kernel's own clock, so a loop that was busy does not make hands seem to jump.
    """
    for level, kind, data in extra:
        if level == socket.SOL_SOCKET and kind == _SO_TIMESTAMPNS and len(data) >= _TIMESPEC.size:
            seconds, nanoseconds = _TIMESPEC.unpack_from(data)
            age_s: float = real_now - seconds - nanoseconds * 1e-9
            return age_s if 0.0 <= age_s < 86400.0 else 0.0
    return 0.0


def _cannot_listen(address: Address, error: OSError) -> StageError:
    if error.errno == errno.EADDRINUSE:
        why = "another program listens there already; --osc with another port would do"
    elif error.errno == errno.EADDRNOTAVAIL:
        why = "that is no address of this machine; 127.0.0.1, or 0.0.0.0 for all, would do"
    else:
        why = error.strerror or str(error)
    return StageError(f"cannot listen for OSC at {address}: {why}")
