"""Who comes in to the pages: so many at once, each with its request in time, seen by the guard.

A browser sends its request as soon as it is connected. Where the system can, it keeps whoever says
nothing from us; else such a one waits a little, and goes first when there are too many. Each
connection answers one request, so that none is idle; only a live stream stays. What a turn of the
loop spends here is bounded: taking in by time, answering by number.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import ssl
import time
from collections import Counter, deque
from collections.abc import Callable
from typing import Any

from liveaid.stage.guard import BadHead, Guard, read_head
from liveaid.stage.headers import HEADERS

MOST_OPEN = 400
"""Connections at once, streams included: 32 pages with six each and as many again; well below the
1,024 files that a process may have open where nothing else is set."""
WAIT_S = 0.02
"""With no room, the next wait in the system's own queue for so long."""
DOOR_HEAD_S = 3.0
"""Within this the head of a request has come (and a TLS handshake is done)."""
HEAD_BYTES = 16 * 1024
ANSWER_S = 30.0
"""Within this a request is answered and read, unless it is a live stream."""
DOOR_BUDGET_S = 0.004
"""Seconds of a turn in which connections are taken in: some fifty, so that a thousand queued before
a page's own keep it waiting for a few hundred milliseconds at most."""
ADMITTED_AT_ONCE = 4
"""Requests, or TLS handshakes, begun at a turn of the loop: about a millisecond each."""
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
        self.listening, self.guard, self.inside, self.tls = listening, guard, inside, tls
        self.turned_away: Counter[str] = Counter()
        """Connections closed unanswered, or refused, by cause."""
        self._guests: set[_Guest] = set()
        self._mute: dict[_Guest, None] = {}
        """Those who have not said what they ask for, the first to come first."""
        self._next: deque[_Guest] = deque()
        """Those who may come in, and wait for their turn: what is answered and gone."""
        self._to_stay: deque[_Guest] = deque()
        """Live streams: a crowd of them does not stand before a page's own request."""
        self._again: asyncio.Handle | None = None
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
        self._guests.discard(guest)
        self._mute.pop(guest, None)

    def spoke(self, guest: _Guest) -> None:
        """It has said what it asks for, and may."""
        self._mute.pop(guest, None)

    def admit(self, guest: _Guest, *, stays: bool = False) -> None:
        """Make the connection a transport, when its turn has come."""
        (self._to_stay if stays else self._next).append(guest)
        if self._again is None:
            self._again = asyncio.get_running_loop().call_soon(self._admit_some)

    def _accept(self) -> None:
        end_s = time.monotonic() + DOOR_BUDGET_S
        while time.monotonic() < end_s:
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
            self._guests.add(guest)
            self._mute[guest] = None
            guest.listen()

    def _admit_some(self) -> None:
        self._again = None
        loop = asyncio.get_running_loop()
        for queue, most in ((self._next, ADMITTED_AT_ONCE), (self._to_stay, 1)):
            for _ in range(min(most, len(queue))):
                guest = queue.popleft()
                if guest in self._guests:
                    task = loop.create_task(self._admit(guest))
                    self._admitting.add(task)
                    task.add_done_callback(self._admitting.discard)
        if self._next or self._to_stay:
            self._again = loop.call_soon(self._admit_some)

    async def _admit(self, guest: _Guest) -> None:
        loop = asyncio.get_running_loop()
        guest.being_admitted = True
        limit = {"ssl_handshake_timeout": DOOR_HEAD_S} if self.tls else {}
        try:
            await loop.connect_accepted_socket(
                lambda: guest, guest.connection, ssl=self.tls, **limit
            )
        except (OSError, TimeoutError, asyncio.CancelledError):
            self.turned_away["no handshake"] += 1
            guest.leave()
            loop.call_soon(guest.connection.close)  # after whatever the transport has still to do

    def _wait(self) -> None:
        """Take nobody in for a moment."""
        loop = asyncio.get_running_loop()
        loop.remove_reader(self.listening)
        self._waiting = loop.call_later(WAIT_S, self.open)

    def _make_room(self) -> bool:
        """Send away whoever has been mute longest; whether there was anybody.

        Asked once more before: what it said may lie there unread while the loop was busy.
        """
        while self._mute:
            guest = next(iter(self._mute))
            guest.read()
            if guest in self._mute:
                self.turned_away["mute"] += 1
                guest.leave()
            if len(self._guests) < MOST_OPEN:
                return True
        return False


