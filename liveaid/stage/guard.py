"""Who may ask for a page: decided from the head of the request alone, before anything is parsed.

Pure. Host and Origin are checked, so that no page from elsewhere can read along through the browser
(DNS rebinding); beyond this machine a token is asked for.
"""

from __future__ import annotations

import hmac
import ipaddress
import re
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qs, urlsplit

COOKIE = "liveaid_token"

_REQUEST_LINE = re.compile(rb"[A-Z]{3,16} (/[\x21-\x7e]{0,4000}) HTTP/1\.[01]")
_FIELD = re.compile(rb"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*([^\x00\r\n]*?)[ \t]*")
"""RFC 9112, section 3 (request line, origin form) and section 5 (field lines, no folding)."""


class BadHead(ValueError):
    """The head of a request is not HTTP as a browser sends it."""


@dataclass(frozen=True, slots=True)
class Head:
    """What a request asks for, and the fields that decide whether it may."""

    target: str
    fields: Mapping[str, str]

    @property
    def path(self) -> str:
        """Without its query."""
        return self.target.partition("?")[0]

    @property
    def token(self) -> str:
        """The token that came along: in the query, the cookie, or as a bearer's."""
        query = parse_qs(self.target.partition("?")[2], max_num_fields=50)
        asked = query.get("token", [""])[0]
        bearer = self.fields.get("authorization", "").removeprefix("Bearer ")
        return asked or _cookie(self.fields.get("cookie", "")) or bearer


def read_head(data: bytes) -> Head:
    """The head of a request, up to and without its empty line. BadHead when it is none."""
    first, *lines = data.split(b"\r\n")
    asked = _REQUEST_LINE.fullmatch(first)
    if asked is None:
        raise BadHead("not a request")
    fields: dict[str, str] = {}
    for line in lines:
        field_line = _FIELD.fullmatch(line)
        if field_line is None:
            raise BadHead("a field cannot be read")
        name = field_line[1].decode("ascii").lower()
        if name in fields and name in ("host", "content-length", "transfer-encoding", "origin"):
            raise BadHead(f"{name} twice")
        fields[name] = field_line[2].decode("latin-1")
    return Head(asked[1].decode("ascii"), fields)


@dataclass(frozen=True, slots=True)
class Guard:
    """Who may ask at one address."""

    only_here: bool
    """The address is this machine's alone."""
    token: str | None = None
    names: frozenset[str] = field(default_factory=frozenset)
    """Names this machine is known by, small letters."""

    def why_not(self, head: Head) -> tuple[int, str] | None:
        """Status and sentence when it may not; None when it may."""
        if not self._host_allowed(head.fields.get("host", "")) or not _origin_allowed(head.fields):
            return 403, "This host or origin is not served."
        if self.token is not None and not hmac.compare_digest(
            head.token.encode(), self.token.encode()
        ):
            return 401, "Open the address with its ?token=, as printed."
        return None

    def _host_allowed(self, host_field: str) -> bool:
        """A rebound name is never an IP number; beyond this machine its own names will do too."""
        host = _host_of(f"//{host_field}")
        try:
            return ipaddress.ip_address(host).is_loopback or not self.only_here
        except ValueError:
            return host == "localhost" or (not self.only_here and host in self.names)


def own_names(more: tuple[str, ...] = ()) -> frozenset[str]:
    """The names this machine goes by on a local network, and those given."""
    own = socket.gethostname().lower()
    return frozenset({own, f"{own}.local", f"{own.split('.')[0]}.local", *map(str.lower, more)})


def _host_of(url: str) -> str:
    try:
        return (urlsplit(url).hostname or "").lower()
    except ValueError:
        return ""


def _origin_allowed(fields: Mapping[str, str]) -> bool:
    """No Origin (no browser, or the address bar), or the very host and port that is asked."""
    origin = fields.get("origin")
    if origin is None:
        return True
    scheme, _, netloc = origin.partition("://")
    return scheme in ("http", "https") and netloc == fields.get("host")


def _cookie(text: str) -> str:
    for part in text.split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value.strip('"')
    return ""
