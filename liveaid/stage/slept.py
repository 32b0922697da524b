"""Whether the machine slept: its timers do not say."""

from __future__ import annotations

import sys
import time

SLEPT_S = 2.0
"""CLOCK_BOOTTIME ahead of the monotonic clock by this much more than before: the machine slept."""


class Sleeps:
    """Counts the machine's sleeps, from when it was made."""

    def __init__(self) -> None:
        self.count = 0
        self._asleep_s = _asleep_s()

    def noticed(self) -> bool:
        """Whether the machine slept since this was last asked; to be asked every second or so."""
        before_s, self._asleep_s = self._asleep_s, _asleep_s()
        slept = self._asleep_s - before_s > SLEPT_S
        self.count += slept
        return slept


def _asleep_s() -> float:
    """Seconds the machine has slept since it was started; 0 where the system does not tell.

    CLOCK_BOOTTIME goes on through sleep, the monotonic clock does not (clock_gettime(2)).
    """
    if sys.platform != "linux":
        return 0.0
    return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)
