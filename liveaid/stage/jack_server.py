"""Whether the JACK server is still the same one.

A client of a server that has died is told nothing by rtmidi: it goes on listing ports from memory.
And the JACK library frees such clients when the next one is made, so that touching the old ones
afterwards crashes the process. Hence a mark that can be looked at from outside: the number of the
server's listening socket. On PipeWire's stand-in, and outside Linux, there is none.
"""

from __future__ import annotations

import os
from pathlib import Path

_LISTENING = "00010000"  # __SO_ACCEPTCON in the flags column of /proc/net/unix (proc(5))


def jack_mark(table: Path = Path("/proc/net/unix")) -> str | None:
    """What tells one run of the JACK server from the next; None where there is nothing to tell."""
    server = os.environ.get("JACK_DEFAULT_SERVER", "default")
    try:
        lines = table.read_text(errors="replace").splitlines()
    except OSError:
        return None
    for line in lines:
        columns = line.split()
        if len(columns) < 8 or columns[3] != _LISTENING:
            continue
        if Path(columns[7]).name.startswith(f"jack_{server}_"):
            return columns[6]
    return None
