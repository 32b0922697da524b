"""The MIDI port the lamps hang on: one owner, found by name, lost and found again.

Everything the backend may take its time over (listing, opening, closing) runs on one thread of its
own, with a time limit, and sending on another; a port is closed when its sender has ended (sending
on a closed one crashes the process), and left alone for good when its driver never lets go.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from liveaid.stage.midi_names import match_port
from liveaid.stage.midi_ports import NOT_INSTALLED, Direction, Ports, apis_for
from liveaid.stage.midi_sender import MidiSender

Result = TypeVar("Result")

MIDI_POLL_S = 1.0
MIDI_LIMIT_S = 3.0
MIDI_SETTLE_S = 0.1
"""A connection just made may not carry yet, and what is sent into it is lost without a word."""
STALLED_S = 1.0
"""A driver busy with one message this long is stalled: a cable carries a message in a millisecond.
"""
WATCH_S = 0.25
"""How often it is looked whether the driver makes progress."""


class MidiPort:
    """Keeps one port open for as long as it is there; says at any time how it stands."""

    def __init__(
        self,
        wanted: str,
        *,
        api: str = "auto",
        direction: Direction = "out",
        opened: Callable[[], None] = lambda: None,
        heard: Callable[[bytes, float], None] | None = None,
        timing: bool = False,
    ) -> None:
        """`opened` is called on the loop when the port is there (again), and once more a look
        later, in case the first burst was lost; `heard` with the bytes and monotonic second of
        each message of an input, time code among them when `timing`."""
        self.wanted = wanted
        self.state = "not looked yet"
        self.name: str | None = None
        self.failed = self.stalls = 0
        self._sent = 0
        self._ports = Ports(direction, apis_for(api), timing=timing)
        self._opened = opened
        self._heard = heard
        self._port: Any = None
        self._sender: MidiSender | None = None
        self._worker = _one_thread()
        self._task: asyncio.Task[None] | None = None
        self._watching: asyncio.Task[None] | None = None
        self._reopen = False
        self._again = False
        self._timeouts = 0

    async def start(self) -> None:
        """Look once, at most LIMIT_S long, then go on looking in the background."""
        await self._look()
        self._task = asyncio.create_task(self._keep_looking())
        self._watching = asyncio.create_task(self._keep_watching())

    async def stop(self) -> None:
        """Close the port; returns within LIMIT_S whatever the backend does."""
        for task in (self._task, self._watching):
            if task is not None:
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task
        if self._port is not None:
            await asyncio.sleep(MIDI_SETTLE_S)  # what was just sent is still on its way
        await self._let_go("closed")
        with contextlib.suppress(TimeoutError):
            await self._off_loop(self._ports.close)
        self._worker.shutdown(wait=False)

    def send(self, messages: Iterable[bytes]) -> None:
        """Send while the port is there; otherwise do nothing: all is sent again when it is."""
        if self._sender is not None:
            self._sender.send(list(messages))

    @property
    def sent(self) -> int:
        """Messages the driver has taken."""
        return self._sent + (self._sender.sent if self._sender else 0)

    def _sending_failed(self, error: Exception) -> None:
        """On the sender's thread."""
        self.failed += 1
        self.state = f"sending failed: {error}"
        self._reopen = True

    def reopen(self) -> None:
        """Take the port up anew at the next look: the machine slept, or sending failed."""
        self._reopen = True

    def to_json(self) -> dict[str, Any]:
        """How the port stands, for /health."""
        return {
            "wanted": self.wanted,
            "state": self.state,
            "name": self.name,
            "sent": self.sent,
            "failed": self.failed,
            "stalls": self.stalls,
        }

    async def _keep_looking(self) -> None:
        while True:
            # Each time-out leaves a stuck thread behind: look ever more seldom then.
            await asyncio.sleep(MIDI_POLL_S * min(2**self._timeouts, 60))
            await self._look()

    async def _keep_watching(self) -> None:
        """Whether the driver makes progress; one that does not is let go of."""
        while True:
            await asyncio.sleep(WATCH_S)
            if self._sender is not None and self._sender.busy_s(time.monotonic()) > STALLED_S:
                self.stalls += 1
                await self._let_go("the driver is stalled")

    async def _look(self) -> None:
        try:
            await self._look_once()
        except TimeoutError:
            await self._let_go("the MIDI system does not answer")
        except Exception as error:
            await self._let_go(f"looking failed: {error}")

    async def _look_once(self) -> None:
        if await self._off_loop(self._ports.gone):
            # Everything of ours must go before anything new is made: see jack_server.
            await self._let_go("the MIDI system has gone")
            await self._off_loop(self._ports.close)
        names = await self._off_loop(self._ports.names)
        there = self.name is not None and any(name == self.name for _, name in names)
        if self._port is not None and (self._reopen or not there):
            await self._let_go("unplugged")
        self._reopen = False
        if self._port is None:
            await self._find(names)
        elif self._again:
            self._again = False
            self._opened()

    async def _find(self, names: Sequence[tuple[str, str]]) -> None:
        match = match_port(self.wanted, [name for _, name in names])
        if match.index is None:
            self.state = self._why_not(match.candidates)
            return
        api, name = names[match.index]
        try:
            port = await self._off_loop(
                lambda: self._ports.open(api, name), late=self._ports.release
            )
        except TimeoutError:
            self.state = "opening takes too long"
            return
        except Exception as error:
            self.state = f"cannot be opened: {error}"
            return
        await self._take(port, name)

    async def _take(self, port: Any, name: str) -> None:
        if self._heard is not None:
            loop, heard = asyncio.get_running_loop(), self._heard

            def on_thread(event: tuple[list[int], float], _: object = None) -> None:
                # A foreign thread: take the time, hand over, nothing else.
                now = time.monotonic()
                with contextlib.suppress(RuntimeError):  # the loop is closed: nobody listens
                    loop.call_soon_threadsafe(heard, bytes(event[0]), now)

            port.set_callback(on_thread)
        await asyncio.sleep(MIDI_SETTLE_S)
        if self._ports.direction == "out":
            self._sender = MidiSender(port, self._sending_failed)
        self._port, self.name, self.state = port, name, "open"
        self._timeouts = 0
        self._opened()
        self._again = True

    def _why_not(self, candidates: Sequence[str]) -> str:
        if candidates:
            return f"several ports fit: {', '.join(candidates)}"
        absent = self._ports.absent
        if not self._ports.systems:
            return NOT_INSTALLED
        if len(absent) == self._ports.systems:
            return "no MIDI system on this machine"
        return "no port of that name"

    async def _let_go(self, state: str) -> None:
        port, self._port, self.name, self.state = self._port, None, None, state
        sender, self._sender = self._sender, None
        if sender is not None:
            self._sent += sender.sent
            stalled = sender.busy_s(time.monotonic()) > STALLED_S
            if not await asyncio.to_thread(sender.end, 0.0 if stalled else MIDI_LIMIT_S):
                self._ports.forget(port)  # the driver still holds it: touching it would stall us
                return
        if port is not None:
            with contextlib.suppress(Exception):
                await self._off_loop(lambda: self._ports.release(port))

    async def _off_loop(
        self, job: Callable[[], Result], late: Callable[[Result], None] | None = None
    ) -> Result:
        """Run on the MIDI thread, TimeoutError after LIMIT_S; `late` takes what comes after that.

        A thread that is stuck is left behind, and the next job gets a new one.
        """
        future = self._worker.submit(job)
        # Not wait_for: until Python 3.12 it loses a cancellation that comes as the job ends, and
        # whoever stops the port would wait for ever.
        ended = asyncio.wrap_future(future)
        ended.add_done_callback(lambda done: done.cancelled() or done.exception())
        await asyncio.wait({ended}, timeout=MIDI_LIMIT_S)
        if ended.done():
            return ended.result()
        self._timeouts += 1
        if late is not None:
            future.add_done_callback(lambda done: done.exception() or late(done.result()))
        self._worker.shutdown(wait=False)
        self._worker = _one_thread()
        raise TimeoutError


def _one_thread() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix="midi")
