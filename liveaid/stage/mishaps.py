"""What went wrong inside the stage without stopping it: counted, the last few kept for /health."""

from __future__ import annotations

import contextlib
import logging
from collections import deque
from collections.abc import Iterator
from typing import Any

_log = logging.getLogger("liveaid.stage.mishaps")
KEPT = 10
"""Different mishaps kept for /health; more would only be scrolled past."""


class Mishaps:
    """Counts every mishap; keeps the last few that differ from the one before."""

    def __init__(self) -> None:
        self.count = 0
        self._last: deque[str] = deque(maxlen=KEPT)

    @property
    def last(self) -> str | None:
        """The latest one, in words."""
        return self._last[-1] if self._last else None

    def note(self, what: str) -> None:
        """Count one."""
        self.count += 1
        if self.last != what:
            self._last.append(what)
            _log.error(what)

    @contextlib.contextmanager
    def noting(self, whose: str) -> Iterator[None]:
        """Whatever is raised inside is counted under this name, and goes no further."""
        try:
            yield
        except Exception as error:
            self.note(f"{whose}: {error!r}")

    def to_json(self) -> dict[str, Any]:
        """For /health."""
        return {"count": self.count, "last": list(self._last)}
