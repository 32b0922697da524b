"""HOST:PORT as it is written on the command line, and what it is where nothing is written."""

from __future__ import annotations

import errno
import ipaddress
import socket
from dataclasses import dataclass

from liveaid.errors import LiveaidError, UsageError


class StageError(LiveaidError):
    """The stage cannot be set up: a port is taken, a name is not known."""


@dataclass(frozen=True, slots=True)
class Address:
    """A host (name or number) and a port; port 0 lets the machine choose."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    @property
    def is_loopback(self) -> bool:
        """Whether only this machine can reach it."""
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return self.host == "localhost"

    def as_seen_by_others(self) -> Address:
        """Itself; or, where it stands for all of this machine's addresses, the one others reach.

        Found by asking the system which way a datagram would leave; none is sent.
        """
        if self.host not in ("0.0.0.0", "::"):
            return self
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect(("192.0.2.1", 9))  # a documentation address, RFC 5737
                return Address(probe.getsockname()[0], self.port)
            except OSError:
                return Address(socket.gethostname(), self.port)

    def family(self, kind: socket.SocketKind) -> socket.AddressFamily:
        """IPv4 or IPv6, by what the host resolves to. StageError when it does not."""
        try:
            found = socket.getaddrinfo(self.host, self.port, type=kind)
        except (OSError, UnicodeError) as error:  # a name that no name server could be asked for
            why = getattr(error, "strerror", None) or "it is no host's name"
            raise StageError(
                f"{self}: the host is not known ({why}); a number such as 127.0.0.1 would do"
            ) from error
        return found[0][0]


def cannot(doing: str, address: Address, error: OSError, option: str) -> StageError:
    """What to say of a port that does not open: what it was for, why not, what would do."""
    if error.errno == errno.EADDRINUSE:
        why = f"another program listens there already; {option} with another port would do"
    elif error.errno == errno.EADDRNOTAVAIL:
        why = "that is no address of this machine; 127.0.0.1, or 0.0.0.0 for all, would do"
    else:
        why = error.strerror or str(error)
    return StageError(f"cannot {doing} at {address}: {why}")


OSC_ADDRESS = Address("127.0.0.1", 9000)
HTTP_ADDRESS = Address("127.0.0.1", 8080)
SHARED_ADDRESS = Address("0.0.0.0", 8443)


def parse_address(text: str, default_host: str = "127.0.0.1") -> Address:
    """The address written as HOST:PORT, [IPV6]:PORT or just PORT; UsageError for anything else."""
    host, _, port = text.rpartition(":")
    host = host.strip("[]") or default_host
    if not port.isascii() or not port.isdigit() or int(port) > 65535:
        raise UsageError(f"{text}: no address; HOST:PORT with a port of 0 to 65535 would do")
    return Address(host, int(port))
