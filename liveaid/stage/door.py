"""Who comes in to the pages: so many at once, each with its request in time, seen by the guard.

A browser sends its request as soon as it is connected. Whoever connects and says nothing is let
wait a little, and goes first when there are too many. Each connection answers one request, so that
none is idle; only a live stream stays.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import ssl
from collections import Counter
from collections.abc import Callable
from typing import Any

from liveaid.stage.guard import BadHead, Guard, read_head
from liveaid.stage.headers import HEADERS

MOST_OPEN = 400
"""Connections at once, streams included: 32 pages with six each and as many again; well below the
1,024 files that a process may have open where nothing else is set."""
GRACE_S = 0.2
"""Nobody is sent away for being mute before this: a request comes within milliseconds, and is read
within a turn of the loop or two, however busy."""
WAIT_S = 0.02
"""With no room, the next wait in the system's own queue for so long."""
DOOR_HEAD_S = 3.0
"""Within this the head of a request has come (and a TLS handshake is done)."""
HEAD_BYTES = 16 * 1024
ANSWER_S = 30.0
"""Within this a request is answered and read, unless it is a live stream."""
DOOR_AT_ONCE = 32
"""Connections taken in at a turn of the loop."""
LIVE = "/live"

_REASONS = {400: "Bad Request", 401: "Unauthorized", 403: "Forbidden"}


class Door:
    """One listening socket."""

    def __init__(
        self,
        listening: socket.socket,
        guard: Guard,
        inside: Callable[[], asyncio.Protocol],
        tls: ssl.SSLContext | None = None,
    ) -> None:
        """`inside` makes the protocol that answers a request which may come in."""
        self.listening, self.guard, self.inside, self._tls = listening, guard, inside, tls
        self.turned_away: Counter[str] = Counter()
        """Connections closed unanswered, or refused, by cause."""
        self._guests: dict[_Guest, None] = {}
        self._admitting: set[asyncio.Task[None]] = set()
        self._waiting: asyncio.TimerHandle | None = None

    def open(self) -> None:
        """Let in from now on."""
        asyncio.get_running_loop().add_reader(self.listening, self._accept)

    def shut(self) -> None:
        """Nobody comes in any more; those inside stay until `close`."""
        if self._waiting is not None:
            self._waiting.cancel()
        asyncio.get_running_loop().remove_reader(self.listening)
        self.listening.close()

    def close(self) -> None:
        """Send away whoever is left."""
        for task in self._admitting:
            task.cancel()
        for guest in list(self._guests):
            guest.leave()

    @property
    def guests(self) -> int:
        """Connections that are open."""
        return len(self._guests)

    def left(self, guest: _Guest) -> None:
        """A connection is closed."""
        self._guests.pop(guest, None)

    def _accept(self) -> None:
        for _ in range(DOOR_AT_ONCE):
            if len(self._guests) >= MOST_OPEN and not self._make_room():
                self._wait()
                return
            try:
                connection, _ = self.listening.accept()
            except (BlockingIOError, InterruptedError, ConnectionAbortedError):
                return
            except OSError as error:
                if error.errno in (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM):
                    self._make_room()
                    self._wait()
                return
            connection.setblocking(False)
            guest = _Guest(self, connection)
            self._guests[guest] = None
            # Nothing more is made for it until it says something: mute ones cost next to nothing.
            asyncio.get_running_loop().add_reader(connection, self._admit_now, guest)

    def _admit_now(self, guest: _Guest) -> None:
        guest.speaks()
        task = asyncio.get_running_loop().create_task(self._admit(guest))
        self._admitting.add(task)
        task.add_done_callback(self._admitting.discard)

    async def _admit(self, guest: _Guest) -> None:
        loop = asyncio.get_running_loop()
        limit = {"ssl_handshake_timeout": DOOR_HEAD_S} if self._tls else {}
        try:
            await loop.connect_accepted_socket(
                lambda: guest, guest.connection, ssl=self._tls, **limit
            )
        except (OSError, TimeoutError, asyncio.CancelledError):
            self.turned_away["no handshake"] += 1
            guest.leave()

    def _wait(self) -> None:
        """Take nobody in for a moment."""
        loop = asyncio.get_running_loop()
        loop.remove_reader(self.listening)
        self._waiting = loop.call_later(WAIT_S, self.open)

    def _make_room(self) -> bool:
        """Send away whoever has been mute longest; whether there was anybody."""
        now = asyncio.get_running_loop().time()
        for guest in self._guests:
            if guest.mute and now - guest.since_s > GRACE_S:
                self.turned_away["mute"] += 1
                guest.leave()
                return True
        return False


