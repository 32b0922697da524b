"""A timer for what is seen or heard on a beat: on time to a part of a millisecond."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable


class OnTime:
    """Calls back at one moment to come; another that is set takes its place."""

    def __init__(self, call: Callable[[], None], early_s: float) -> None:
        """The loop's timers keep whole milliseconds and are late: woken `early_s` before, the rest
        is waited out."""
        self._call, self._early_s = call, early_s
        self._timer: asyncio.TimerHandle | None = None

    def set(self, due_s: float | None) -> None:
        """Call back at this monotonic second; None: not at all."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if due_s is not None:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_at(due_s - self._early_s, self._wake, due_s)

    def _wake(self, due_s: float) -> None:
        wait_s = due_s - time.monotonic()
        if 0 < wait_s <= 2 * self._early_s:
            time.sleep(wait_s)
        self._call()
