"""How late the loop is: a timer that ought to come back at once, and when it did."""

from __future__ import annotations

import asyncio
import time
from collections import deque

LOOP_LAG_EVERY_S = 0.1
KEPT_S = 10.0
"""How far back the worst is told."""


class LoopLag:
    """Looks ten times a second; what is held up is held up for everybody."""

    def __init__(self) -> None:
        self._late_s: deque[float] = deque(maxlen=round(KEPT_S / LOOP_LAG_EVERY_S))
        self._timer: asyncio.TimerHandle | None = None

    def start(self) -> None:
        """Begin to look."""
        self._look(None)

    def stop(self) -> None:
        """Look no more."""
        if self._timer is not None:
            self._timer.cancel()

    def worst_s(self, within_s: float = KEPT_S) -> float:
        """The longest the loop was held up in so many seconds."""
        latest = list(self._late_s)[-max(1, round(within_s / LOOP_LAG_EVERY_S)) :]
        return max(latest, default=0.0)

    def to_json(self) -> dict[str, float]:
        """Milliseconds, for /health."""
        return {
            "lag_ms": round(1000 * self.worst_s(1.0), 1),
            "worst_10s_ms": round(1000 * self.worst_s(), 1),
        }

    def _look(self, due_s: float | None) -> None:
        now = time.monotonic()
        if due_s is not None:
            self._late_s.append(max(0.0, now - due_s))
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(LOOP_LAG_EVERY_S, self._look, now + LOOP_LAG_EVERY_S)
