"""How many datagrams the system dropped because a socket's buffer was full: read from the system.

Linux only (socket(7), SO_MEMINFO; netlink's SK_MEMINFO_DROPS is the ninth number); elsewhere None.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import sys

_SO_MEMINFO = 55
_MEMINFO = struct.Struct("@9I")
_SO_RCVBUFFORCE = 33


def dropped_by_system(opened: socket.socket) -> int | None:
    """Datagrams dropped since the socket was opened; None where the system does not say."""
    if sys.platform != "linux":
        return None
    try:
        told = opened.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, _MEMINFO.size)
    except OSError:
        return None
    return int(_MEMINFO.unpack(told)[8]) if len(told) >= _MEMINFO.size else None


def ask_for_buffer(opened: socket.socket, size: int) -> int:
    """Ask for a receive buffer of so many bytes; what was granted.

    A service that may (CAP_NET_ADMIN) goes beyond the system's common limit. Systems that refuse
    what is beyond theirs (macOS: ENOBUFS) are asked for half as much, and so on.
    """
    for asked in (size, size // 2, size // 4, size // 8):
        with contextlib.suppress(OSError):
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, asked)
            break
    granted = opened.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
    if granted < size and sys.platform == "linux":
        with contextlib.suppress(OSError):
            opened.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, size)
        granted = opened.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
    return granted
