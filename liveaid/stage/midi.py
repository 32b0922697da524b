"""The MIDI port the lamps hang on: one owner, found by name, lost and found again.

Everything the backend may take its time over (listing, opening, closing) runs on one thread of its
own, with a time limit; sending is done on the loop, by whoever holds the port, and nobody holds a
port that is being closed (sending on one crashes the process).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Literal, TypeVar

import rtmidi

from liveaid.errors import UsageError
from liveaid.stage.midi_names import match_port

Direction = Literal["in", "out"]
Result = TypeVar("Result")

POLL_S = 1.5
LIMIT_S = 3.0
CLIENT_NAME = "liveaid"

_API_NAMES: dict[str, str] = {
    "alsa": "API_LINUX_ALSA",
    "jack": "API_UNIX_JACK",
    "coremidi": "API_MACOSX_CORE",
    "winmm": "API_WINDOWS_MM",
}
API_CHOICES = ("auto", *_API_NAMES)


def compiled_apis() -> dict[str, int]:
    """The MIDI systems this build of rtmidi can speak to, by our names."""
    compiled = set(rtmidi.get_compiled_api())
    numbers = {name: int(getattr(rtmidi, constant, -1)) for name, constant in _API_NAMES.items()}
    return {name: number for name, number in numbers.items() if number in compiled}


def apis_for(choice: str) -> dict[str, int]:
    """The systems to try for `auto` or one name. UsageError for one this machine has not."""
    there = compiled_apis()
    if choice == "auto":
        return there
    if choice not in there:
        raise UsageError(f"{choice}: no such MIDI system here; auto, {', '.join(there)} would do")
    return {choice: there[choice]}


class Ports:
    """Long-lived look-outs, one a system and direction: new ones each time would leak clients."""

    def __init__(self, direction: Direction, apis: dict[str, int]) -> None:
        self._direction = direction
        self._apis = apis
        self._lookouts: dict[str, Any] = {}
        self._absent: dict[str, str] = {}

    def names(self) -> list[tuple[str, str]]:
        """(system, port name) of every port there is now. Blocks; never raises."""
        found = []
        for api, number in self._apis.items():
            lookout = self._lookout(api, number)
            if lookout is not None:
                with contextlib.suppress(Exception):
                    found += [(api, name) for name in lookout.get_ports()]
        return [(api, name) for api, name in found if not name.startswith(f"{CLIENT_NAME}:")]

    @property
    def absent(self) -> dict[str, str]:
        """The systems that could not be reached, and what they said."""
        return dict(self._absent)

    def open(self, api: str, name: str) -> Any:
        """A new open port on the port of this name. Blocks; raises what the backend raises."""
        opened = _new(self._direction, self._apis[api])
        try:
            index = opened.get_ports().index(name)
            opened.open_port(index, "lamps" if self._direction == "out" else "pads")
        except BaseException:
            opened.delete()
            raise
        return opened

    def close(self) -> None:
        """Give the look-outs back."""
        while self._lookouts:
            self._lookouts.popitem()[1].delete()

    def _lookout(self, api: str, number: int) -> Any | None:
        if api not in self._lookouts:
            if not _may_be_there(api):
                self._absent[api] = "no such device"
                return None
            try:
                with _quiet_stderr():
                    self._lookouts[api] = _new(self._direction, number)
            except (SystemError, rtmidi.RtMidiError) as error:
                self._absent[api] = str(error)
                return None
            self._absent.pop(api, None)
        return self._lookouts[api]


def _new(direction: Direction, api: int) -> Any:
    kind = rtmidi.MidiOut if direction == "out" else rtmidi.MidiIn
    return kind(api, name=CLIENT_NAME)


def _may_be_there(api: str) -> bool:
    """Whether asking makes sense: ALSA's library writes to the terminal when it has no device."""
    return api != "alsa" or os.path.exists("/dev/snd/seq")


