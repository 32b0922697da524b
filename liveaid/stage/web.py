"""The pages' server, in the daemon's own loop: its addresses, its two reports, its live stream.

Who comes in and who may ask: door, guard. Who is told what is new: live.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import socket
import ssl
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from aiohttp import web
from aiohttp.typedefs import Handler

from liveaid.stage.address import Address, cannot
from liveaid.stage.door import Door
from liveaid.stage.guard import COOKIE, Guard, own_names
from liveaid.stage.headers import add_headers
from liveaid.stage.live import Live
from liveaid.stage.mishaps import Mishaps
from liveaid.stage.page_files import page_routes

BACKLOG = 4096
"""Connections the system keeps until they are accepted (as many as it commonly allows): one more
waits a second to try again (RFC 6298, 2: the first retransmission)."""
MUTE_KEPT_S = 30
"""Linux keeps a connection from us until it says something, up to this long (tcp(7),
TCP_DEFER_ACCEPT): a thousand mute ones don't stand before a page's own."""

Report = Callable[[], Mapping[str, Any]]

_log = logging.getLogger("liveaid.stage.web")
_aiohttp_log = logging.getLogger("liveaid.stage.web.aiohttp")
_aiohttp_log.propagate = False  # a traceback for each malformed request would fill the log
_aiohttp_log.addHandler(logging.NullHandler())


@dataclass(frozen=True, slots=True)
class Site:
    """One address the pages are served at."""

    address: Address
    tls: ssl.SSLContext | None = None
    token: str | None = None
    """What must come along with every request; None: nothing."""


class Web:
    """Serves the page; `push` hands every open page the latest status."""

    def __init__(
        self,
        *,
        status: Report,
        health: Report,
        mishaps: Mishaps | None = None,
        token: str | None = None,
        said: Callable[[str], None] = lambda text: None,
        names: Sequence[str] = (),
    ) -> None:
        """`said` is told each text a page sends over /live; `names` are more names that this
        machine goes by."""
        self._status, self._health, self._token = status, health, token
        self._mishaps = mishaps or Mishaps()
        self._names = own_names(tuple(names))
        self._live = Live(lambda: as_json(status()), said)
        self._runner: web.AppRunner | None = None
        self._doors: list[Door] = []

    async def start(
        self,
        address: Address,
        routes: Sequence[web.RouteDef],
        scripts: Sequence[str],
        *,
        more: Sequence[Site] = (),
    ) -> None:
        """Serve at `address`, and at `more`. StageError when one is taken or not this machine's."""
        around = [self._note_mishaps, self._remember_token]
        app = web.Application(middlewares=around, client_max_size=64 * 1024)
        app.add_routes(page_routes(scripts, routes))
        app.add_routes(
            [
                json_route("/status", self._status),
                json_route("/health", self._health),
                web.get("/live", self._live.serve),
                *routes,
            ]
        )
        app.on_response_prepare.append(add_headers)
        app.on_response_prepare.append(_one_request_each)
        app.on_shutdown.append(lambda _: self._live.close())
        self._runner = web.AppRunner(
            app, handle_signals=False, access_log=None, shutdown_timeout=1.0, logger=_aiohttp_log
        )
        await self._runner.setup()
        for site in (Site(address, None, self._token), *more):
            self._open(site)

    def _open(self, site: Site) -> None:
        assert self._runner is not None
        assert self._runner.server is not None
        guard = Guard(site.address.is_loopback, site.token, self._names)
        door = Door(_listen(site.address), guard, self._runner.server, site.tls)
        self._doors.append(door)
        door.open()

    async def stop(self) -> None:
        """Close every stream and the ports."""
        for door in self._doors:
            door.shut()
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None
        for door in self._doors:
            door.close()
        await asyncio.sleep(0)  # the sockets' own closing

    @property
    def address(self) -> Address:
        """Where it serves, the port filled in."""
        return self.addresses[0]

    @property
    def addresses(self) -> list[Address]:
        """Every address it serves at, the ports filled in; the machine's own one first."""
        return [Address(*door.listening.getsockname()[:2]) for door in self._doors]

    @property
    def clients(self) -> int:
        """How many pages are open."""
        return len(self._live)

    @property
    def turned_away(self) -> Counter[str]:
        """Connections closed unanswered, or refused, by cause."""
        return sum((door.turned_away for door in self._doors), Counter())

    def to_json(self) -> dict[str, Any]:
        """For /health."""
        away = self.turned_away
        return {
            "clients": self.clients,
            "connections": sum(door.guests for door in self._doors),
            "refused": away["not allowed"],
            "turned_away": dict(away),
            "dropped": self._live.dropped,
        }

    def push(self, text: str) -> None:
        """Give every open page this status; one still unsent is replaced."""
        self._live.push(text)

    @web.middleware
    async def _note_mishaps(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """What keeps a page from being answered is told in /health and the log, or nobody knows."""
        try:
            return await handler(request)
        except (web.HTTPException, ConnectionError):
            raise
        except Exception as error:
            self._mishaps.note(f"{request.path}: {error!r}")
            raise web.HTTPInternalServerError(text="This went wrong; see /health.\n") from error

    @web.middleware
    async def _remember_token(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Whoever came with the token in the address has it as a cookie from then on."""
        response = await handler(request)
        token = request.query.get("token")
        if token and not response.prepared:
            response.set_cookie(
                COOKIE, token, httponly=True, samesite="Strict", secure=request.secure
            )
        return response


def json_route(path: str, report: Report) -> web.RouteDef:
    """GET `path`: what is reported at that moment."""

    async def serve(_: web.Request) -> web.Response:
        return web.json_response(report(), dumps=as_json)

    return web.get(path, serve)


async def _one_request_each(_: web.Request, response: web.StreamResponse) -> None:
    """A connection that was answered is closed: none may sit idle on a slot."""
    if not isinstance(response, web.WebSocketResponse):
        response.force_close()
        response.headers["Connection"] = "close"  # the hook comes after aiohttp has written its own


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


def _listen(address: Address) -> socket.socket:
    listening = socket.socket(address.family(socket.SOCK_STREAM), socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it lets two programs serve at one address
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address.host, address.port))
        if sys.platform == "linux":
            listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_DEFER_ACCEPT, MUTE_KEPT_S)
        listening.listen(BACKLOG)
        listening.setblocking(False)
    except OSError as error:
        listening.close()
        raise cannot("serve the page", address, error, "--http") from error
    return listening
