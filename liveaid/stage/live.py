"""The pages that are open: each gets the latest status, and gives a sign of life or its slot."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable

from aiohttp import WSCloseCode, WSMsgType, web

MOST_CLIENTS = 32
SLOW_S = 2.0
"""A client that has not taken a status within this is dropped."""
PING_S = 1.0
"""How often each is asked for a sign of life (RFC 6455, 5.5.2: a ping is answered by a pong)."""
MUTE_S = 4.0
"""A client that gives none for this long is dropped."""
NEW_S = 0.3
"""When every slot is taken, one that is older than this and never gave a sign of life makes room;
a page on a local network answers its first ping within a tenth of it."""


class _Client:
    """One open page: a slot for the latest status, and a writer that may be slow only so long."""

    def __init__(self, stream: web.WebSocketResponse, cut: Callable[[], None]) -> None:
        self.stream, self.cut = stream, cut
        self.since_s = self.alive_s = time.monotonic()
        self.answered = False
        self._latest: str | None = None
        self._ping = True
        self._fresh = asyncio.Event()

    def offer(self, text: str) -> None:
        self._latest = text
        self._fresh.set()

    def ask(self) -> None:
        """Ask for a sign of life."""
        self._ping = True
        self._fresh.set()

    def gave_sign(self) -> None:
        self.answered, self.alive_s = True, time.monotonic()

    async def write(self) -> None:
        """Send the latest, over and over, until the client is gone or too slow."""
        with contextlib.suppress(TimeoutError, ConnectionError, RuntimeError):
            while not self.stream.closed:
                await self._fresh.wait()
                self._fresh.clear()
                if self._ping:
                    self._ping = False
                    await asyncio.wait_for(self.stream.ping(), SLOW_S)
                if self._latest is not None:
                    text, self._latest = self._latest, None
                    await asyncio.wait_for(self.stream.send_str(text), SLOW_S)


class Live:
    """All open pages."""

    def __init__(self, latest: Callable[[], str], said: Callable[[str], None]) -> None:
        """`latest` is the status as it stands; `said` is told each text a page sends."""
        self._latest, self._said = latest, said
        self._clients: dict[_Client, asyncio.Task[None]] = {}
        self._asking: asyncio.Task[None] | None = None
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._clients)

    def push(self, text: str) -> None:
        """Give every open page this status; one still unsent is replaced."""
        for client in self._clients:
            client.offer(text)

    async def serve(self, request: web.Request) -> web.StreamResponse:
        """One page, from its first status until it is gone."""
        if len(self._clients) >= MOST_CLIENTS and not self._make_room():
            raise web.HTTPServiceUnavailable(text="Too many pages are open.\n")
        stream = web.WebSocketResponse(
            compress=False, max_msg_size=4096, timeout=1.0, autoping=False
        )
        await stream.prepare(request)
        transport = request.transport
        client = _Client(stream, lambda: None if transport is None else transport.abort())
        client.offer(self._latest())
        writer = asyncio.create_task(client.write())
        writer.add_done_callback(lambda _: client.cut())
        self._clients[client] = writer
        self._ask_all()
        try:
            await self._listen(client)
        finally:
            self._clients.pop(client, None)
            writer.cancel()
        return stream

    async def close(self) -> None:
        """Tell every page that the stage is struck."""
        if self._asking is not None:
            self._asking.cancel()
        closing = [
            client.stream.close(code=WSCloseCode.GOING_AWAY, message=b"the stage is struck")
            for client in self._clients
        ]
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(asyncio.gather(*closing, return_exceptions=True), 1.0)

    async def _listen(self, client: _Client) -> None:
        async for message in client.stream:
            client.gave_sign()
            if message.type is WSMsgType.TEXT:
                self._said(message.data)
            elif message.type is WSMsgType.PING:
                await client.stream.pong(message.data)

    def _ask_all(self) -> None:
        if self._asking is None or self._asking.done():
            self._asking = asyncio.create_task(self._ask_while_open())

    async def _ask_while_open(self) -> None:
        while self._clients:
            await asyncio.sleep(PING_S)
            now = time.monotonic()
            for client in list(self._clients):
                if now - client.alive_s > MUTE_S:
                    self._drop(client)
                else:
                    client.ask()

    def _make_room(self) -> bool:
        """Drop the one that was mute longest, if any; the slot is free at once."""
        now = time.monotonic()
        silent = [c for c in self._clients if not c.answered and now - c.since_s > NEW_S]
        silent = silent or [c for c in self._clients if now - c.alive_s > MUTE_S / 2]
        if not silent:
            return False
        self._drop(min(silent, key=lambda client: client.alive_s))
        return True

    def _drop(self, client: _Client) -> None:
        self.dropped += 1
        writer = self._clients.pop(client)
        writer.cancel()
        client.cut()
