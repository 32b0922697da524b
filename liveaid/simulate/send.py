"""A performance over UDP as OSC, each message at its own time. The room's one socket and clock."""

from __future__ import annotations

import asyncio
import heapq
import socket
import time
from collections.abc import Iterator
from typing import Literal, TypeAlias

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.errors import LiveaidError
from liveaid.simulate.performance import Performance

What: TypeAlias = Literal["speed", "mixer"]
_BREATH_S = 0.1
"""Longest sleep at a stretch, so that whoever drives a sender can look up and stop."""


class SendError(LiveaidError):
    """There is no sending to this address."""


def datagrams(
    performance: Performance, *, also: tuple[What, ...] = ("mixer",)
) -> Iterator[tuple[float, bytes]]:
    """Every datagram with its time: positions, and if wanted speeds and what the mixer says.

    /deck/<side>/position and /speed, /mixer/crossfader, /mixer/<side>/level: one float32 each.
    """
    streams = [_decks(performance, speeds="speed" in also)]
    if "mixer" in also:
        streams.append(_mixer(performance))
    return heapq.merge(*streams, key=lambda timed: timed[0])


class Sender:
    """Sends whatever is due. Any loop can drive it: it is told the time and says when to return.

    `begin_s` is the monotonic time of the performance's time 0; at `speed` 2 it takes half its
    time. Use as a context manager. SendError for a host or port that cannot be.
    """

    def __init__(
        self,
        performance: Performance,
        host: str,
        port: int,
        *,
        begin_s: float,
        speed: float = 1.0,
        also: tuple[What, ...] = ("mixer",),
    ) -> None:
        self._socket = _connected(host, port)
        self._to_come = datagrams(performance, also=also)
        self._next = next(self._to_come, None)
        self._begin_s, self._speed = begin_s, speed
        self.sent = 0
        self.refused = 0
        """How often the other end said that nobody listens there."""
        self.failed = 0
        """Datagrams that did not go out at all."""
        self.reached_s = 0.0
        """Time of the performance up to which all is sent."""
        self.latest_s = 0.0
        """The longest any datagram went out behind its time."""

    def __enter__(self) -> Sender:
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()

    def send_due(self, now_s: float) -> float | None:
        """Send all that is due at a monotonic time; seconds until the next, None after the last."""
        while self._next is not None:
            time_s, data = self._next
            wait_s = self._begin_s + time_s / self._speed - now_s
            if wait_s > 0.0:
                return wait_s
            self._send(data)
            self.reached_s, self.latest_s = time_s, max(self.latest_s, -wait_s)
            self._next = next(self._to_come, None)
        return None

    def _send(self, data: bytes) -> None:
        try:
            try:
                self._socket.send(data)
            except ConnectionRefusedError:  # of an earlier datagram; this one has yet to go out
                self.refused += 1
                self._socket.send(data)
            self.sent += 1
        except OSError:
            self.failed += 1


def send_now(sender: Sender) -> Iterator[float]:
    """Drive a sender from this thread, yielding the performance's time now and then.

    Left early, or on Ctrl-C, nothing more is sent.
    """
    while (wait_s := sender.send_due(time.monotonic())) is not None:
        yield sender.reached_s
        time.sleep(min(wait_s, _BREATH_S))


async def send(
    performance: Performance,
    host: str,
    port: int,
    *,
    speed: float = 1.0,
    also: tuple[What, ...] = ("mixer",),
    begin_s: float | None = None,
) -> Sender:
    """Send the whole performance within a running loop; cancelled, it stops at once."""
    begin_s = time.monotonic() if begin_s is None else begin_s
    with Sender(performance, host, port, begin_s=begin_s, speed=speed, also=also) as sender:
        while (wait_s := sender.send_due(time.monotonic())) is not None:
            await asyncio.sleep(min(wait_s, _BREATH_S))
    return sender


def _connected(host: str, port: int) -> socket.socket:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
        out = socket.socket(found[0], socket.SOCK_DGRAM)
        out.setblocking(False)
        out.connect(found[4])
    except (OSError, OverflowError) as error:
        raise SendError(
            f"{host}:{port}: no sending there ({error}); a host and port such as"
            " 127.0.0.1:9000 would do"
        ) from error
    return out


def _message(address: str, value: float) -> bytes:
    builder = OscMessageBuilder(address)
    builder.add_arg(value, OscMessageBuilder.ARG_TYPE_FLOAT)
    return builder.build().dgram


def _decks(performance: Performance, *, speeds: bool) -> Iterator[tuple[float, bytes]]:
    for message in performance.messages:
        yield message.now_s, _message(f"/deck/{message.side}/position", message.position_s)
        if speeds:
            yield message.now_s, _message(f"/deck/{message.side}/speed", message.speed)


def _mixer(performance: Performance) -> Iterator[tuple[float, bytes]]:
    for now_s, control, value in performance.mixer:
        address = "/mixer/crossfader" if control == "crossfader" else f"/mixer/{control}/level"
        yield now_s, _message(address, value)
