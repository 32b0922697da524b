"""What the stage's tests share: a sender, a follower told what to show, a JACK server."""

from __future__ import annotations

import os
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.follow.prompt import DeckNow, PieceNext, PieceNow, Prompt
from liveaid.routine import SIDES, Routine, load_routine
from liveaid.stage.address import Address

SILENT_DECK = DeckNow(None, None, None, None, None, None, False)


@pytest.fixture(scope="session")
def message() -> Callable[..., bytes]:
    """message(address, *arguments): the datagram python-osc builds; floats as 32-bit floats."""

    def build(address: str, *arguments: Any) -> bytes:
        builder = OscMessageBuilder(address)
        for argument in arguments:
            builder.add_arg(argument)
        return builder.build().dgram

    return build


@pytest.fixture
def three(routines) -> Routine:
    return load_routine(routines / "three.yaml")


@pytest.fixture
def make_prompt() -> Callable[..., Prompt]:
    """make_prompt(**changes): the middle of a set piece in four-four, with some of it changed."""

    def build(**changes: Any) -> Prompt:
        middle = Prompt(
            state="following",
            confidence=0.99,
            elapsed_s=41.2,
            limit_s=180.0,
            piece=PieceNow(2, "Lanterns", "story", "beat juggle", 8, "clock"),
            beat_position=13.42,
            bar=4,
            beat=2,
            bars_left=5,
            beats_left=18.58,
            seconds_left=12.1,
            tempo=92.3,
            next=PieceNext(3, "Last tram", "climax", "scratch", 96.0, "right hand to the sticker"),
            decks={
                "left": DeckNow(31.2, 1.0, 8.0, "runs", 72.0, None, False),
                "right": DeckNow(44.2, 0.0, 8.0, "rests", 3.4, -22.7, False),
            },
        )
        return replace(middle, **changes)

    return build


class ToldFollower:
    """A follower that keeps what it hears and shows the prompt it was given."""

    def __init__(self, prompt: Prompt) -> None:
        self.shown = prompt
        self.told: list[tuple[Any, ...]] = []
        self.wakes: list[float] = []

    def hear(self, side, *, position, now):
        self.told.append(("position", side, position, now))

    def hear_speed(self, side, *, speed, now):
        self.told.append(("speed", side, speed, now))

    def hear_pitch(self, side, *, percent, now):
        self.told.append(("pitch", side, percent, now))

    def hear_crossfader(self, *, value, now):
        self.told.append(("crossfader", None, value, now))

    def hear_level(self, side, *, level, now):
        self.told.append(("level", side, level, now))

    def wake_at(self):
        return self.wakes[0] if self.wakes else None

    def prompt(self, *, now):
        while self.wakes and self.wakes[0] <= now:
            self.wakes.pop(0)
        return self.shown


@pytest.fixture
def told_follower(make_prompt) -> ToldFollower:
    return ToldFollower(make_prompt())


@pytest.fixture
def waiting(make_prompt) -> Prompt:
    return make_prompt(
        state="waiting", confidence=0.0, elapsed_s=None, piece=None, beat_position=None, bar=None,
        beat=None, bars_left=None, beats_left=None, seconds_left=None, tempo=None, next=None,
        decks=dict.fromkeys(SIDES, SILENT_DECK),
    )  # fmt: skip


@pytest.fixture
def send() -> Iterator[Callable[[Address, bytes], None]]:
    """send(address, datagram) over real UDP."""
    sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    yield lambda to, data: sender.sendto(data, (to.host, to.port))
    sender.close()


@pytest.fixture(scope="session")
def free_port() -> Callable[[], int]:
    """free_port(): a port nobody has just now, TCP and UDP."""

    def find() -> int:
        while True:
            with socket.socket() as tcp, socket.socket(type=socket.SOCK_DGRAM) as udp:
                tcp.bind(("127.0.0.1", 0))
                try:
                    udp.bind(tcp.getsockname())
                except OSError:
                    continue
                return int(tcp.getsockname()[1])

    return find


@pytest.fixture(scope="session")
def eventually() -> Callable[..., Any]:
    """eventually(look, for_s): what `look` gives as soon as it is true; fails when it never is."""

    def wait(look: Callable[[], Any], for_s: float = 30.0) -> Any:
        end = time.monotonic() + for_s
        while True:
            found = look()
            if found:
                return found
            assert time.monotonic() < end, f"not within {for_s} s"
            time.sleep(0.02)

    return wait


@pytest.fixture
def jack(needs) -> Iterator[Callable[..., subprocess.Popen[bytes]]]:
    """jack(): starts a JACK server on the dummy driver, named in JACK_DEFAULT_SERVER for children.

    Real MIDI ports without hardware. The environment is put back, and servers end, afterwards.
    """
    pytest.importorskip("rtmidi")
    program = needs("jackd", "jackd2")
    # One name for all runs: JACK knows eight servers at most, and one that was killed keeps its
    # place until the next of the same name.
    name = "liveaid-tests"
    servers: list[subprocess.Popen[bytes]] = []

    # Periods of 11 ms: of 1.3 ms a busy machine misses some, and their MIDI is gone.
    def start() -> subprocess.Popen[bytes]:
        server = subprocess.Popen(
            [program, "-r", "-n", name, "-d", "dummy", "-r", "48000", "-p", "512"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        servers.append(server)
        return server

    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ |= {"JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"}
    yield start
    for server in servers:
        server.terminate()
        server.wait(10)
    os.environ.pop("JACK_NO_START_SERVER")
    if before is None:
        os.environ.pop("JACK_DEFAULT_SERVER")
    else:
        os.environ["JACK_DEFAULT_SERVER"] = before