class _Guest(asyncio.Protocol):
    """One connection: its head is awaited and looked at, then all goes to the protocol inside."""

    def __init__(self, door: Door, connection: socket.socket) -> None:
        self.connection = connection
        self._door = door
        self._waits = True
        self._transport: asyncio.Transport | None = None
        self._head = bytearray()
        self._inside: asyncio.Protocol | None = None
        loop = asyncio.get_running_loop()
        self.since_s = loop.time()
        self._timer: asyncio.TimerHandle | None = loop.call_later(
            DOOR_HEAD_S, self._too_late, "mute"
        )

    @property
    def mute(self) -> bool:
        """Whether nothing that could be answered has come yet."""
        return self._inside is None

    def speaks(self) -> None:
        """The first bytes are there to be read: whoever waited for them waits no more."""
        if self._waits:
            self._waits = False
            asyncio.get_running_loop().remove_reader(self.connection)

    def leave(self) -> None:
        """Close at once."""
        self._door.left(self)
        self._stop_timer()
        self.speaks()
        if self._transport is not None:
            self._transport.abort()
        else:
            with contextlib.suppress(OSError):
                self.connection.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        if self._inside is not None:
            self._inside.data_received(data)
            return
        self._head += data
        head, end, _ = bytes(self._head).partition(b"\r\n\r\n")
        if len(head) > HEAD_BYTES:
            self._refuse(400, "too long", "The head of the request is too long.")
        elif end:
            self._look(head)

    def _look(self, head: bytes) -> None:
        try:
            asked = read_head(head)
        except BadHead as error:
            self._refuse(400, "malformed", f"The request is malformed: {error}.")
            return
        refused = self._door.guard.why_not(asked)
        if refused is not None:
            self._refuse(refused[0], "not allowed", refused[1])
            return
        self._stop_timer()
        if asked.path != LIVE:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(ANSWER_S, self._too_late, "slow")
        assert self._transport is not None
        self._inside = self._door.inside()
        self._inside.connection_made(self._transport)
        self._inside.data_received(bytes(self._head))
        self._head.clear()

    def eof_received(self) -> bool | None:
        return None if self._inside is None else self._inside.eof_received()

    def pause_writing(self) -> None:
        if self._inside is not None:
            self._inside.pause_writing()

    def resume_writing(self) -> None:
        if self._inside is not None:
            self._inside.resume_writing()

    def connection_lost(self, error: Exception | None) -> None:
        self._stop_timer()
        self._door.left(self)
        if self._inside is not None:
            self._inside.connection_lost(error)

    def _refuse(self, status: int, cause: str, sentence: str) -> None:
        self._door.turned_away[cause] += 1
        assert self._transport is not None
        self._transport.write(_answer(status, sentence))
        self._transport.close()

    def _too_late(self, cause: str) -> None:
        self._door.turned_away[cause] += 1
        self.leave()

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


def _answer(status: int, sentence: str) -> bytes:
    body = f"{sentence}\n".encode()
    fields: dict[str, Any] = {
        **HEADERS,
        "Content-Type": "text/plain; charset=utf-8",
        "Content-Length": len(body),
        "Cache-Control": "no-store",
        "Connection": "close",
    }
    lines = [f"HTTP/1.1 {status} {_REASONS[status]}", *(f"{n}: {v}" for n, v in fields.items())]
    return "\r\n".join([*lines, "", ""]).encode() + body