class _Guest(asyncio.Protocol):
    """One connection: its head is awaited and looked at, then all goes to the protocol inside.

    Until it has said what it asks for, it is a bare socket: nothing more is made for it, so that
    mute ones cost next to nothing. With TLS its first bytes are a handshake, which is made first.
    """

    def __init__(self, door: Door, connection: socket.socket) -> None:
        self.connection = connection
        self._door = door
        self.being_admitted = False
        """Its socket is asyncio's by now, and not to be closed under its hands."""
        self._listens = self._gone = False
        self._transport: asyncio.Transport | None = None
        self._head = bytearray()
        self._inside: asyncio.Protocol | None = None
        self._timer: asyncio.TimerHandle | None = asyncio.get_running_loop().call_later(
            DOOR_HEAD_S, self._too_late, "mute"
        )

    def listen(self) -> None:
        """Read what is there, and what comes."""
        self._listens = True
        asyncio.get_running_loop().add_reader(self.connection, self.read)
        if self._door.tls is None:
            self.read()

    def read(self) -> None:
        """What has come, if anything, on the bare socket."""
        if not self._listens:
            return
        if self._door.tls is not None:
            if _something_came(self.connection):
                self._listen_no_more()
                self._door.admit(self)
            return
        try:
            data = self.connection.recv(HEAD_BYTES)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            data = b""
        if data:
            self._take(data)
        else:
            self.leave()

    def leave(self) -> None:
        """Close at once."""
        self._door.left(self)
        self._stop_timer()
        self._listen_no_more()
        self._gone = True
        if self._transport is not None:
            self._transport.abort()
        elif not self.being_admitted:
            with contextlib.suppress(OSError):
                self.connection.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        if self._gone:
            transport.abort()
        elif self._door.tls is None:
            self._go_in()

    def data_received(self, data: bytes) -> None:
        if self._inside is not None:
            self._inside.data_received(data)
        else:
            self._take(data)

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

    def _take(self, data: bytes) -> None:
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
        self._door.spoke(self)
        if self._transport is not None:
            self._go_in()
        else:
            self._listen_no_more()
            self._door.admit(self, stays=asked.path == LIVE)

    def _go_in(self) -> None:
        assert self._transport is not None
        self._inside = self._door.inside()
        self._inside.connection_made(self._transport)
        self._inside.data_received(bytes(self._head))
        self._head.clear()

    def _refuse(self, status: int, cause: str, sentence: str) -> None:
        self._door.turned_away[cause] += 1
        answer = _answer(status, sentence)
        if self._transport is not None:
            self._transport.write(answer)
            self._transport.close()
            return
        with contextlib.suppress(OSError):  # a new connection's buffer has room for one line
            self.connection.send(answer)
            self.connection.shutdown(socket.SHUT_WR)
        self.leave()

    def _too_late(self, cause: str) -> None:
        self._door.turned_away[cause] += 1
        self.leave()

    def _listen_no_more(self) -> None:
        if self._listens:
            self._listens = False
            asyncio.get_running_loop().remove_reader(self.connection)

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


def _something_came(connection: socket.socket) -> bool:
    """Whether there is something to read, or its end."""
    try:
        connection.recv(1, socket.MSG_PEEK)
    except (BlockingIOError, InterruptedError):
        return False
    except OSError:
        return True
    return True


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
