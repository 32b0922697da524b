"""Sends on one open MIDI port from a thread of its own: a driver that stalls holds up no one.

The loop waits for the thread for some milliseconds at most, so that in the ordinary case a message
is out when `send` returns. How long the driver has been busy with one message is the watchdog's
measure: what was asked for says nothing about a port's own progress.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any

PATIENCE_S = 0.005
"""The loop waits so long for what it sends; some 50 messages go out in it."""
QUEUED_S = 1.0
"""A driver busy with one message for less than this has what comes next queued: on a busy machine
its thread waits for a turn, and a clock that is left out is a clock too few for good."""


class MidiSender:
    """One port's thread; ended by `end`, or by a send that fails."""

    def __init__(self, port: Any, failed: Callable[[Exception], None]) -> None:
        """`failed` is told, on the thread, what a send raised."""
        self.port = port
        self.sent = self.left_out = 0
        self._failed = failed
        self._jobs: queue.SimpleQueue[tuple[Sequence[bytes], threading.Event] | None]
        self._jobs = queue.SimpleQueue()
        self._since_s: float | None = None
        self._given_up = False
        self._thread = threading.Thread(target=self._run, name="midi-send", daemon=True)
        self._thread.start()

    def send(self, messages: Sequence[bytes]) -> None:
        """Send these, after what came before; left out when the driver is stuck: whatever is shown
        is sent again in turn."""
        if not messages:
            return
        busy_s = self.busy_s(time.monotonic())
        if busy_s > QUEUED_S:
            self.left_out += len(messages)
            return
        done = threading.Event()
        self._jobs.put((messages, done))
        if busy_s == 0.0:
            done.wait(PATIENCE_S)

    def busy_s(self, now: float) -> float:
        """How long the driver has been busy with one message."""
        since_s = self._since_s
        return 0.0 if since_s is None else now - since_s

    def end(self, within_s: float) -> bool:
        """No more; whether the driver let go of the last message in time."""
        self._jobs.put(None)
        self._thread.join(within_s)
        self._given_up = self._thread.is_alive()  # what is queued is of no use by then
        return not self._given_up

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            messages, done = job
            try:
                for message in messages:
                    if self._given_up:
                        return
                    self._since_s = time.monotonic()
                    self.port.send_message(message)
                    self.sent += 1
            except Exception as error:
                self._failed(error)
            finally:
                self._since_s = None
                done.set()
