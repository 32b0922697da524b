"""What /health says, put together from the stage's parts."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any


class Health:
    """What /health says: each part under its name, asked when it is wanted."""

    def __init__(self, parts: Mapping[str, Callable[[], Any]]) -> None:
        self._parts = dict(parts)
        self._started_s = time.monotonic()

    def to_json(self) -> dict[str, Any]:
        """Counts, buffers, ports, errors."""
        uptime_s = round(time.monotonic() - self._started_s, 3)
        return {"uptime_s": uptime_s, **{name: ask() for name, ask in self._parts.items()}}
