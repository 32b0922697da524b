"""What has arrived and has not been read yet: a fair share for each sender, oldest dropped first.

Pure. Counted in messages, not datagrams: one bundle may carry hundreds.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

MOST_WAITING = 2048
"""Messages kept waiting. At the slowest reading measured here (some 100 us a message, follower and
all) that is a fifth of a second's work: older positions say where the record was, not where it is.
"""


@dataclass(slots=True)
class Datagram:
    """One datagram; `data` is None once it was dropped."""

    data: bytes | None
    arrived_s: float
    """Monotonic second at which the system took it in."""
    sender: Any
    messages: int


class Backlog:
    """Datagrams in the order of arrival.

    A sender may keep `most` messages waiting divided by the senders there are: one that floods
    drops its own, and a deck beside it is heard all the same.
    """

    def __init__(self, most: int = MOST_WAITING) -> None:
        self._most = most
        self._all: deque[Datagram] = deque()
        self._own: dict[Any, deque[Datagram]] = {}
        self._own_messages: dict[Any, int] = {}
        self.messages = 0
        """How many messages wait."""

    def put(self, data: bytes, arrived_s: float, sender: Any, messages: int) -> int:
        """Add one datagram; how many messages had to be dropped for it."""
        datagram = Datagram(data, arrived_s, sender, messages)
        own = self._own.setdefault(sender, deque())
        own.append(datagram)
        self._all.append(datagram)
        self._own_messages[sender] = self._own_messages.get(sender, 0) + messages
        self.messages += messages
        share = self._most // len(self._own)
        dropped = 0
        while self._own_messages[sender] > share and len(own) > 1:
            dropped += self._drop(own[0])
        while self.messages > self._most and len(self._all) > 1:
            dropped += self._drop_oldest()
        return dropped

    def take(self) -> Datagram | None:
        """The oldest that waits; None when there is none."""
        while self._all:
            datagram = self._all.popleft()
            if datagram.data is not None:
                self._leave(datagram)
                return datagram
        return None

    def _drop_oldest(self) -> int:
        while self._all[0].data is None:
            self._all.popleft()
        return self._drop(self._all.popleft())

    def _drop(self, datagram: Datagram) -> int:
        self._leave(datagram)
        datagram.data = None
        return datagram.messages

    def _leave(self, datagram: Datagram) -> None:
        """It is its sender's oldest: out of its sender's queue."""
        sender = datagram.sender
        self._own[sender].popleft()
        self._own_messages[sender] -= datagram.messages
        self.messages -= datagram.messages
        if not self._own[sender]:
            del self._own[sender], self._own_messages[sender]
