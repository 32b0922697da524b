"""The MIDI ports there are, by system; opened by name. Everything here may block."""

from __future__ import annotations

import contextlib
import os
import weakref
from collections.abc import Iterator
from typing import Any, Literal

from liveaid.errors import UsageError
from liveaid.stage.jack_server import jack_mark

try:
    import rtmidi
except ImportError:  # no wheel for this Python, and nothing here that could build it
    rtmidi = None

NOT_INSTALLED = (
    "MIDI is not installed: `pip install python-rtmidi` would do (it takes a C++ compiler where "
    "there is no wheel for this Python)"
)
Direction = Literal["in", "out"]

CLIENT_NAME = f"liveaid-{os.getpid()}"

_API_NAMES: dict[str, str] = {
    "alsa": "API_LINUX_ALSA",
    "jack": "API_UNIX_JACK",
    "coremidi": "API_MACOSX_CORE",
    "winmm": "API_WINDOWS_MM",
}
API_CHOICES = ("auto", *_API_NAMES)


def compiled_apis() -> dict[str, int]:
    """The MIDI systems this build of rtmidi can speak to, by our names."""
    if rtmidi is None:
        return {}
    compiled = set(rtmidi.get_compiled_api())
    numbers = {name: int(getattr(rtmidi, constant, -1)) for name, constant in _API_NAMES.items()}
    return {name: number for name, number in numbers.items() if number in compiled}


def apis_for(choice: str) -> dict[str, int]:
    """The systems to try for `auto` or one name. UsageError for one this machine has not."""
    there = compiled_apis()
    if choice == "auto":
        return there
    if rtmidi is None:
        raise UsageError(NOT_INSTALLED)
    if choice not in there:
        raise UsageError(f"{choice}: no such MIDI system here; auto, {', '.join(there)} would do")
    return {choice: there[choice]}


_SHARED = ("jack",)
"""Where the look-out itself is opened: each JACK client costs a wake-up every period, and JACK lets
one thread list ports while another sends. ALSA's handle is for one thread at a time."""


IN_VAIN = 30
"""Asking for a JACK server that is not there costs 16 KB for good, lost in its library. After once
in vain only every so many looks ask, unless a server's socket shows (a stand-in has none)."""

_ALL: weakref.WeakSet[Ports] = weakref.WeakSet()
"""Every look-out of this process: when the JACK server dies, all must let go before any goes on."""


class Ports:
    """Long-lived look-outs, one a system and direction: new ones each time would leak clients."""

    def __init__(self, direction: Direction, apis: dict[str, int], *, timing: bool = False) -> None:
        """`timing`: an input is to hear time code too, which the backend leaves out otherwise."""
        self.direction, self._timing = direction, timing
        self._apis = apis
        self._lookouts: dict[str, Any] = {}
        self._absent: dict[str, str] = {}
        self._mark: str | None = None
        self._left_out = 0
        """Looks since JACK was last asked in vain; 0 when the next look asks."""
        _ALL.add(self)

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
    def systems(self) -> int:
        """How many systems are looked at."""
        return len(self._apis)

    @property
    def absent(self) -> dict[str, str]:
        """The systems that could not be reached, and what they said."""
        return dict(self._absent)

    def open(self, api: str, name: str) -> Any:
        """A new open port on the port of this name. Blocks; raises what the backend raises."""
        if self.gone():
            raise SystemError("the MIDI system has gone")
        opened = self._lookout(api, self._apis[api]) if api in _SHARED else None
        opened = opened or _new(self.direction, self._apis[api])
        try:
            if self._timing:
                opened.ignore_types(sysex=False, timing=False, active_sense=True)
            index = opened.get_ports().index(name)
            opened.open_port(index, "lamps" if self.direction == "out" else "pads")
        except BaseException:
            self.release(opened)
            raise
        return opened

    def release(self, opened: Any) -> None:
        """Close and delete a port that `open` gave; it must not be used by anyone again."""
        self.forget(opened)
        with contextlib.suppress(Exception):
            if self.direction == "in":
                opened.cancel_callback()
            opened.close_port()
        opened.delete()

    def forget(self, opened: Any) -> None:
        """Never touch this port again: its driver is stalled, and whoever asks it stalls too."""
        self._lookouts = {
            api: lookout for api, lookout in self._lookouts.items() if lookout is not opened
        }

    def gone(self) -> bool:
        """Whether the server our ports hang on has died (and perhaps another taken its place)."""
        return self._mark is not None and jack_mark() != self._mark

    def close(self) -> None:
        """Give the look-outs back."""
        for api, lookout in list(self._lookouts.items()):
            lookout.delete()
            self._lookouts.pop(api, None)
        self._mark = None

    def of_a_dead_server(self) -> bool:
        """Whether something of ours still hangs on a server that has died."""
        return bool(self._lookouts) and self.gone()

    def _lookout(self, api: str, number: int) -> Any | None:
        if api not in self._lookouts:
            if not _may_be_there(api):
                self._absent[api] = "no such device"
                return None
            if api == "jack" and any(other.of_a_dead_server() for other in tuple(_ALL)):
                # Making one frees theirs under their hands: they must let go of it first.
                self._absent[api] = "the server has gone"
                return None
            if api == "jack" and self._left_out and jack_mark() is None:
                self._left_out = (self._left_out + 1) % IN_VAIN
                return None
            try:
                with _quiet_stderr():
                    self._lookouts[api] = _new(self.direction, number)
            except (SystemError, rtmidi.RtMidiError) as error:
                self._absent[api] = str(error)
                self._left_out = 1 if api == "jack" else self._left_out
                return None
            self._absent.pop(api, None)
            if api == "jack":
                self._mark, self._left_out = jack_mark(), 0
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
    return found, absent if apis else {"midi": NOT_INSTALLED}