@contextlib.contextmanager
def _quiet_stderr() -> Iterator[None]:
    """The C libraries report a missing server on the terminal, past Python; not every 2 seconds."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def list_ports(choice: str = "auto") -> tuple[dict[str, list[tuple[str, str]]], dict[str, str]]:
    """Inputs and outputs as {"in": [(system, name)], "out": ...}, and the systems not reached."""
    apis = apis_for(choice)
    found: dict[str, list[tuple[str, str]]] = {}
    absent: dict[str, str] = {}
    directions: tuple[Direction, Direction] = ("in", "out")
    for direction in directions:
        ports = Ports(direction, apis)
        found[direction] = ports.names()
        absent |= ports.absent
        ports.close()
    return found, absent


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
    ) -> None:
        """`opened` is called on the loop each time the port is there (again); `heard` with the
        bytes and monotonic second of each message of an input."""
        self.wanted = wanted
        self.state = "not looked yet"
        self.name: str | None = None
        self.sent = 0
        self.failed = 0
        self._ports = Ports(direction, apis_for(api))
        self._opened = opened
        self._heard = heard
        self._port: Any = None
        self._worker = _one_thread()
        self._task: asyncio.Task[None] | None = None
        self._reopen = False

    async def start(self) -> None:
        """Look once, at most LIMIT_S long, then go on looking in the background."""
        await self._look()
        self._task = asyncio.create_task(self._keep_looking())

    async def stop(self) -> None:
        """Close the port; returns within LIMIT_S whatever the backend does."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task
        await self._let_go("closed")
        with contextlib.suppress(TimeoutError):
            await self._off_loop(self._ports.close)
        self._worker.shutdown(wait=False)

    def send(self, messages: Iterable[bytes]) -> None:
        """Send while the port is there; otherwise do nothing: all is sent again when it is."""
        for message in messages:
            if self._port is None:
                return
            try:
                self._port.send_message(message)
                self.sent += 1
            except Exception as error:
                self.failed += 1
                self.state = f"sending failed: {error}"
                self._reopen = True
                return

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
        }

    async def _keep_looking(self) -> None:
        while True:
            await asyncio.sleep(POLL_S)
            await self._look()

    async def _look(self) -> None:
        try:
            names = await self._off_loop(self._ports.names)
        except TimeoutError:
            await self._let_go("the MIDI system does not answer")
            return
        there = self.name is not None and any(name == self.name for _, name in names)
        if self._port is not None and (self._reopen or not there):
            await self._let_go("unplugged")
        self._reopen = False
        if self._port is None:
            await self._find(names)

    async def _find(self, names: Sequence[tuple[str, str]]) -> None:
        match = match_port(self.wanted, [name for _, name in names])
        if match.index is None:
            self.state = self._why_not(match.candidates)
            return
        api, name = names[match.index]
        try:
            port = await self._off_loop(lambda: self._ports.open(api, name), late=_close)
        except TimeoutError:
            self.state = "opening takes too long"
            return
        except Exception as error:
            self.state = f"cannot be opened: {error}"
            return
        self._take(port, name)

    def _take(self, port: Any, name: str) -> None:
        if self._heard is not None:
            loop, heard = asyncio.get_running_loop(), self._heard

            def on_thread(event: tuple[list[int], float], _: object = None) -> None:
                # A foreign thread: take the time, hand over, nothing else.
                now = time.monotonic()
                with contextlib.suppress(RuntimeError):  # the loop is closed: nobody listens
                    loop.call_soon_threadsafe(heard, bytes(event[0]), now)

            port.set_callback(on_thread)
        self._port, self.name, self.state = port, name, "open"
        self._opened()

    def _why_not(self, candidates: Sequence[str]) -> str:
        if candidates:
            return f"several ports fit: {', '.join(candidates)}"
        absent = self._ports.absent
        if absent and len(absent) == len(self._ports._apis):
            return "no MIDI system on this machine"
        return "no port of that name"

    async def _let_go(self, state: str) -> None:
        port, self._port, self.name, self.state = self._port, None, None, state
        if port is not None:
            with contextlib.suppress(Exception):
                await self._off_loop(lambda: _close(port))

    async def _off_loop(
        self, job: Callable[[], Result], late: Callable[[Result], None] | None = None
    ) -> Result:
        """Run on the MIDI thread, TimeoutError after LIMIT_S; `late` takes what comes after that.

        A thread that is stuck is left behind, and the next job gets a new one.
        """
        future = self._worker.submit(job)
        try:
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(future)), LIMIT_S)
        except TimeoutError:
            if late is not None:
                future.add_done_callback(lambda done: done.exception() or late(done.result()))
            self._worker.shutdown(wait=False)
            self._worker = _one_thread()
            raise


def _close(port: Any) -> None:
    with contextlib.suppress(Exception):
        if isinstance(port, rtmidi.MidiIn):
            port.cancel_callback()
        port.close_port()
    port.delete()


def _one_thread() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix="midi")
