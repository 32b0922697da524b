"""The page, its stream and the two reports, in the daemon's own loop.

Only this machine may look, unless a token was given: Host and Origin are checked, so that no page
from elsewhere can read along through the browser (DNS rebinding).
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import hmac
import ipaddress
import json
import socket
from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import urlsplit

from aiohttp import WSCloseCode, web
from aiohttp.typedefs import Handler

from liveaid.stage.address import Address, StageError
from liveaid.stage.headers import add_headers
from liveaid.stage.page_files import page_routes

SLOW_S = 2.0
MOST_CLIENTS = 32
COOKIE = "liveaid_token"

Report = Callable[[], dict[str, Any]]


class _Client:
    """One open page: a slot for the latest status, and a writer that may be slow only so long."""

    def __init__(self, stream: web.WebSocketResponse) -> None:
        self.stream = stream
        self._latest: str | None = None
        self._fresh = asyncio.Event()

    def offer(self, text: str) -> None:
        self._latest = text
        self._fresh.set()

    async def write(self) -> None:
        """Send the latest, over and over, until the client is gone or too slow."""
        with contextlib.suppress(TimeoutError, ConnectionError):
            while not self.stream.closed:
                await self._fresh.wait()
                self._fresh.clear()
                assert self._latest is not None
                await asyncio.wait_for(self.stream.send_str(self._latest), SLOW_S)


class Web:
    """Serves the page; `push` hands every open page the latest status."""

    def __init__(self, *, status: Report, health: Report, token: str | None = None) -> None:
        self._status = status
        self._health = health
        self._token = token
        self._clients: dict[_Client, asyncio.Task[None]] = {}
        self._runner: web.AppRunner | None = None
        self._listening: socket.socket | None = None
        self._only_here = True
        self.refused = 0

    async def start(
        self, address: Address, routes: Sequence[web.RouteDef], scripts: Sequence[str]
    ) -> None:
        """Serve at `address`. StageError when it is taken or not this machine's."""
        self._only_here = address.is_loopback
        self._listening = _listen(address)
        app = web.Application(middlewares=[self._guard], client_max_size=64 * 1024)
        app.add_routes(page_routes(scripts, routes))
        app.add_routes(
            [
                web.get("/status", self._serve_status),
                web.get("/health", self._serve_health),
                web.get("/live", self._serve_live),
                *routes,
            ]
        )
        app.on_response_prepare.append(add_headers)
        app.on_shutdown.append(self._close_streams)
        self._runner = web.AppRunner(
            app, handle_signals=False, access_log=None, shutdown_timeout=1.0
        )
        await self._runner.setup()
        await web.SockSite(self._runner, self._listening).start()

    async def stop(self) -> None:
        """Close every stream and the port."""
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None

    @property
    def address(self) -> Address:
        """Where it serves, the port filled in."""
        assert self._listening is not None
        host, port = self._listening.getsockname()[:2]
        return Address(host, port)

    @property
    def clients(self) -> int:
        """How many pages are open."""
        return len(self._clients)

    def push(self, text: str) -> None:
        """Give every open page this status; one still unsent is replaced."""
        for client in self._clients:
            client.offer(text)

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        if not self._host_allowed(request) or not _origin_allowed(request):
            self.refused += 1
            raise web.HTTPForbidden(text="This host or origin is not served.\n")
        given = self._given_token(request)
        if self._token is not None and not hmac.compare_digest(
            given.encode(), self._token.encode()
        ):
            self.refused += 1
            raise web.HTTPUnauthorized(text="Open the address with its ?token=, as printed.\n")
        response = await handler(request)
        if not response.prepared and self._token is not None and "token" in request.query:
            response.set_cookie(COOKIE, self._token, httponly=True, samesite="Strict")
        return response

    def _given_token(self, request: web.Request) -> str:
        bearer = request.headers.get("Authorization", "").removeprefix("Bearer ")
        return request.query.get("token") or request.cookies.get(COOKIE) or bearer

    def _host_allowed(self, request: web.Request) -> bool:
        """A rebound name is never an IP number; beyond this machine its own names will do too."""
        host = _host_of(f"//{request.headers.get('Host', '')}")
        try:
            return ipaddress.ip_address(host).is_loopback or not self._only_here
        except ValueError:
            own = socket.gethostname().lower()
            return host == "localhost" or (
                not self._only_here and host in {own, f"{own}.local", f"{own.split('.')[0]}.local"}
            )

    async def _serve_status(self, _: web.Request) -> web.Response:
        return web.json_response(self._status(), dumps=as_json)

    async def _serve_health(self, _: web.Request) -> web.Response:
        return web.json_response(self._health(), dumps=as_json)

    async def _serve_live(self, request: web.Request) -> web.StreamResponse:
        if len(self._clients) >= MOST_CLIENTS:
            raise web.HTTPServiceUnavailable(text="Too many pages are open.\n")
        stream = web.WebSocketResponse(compress=False, max_msg_size=4096, timeout=1.0)
        await stream.prepare(request)
        client = _Client(stream)
        client.offer(as_json(self._status()))
        writer = asyncio.create_task(client.write())
        writer.add_done_callback(lambda _: _drop(request))
        self._clients[client] = writer
        try:
            async for _ in stream:
                pass  # nothing is asked of us here; what is sent is left unread
        finally:
            del self._clients[client]
            writer.cancel()
        return stream

    async def _close_streams(self, _: web.Application) -> None:
        closing = [
            client.stream.close(code=WSCloseCode.GOING_AWAY, message=b"the stage is struck")
            for client in self._clients
        ]
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(asyncio.gather(*closing, return_exceptions=True), 1.0)


def as_json(data: Any) -> str:
    """JSON text; a number JSON has no word for becomes null."""
    try:
        return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    except ValueError:
        return json.dumps(_finite(data), ensure_ascii=False, separators=(",", ":"))


def _finite(data: Any) -> Any:
    if isinstance(data, dict):
        return {name: _finite(value) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [_finite(value) for value in data]
    return None if isinstance(data, float) and data - data != 0 else data


def _drop(request: web.Request) -> None:
    """Cut a client that is gone or too slow, without waiting for it."""
    if request.transport is not None:
        request.transport.abort()


def _host_of(url: str) -> str:
    try:
        return (urlsplit(url).hostname or "").lower()
    except ValueError:
        return ""


def _origin_allowed(request: web.Request) -> bool:
    """No Origin (no browser, or the address bar), or the very host and port that is asked."""
    origin = request.headers.get("Origin")
    if origin is None:
        return True
    scheme, _, netloc = origin.partition("://")
    return scheme in ("http", "https") and netloc == request.headers.get("Host")


def _listen(address: Address) -> socket.socket:
    listening = socket.socket(address.family(socket.SOCK_STREAM), socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address.host, address.port))
        listening.listen(64)
        listening.setblocking(False)
    except OSError as error:
        listening.close()
        taken = error.errno == errno.EADDRINUSE
        why = (
            "another program serves there already; --http with another port would do"
            if taken
            else error.strerror or str(error)
        )
        raise StageError(f"cannot serve the page at {address}: {why}") from error
    return listening
