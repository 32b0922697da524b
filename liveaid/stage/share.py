"""The stage on a phone or tablet beside the turntables: a secure address on the local network.

`share_at` works out what is needed: names, token, certificate. `Sharing` is a watcher that makes
the name known on the network while the stage stands, and offers the authority's certificate.
"""

from __future__ import annotations

import asyncio
import contextlib
import io
import secrets
import socket
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aiohttp import web

from liveaid.files.aside import write_aside
from liveaid.files.folders import data_folder
from liveaid.stage.address import Address
from liveaid.stage.certificate import PRIVATE, authority_pem, is_number, server_context
from liveaid.stage.watcher import Stage, Watcher

if TYPE_CHECKING:  # loaded when first needed: a stage that is not shared starts without them
    from zeroconf import ServiceInfo
    from zeroconf.asyncio import AsyncZeroconf

NAME = "liveaid.local"
"""RFC 6762: names under .local are told on the link itself."""
AUTHORITY_PATH = "/liveaid-authority.crt"
_SERVICE = "_https._tcp.local."


@dataclass(frozen=True, slots=True)
class Share:
    """Where and how the pages are shared."""

    address: Address
    names: tuple[str, ...]
    """Names and numbers the certificate is for, the friendliest first."""
    token: str
    tls: ssl.SSLContext
    folder: Path
    """Where token and certificate are kept."""

    def urls(self) -> tuple[str, ...]:
        """Addresses as a browser takes them, token and all."""
        return tuple(
            f"https://{Address(name, self.address.port)}/?token={self.token}"
            for name in (self.names[0], *filter(is_number, self.names))
            if name != "127.0.0.1"
        )


def share_at(address: Address, token: str | None = None, folder: Path | None = None) -> Share:
    """A share at `address`; token and certificate are the same every evening."""
    kept = folder or data_folder() / "share"
    names = _names(address)
    tls = server_context(names, kept, datetime.now(UTC))
    return Share(address, names, token or _token(kept / "token"), tls, kept)


def qr_text(url: str) -> str:
    """The QR code of an address, for a terminal (ISO/IEC 18004, two modules to a character)."""
    import segno

    out = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()


def _names(address: Address) -> tuple[str, ...]:
    own = socket.gethostname().lower().split(".")[0]
    number = address.as_seen_by_others().host
    reached = [number] if is_number(number) else []
    return tuple(dict.fromkeys([NAME, f"{own}.local", *reached, "localhost", "127.0.0.1"]))


def _token(file: Path) -> str:
    """The token kept in a file, made on first use."""
    with contextlib.suppress(OSError, UnicodeDecodeError):
        kept = file.read_text("ascii").strip()
        if len(kept) >= 12:
            return kept
    file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = secrets.token_urlsafe(9)
    write_aside(file, made.encode(), mode=PRIVATE)
    return made


class Sharing(Watcher):
    """Makes the shared address known by name, and says in /status how that went."""

    def __init__(self, share: Share) -> None:
        self.share = share
        self.says = ""
        self._known: AsyncZeroconf | None = None
        self._telling: asyncio.Task[None] | None = None

    def started(self, stage: Stage) -> None:
        """The stage is set: tell the network, without holding anything up."""
        self._telling = asyncio.get_running_loop().create_task(self._tell())

    async def _tell(self) -> None:
        from zeroconf import NonUniqueNameException
        from zeroconf.asyncio import AsyncZeroconf

        numbers = [name for name in self.share.names if is_number(name) and name != "127.0.0.1"]
        try:
            self._known = AsyncZeroconf(interfaces=numbers or ["127.0.0.1"])
            await self._known.async_register_service(_announced(self.share, numbers))
            self.says = f"known on this network as {self.share.names[0]}"
        except NonUniqueNameException:
            self.says = f"{NAME} is another machine's name here: use the number"
        except OSError as error:
            self.says = f"no name on this network ({error.strerror or error}): use the number"

    def status(self) -> Mapping[str, Any]:
        """The key `shared`; never the token."""
        names = [name for name in self.share.names if name not in ("localhost", "127.0.0.1")]
        return {"shared": {"names": names, "port": self.share.address.port, "says": self.says}}

    def routes(self) -> Sequence[web.RouteDef]:
        """The authority's certificate: a device that trusts it opens the pages without asking."""
        return [web.get(AUTHORITY_PATH, self._serve_authority)]

    async def _serve_authority(self, _: web.Request) -> web.Response:
        return web.Response(
            body=authority_pem(self.share.folder), content_type="application/x-x509-ca-cert"
        )

    async def stopped(self) -> None:
        """Take the name back."""
        if self._telling is not None:
            self._telling.cancel()
            await asyncio.gather(self._telling, return_exceptions=True)
        if self._known is not None:
            with contextlib.suppress(Exception):
                await asyncio.wait_for(self._known.async_close(), 2.0)


def _announced(share: Share, numbers: Sequence[str]) -> ServiceInfo:
    from zeroconf import ServiceInfo

    return ServiceInfo(
        _SERVICE,
        f"liveaid.{_SERVICE}",
        port=share.address.port,
        server=f"{NAME}.",
        parsed_addresses=list(numbers) or ["127.0.0.1"],
    )
