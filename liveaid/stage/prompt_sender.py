"""Sends the prompt as OSC to whoever wants to follow along: see prompt_osc for the addresses."""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Mapping, Sequence
from typing import Any

from liveaid.follow.prompt import Prompt
from liveaid.stage.address import Address, StageError
from liveaid.stage.prompt_osc import next_bar_bundle, prompt_bundle
from liveaid.stage.watcher import Stage, Watcher


class PromptSender(Watcher):
    """Tells receivers what turns; one that is not there costs nothing."""

    def __init__(self, receivers: Sequence[Address]) -> None:
        """StageError when a receiver's host is not known."""
        self._sockets = [(_connected(address), address) for address in receivers]
        self._stage: Stage | None = None
        self._moment: object = None
        self.sent = self.failed = 0

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Send what turned; on a bar's last beat, when the next bar begins."""
        moment = (prompt.state, prompt.piece and prompt.piece.index, prompt.bar, prompt.beat)
        if moment == self._moment:
            return
        self._moment = moment
        self._send(prompt_bundle(prompt))
        last = prompt.beats_left is not None and prompt.beats_left <= 1.0
        if self._stage is not None and (prompt.beat == self._stage.routine.metre or last):
            dated = next_bar_bundle(prompt, self._stage.routine.metre, time.time())
            if dated is not None:
                self._send(dated)

    def status(self) -> Mapping[str, Any]:
        """The key `sent_osc` of /status: to whom, how many, how many failed."""
        to = [str(address) for _, address in self._sockets]
        return {"sent_osc": {"to": to, "sent": self.sent, "failed": self.failed}}

    async def stopped(self) -> None:
        """Send no more."""
        for opened, _ in self._sockets:
            opened.close()

    def _send(self, data: bytes) -> None:
        for opened, _ in self._sockets:
            try:
                opened.send(data)
                self.sent += 1
            except OSError:  # nobody there (ICMP), or the system's buffer is full
                self.failed += 1
                with contextlib.suppress(OSError):  # the second try is not told of the first
                    opened.send(data)


def _connected(address: Address) -> socket.socket:
    opened = socket.socket(address.family(socket.SOCK_DGRAM), socket.SOCK_DGRAM)
    try:
        opened.setblocking(False)
        opened.connect((address.host, address.port))
    except OSError as error:
        opened.close()
        raise StageError(f"no sending to {address}: {error.strerror or error}") from error
    return opened
