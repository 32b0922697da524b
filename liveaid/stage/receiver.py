"""The UDP socket positions arrive on: emptied often, read within a budget, each at its own time.

A turn takes in what the system holds, then reads what waits, oldest first, for a few milliseconds;
then the loop may do something else, and another turn follows while anything waits. What is beyond
the budget is dropped (backlog.py) and counted.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from liveaid.stage.address import Address, cannot
from liveaid.stage.backlog import Backlog, Datagram
from liveaid.stage.kernel_drops import ask_for_buffer, dropped_by_system
from liveaid.stage.osc import Heard, Reading, read_positions
from liveaid.stage.osc_map import Table
from liveaid.stage.osc_packet import OSC_PACKET_MAX_BYTES, count_messages
from liveaid.stage.words import WordError

ASKED_BYTES = 4 * 1024 * 1024
"""The default buffer keeps some 256 small datagrams while the loop is busy; this keeps a second's
worth of the fastest senders."""
RECEIVER_LATE_S = 0.5
"""A datagram that lay in the queue longer than this says where the record was, not where it is."""
RECEIVER_AT_ONCE = 128
"""Datagrams taken in at a turn; some 2 ms at most, so that the page is not starved."""
BUDGET_S = 0.002
"""Seconds of a turn in which what waits is read and heard: a page's request takes some six turns,
and is to be answered well within half a second where other programs have most of the machine."""
MOST_USELESS = 256
"""Addresses remembered as useless, so that a flood of them costs next to nothing."""
_BY_ADDRESS = ("unknown address", "unknown deck", "wildcard in address")
LOOK_EVERY = 16
"""Datagrams between two looks at the clock."""
_SO_TIMESTAMPNS = 35 if sys.platform == "linux" else None
_TIMESPEC = struct.Struct("@qq")


@dataclass(slots=True)
class Counts:
    """What has come in, for /health."""

    datagrams: int = 0
    messages: int = 0
    heard: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    last_refused: tuple[str, Any] | None = None
    """The reason, and who sent it."""
    over_budget: int = 0
    """Messages dropped, oldest first, because more came than can be heard."""
    last_over_budget: str | None = None
    """Who sent the last of them."""

    def to_json(self) -> dict[str, Any]:
        """Plain counts by name."""
        last = self.last_refused
        return {
            "datagrams": self.datagrams,
            "messages": self.messages,
            "heard": dict(self.heard),
            "refused": dict(self.refused),
            "last_refused": last and {"reason": last[0], "from": f"{last[1][0]}:{last[1][1]}"},
        }


def in_order(arrived: Sequence[tuple[bytes, float, Any]]) -> list[tuple[bytes, float, Any]]:
    """Datagrams in the order they came, none stamped later than one after it.

    Linux stamps a datagram when it is read, not when it came, until a moment after stamping was
    asked for: the first ones would seem newer than those behind them.
    """
    latest_s, found = float("inf"), []
    for data, arrived_s, sender in reversed(arrived):
        latest_s = min(latest_s, arrived_s)
        found.append((data, latest_s, sender))
    return found[::-1]


class Receiver:
    """Owns the socket; hands over what was heard on the loop's own thread."""

    def __init__(
        self,
        table: Table,
        *,
        hear: Callable[[Heard], None],
        settled: Callable[[Sequence[Heard], bool], None],
        word: Callable[[object, object], Any] = lambda word, piece: None,
    ) -> None:
        """`hear` is told each thing a deck said; `settled` all of a turn, and whether more waits;
        `word` a word and its set piece as they were sent, and raises WordError when they are none.
        """
        self._table = table
        self._hear, self._settled, self._word = hear, settled, word
        self._socket: socket.socket | None = None
        self._backlog = Backlog()
        self._again: asyncio.Handle | None = None
        self._useless: dict[bytes, str] = {}
        self.counts = Counts()
        self.granted_bytes = 0

    def open(self, address: Address) -> None:
        """Listen at `address`. StageError when it is taken or not this machine's."""
        opened = socket.socket(address.family(socket.SOCK_DGRAM), socket.SOCK_DGRAM)
        try:
            opened.setblocking(False)
            self.granted_bytes = ask_for_buffer(opened, ASKED_BYTES)
            if _SO_TIMESTAMPNS is not None:
                with contextlib.suppress(OSError):
                    opened.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
            opened.bind((address.host, address.port))
        except OSError as error:
            opened.close()
            raise cannot("listen for OSC", address, error, "--osc") from error
        self._socket = opened
        asyncio.get_running_loop().add_reader(opened, self.turn)

    @property
    def address(self) -> Address:
        """Where it listens, the port filled in."""
        assert self._socket is not None
        host, port = self._socket.getsockname()[:2]
        return Address(host, port)

    def dropped(self) -> dict[str, int]:
        """What was lost by cause: messages over our budget, datagrams dropped by the system."""
        system = None if self._socket is None else dropped_by_system(self._socket)
        return {
            "over budget": self.counts.over_budget,
            **({} if system is None else {"by the system": system}),
        }

    def to_json(self) -> dict[str, Any]:
        """Where it listens and what came in, for /health."""
        return {
            "address": str(self.address),
            "buffer_bytes": self.granted_bytes,
            "waiting": self._backlog.messages,
            "dropped": self.dropped(),
            **self.counts.to_json(),
        }

    def close(self) -> None:
        """Stop listening; what is still queued is lost."""
        if self._again is not None:
            self._again.cancel()
        if self._socket is not None:
            asyncio.get_running_loop().remove_reader(self._socket)
            self._socket.close()
            self._socket = None

    def turn(self) -> None:
        """Take in what the system holds, and read what waits as far as the budget goes."""
        if self._socket is None:
            return
        more = self._take_in(self._socket)
        heard = self._read()
        behind = more or self._backlog.messages > 0
        if behind and (self._again is None or self._again.cancelled()):
            self._again = asyncio.get_running_loop().call_soon(self._turn_again)
        if heard:
            self._settled(heard, behind)

    def _turn_again(self) -> None:
        self._again = None
        self.turn()

    def _take_in(self, opened: socket.socket) -> bool:
        """Whether the system may hold more."""
        waiting = self._waiting(opened)
        for data, arrived_s, sender in in_order(waiting):
            self.counts.datagrams += 1
            useless = self._useless.get(data[:-4])
            if useless is not None:
                self.counts.messages += 1
                self._refuse(useless, sender)
                continue
            messages = count_messages(data)
            self.counts.messages += messages
            dropped = self._backlog.put(data, arrived_s, sender, messages)
            if dropped:
                self.counts.over_budget += dropped
                self.counts.last_over_budget = f"{sender[0]}:{sender[1]}"
        return len(waiting) == RECEIVER_AT_ONCE

    def _waiting(self, opened: socket.socket) -> list[tuple[bytes, float, Any]]:
        """What the system holds for us, each with its monotonic second of arrival."""
        now, real_now = time.monotonic(), time.time()
        found: list[tuple[bytes, float, Any]] = []
        for _ in range(RECEIVER_AT_ONCE):
            try:
                data, extra, sender = _receive(opened)
            except (BlockingIOError, InterruptedError):
                break
            except OSError:  # a reply to something we never sent (ICMP); nothing to read
                break
            found.append((data, now - _age_s(extra, real_now), sender))
        return found

    def _read(self) -> list[Heard]:
        heard: list[Heard] = []
        end_s = time.monotonic() + BUDGET_S
        taken = 0
        while (datagram := self._backlog.take()) is not None:
            heard += self._read_one(datagram)
            taken += datagram.messages
            if taken >= LOOK_EVERY:
                taken = 0
                if time.monotonic() >= end_s:
                    break
        return heard

    def _read_one(self, datagram: Datagram) -> Sequence[Heard]:
        assert datagram.data is not None
        if time.monotonic() - datagram.arrived_s > RECEIVER_LATE_S:
            self._refuse("too late", datagram.sender)
            return ()
        reading = read_positions(datagram.data, self._table, datagram.arrived_s)
        for item in reading.heard:
            self.counts.heard[item.what] += 1
            self._hear(item)
        for word, piece in reading.words:
            self._hear_word(word, piece, datagram)
        for reason in reading.refused:
            self._refuse(reason, datagram.sender)
        self._remember_useless(datagram.data, reading)
        return reading.heard

    def _remember_useless(self, data: bytes, reading: Reading) -> None:
        """A message with one float that is refused for its address is so whatever the number."""
        if data[-8:-4] == b",f\0\0" and not reading.heard and len(reading.refused) == 1:
            (reason,) = reading.refused
            if reason in _BY_ADDRESS and len(self._useless) < MOST_USELESS:
                self._useless[data[:-4]] = reason

    def _hear_word(self, word: object, piece: object, datagram: Datagram) -> None:
        try:
            self._word(word, piece)
        except WordError:
            self._refuse("no such word", datagram.sender)

    def _refuse(self, reason: str, sender: Any) -> None:
        self.counts.refused[reason] += 1
        self.counts.last_refused = (reason, sender)


def _receive(opened: socket.socket) -> tuple[bytes, Sequence[tuple[int, int, bytes]], Any]:
    if sys.platform != "linux":
        data, sender = opened.recvfrom(OSC_PACKET_MAX_BYTES + 1)
        return data, (), sender
    data, extra, _, sender = opened.recvmsg(OSC_PACKET_MAX_BYTES + 1, 64)
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
