"""Listen for a while, to a sender or to a controller, and keep what was said; for `learn`."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import yaml

from liveaid.errors import LiveaidError
from liveaid.stage.address import Address, cannot
from liveaid.stage.learn_lamps import Lesson
from liveaid.stage.midi import MidiPort
from liveaid.stage.osc_packet import OscMessage, Refused, read_packet
from liveaid.stage.pads import Presses

MOST = 500_000
"""Messages kept; a flood must not fill the memory."""


class _Ear(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.heard: list[tuple[float, OscMessage]] = []
        self.refused = 0

    def datagram_received(self, data: bytes, addr: Any) -> None:
        now = time.monotonic()
        try:
            messages = read_packet(data)
        except Refused:
            self.refused += 1
            return
        if len(self.heard) < MOST:
            self.heard += [(now, message) for message in messages]


async def listen_osc(
    address: Address, seconds: float, ended: asyncio.Event
) -> tuple[list[tuple[float, OscMessage]], int]:
    """All messages that arrive within so many seconds, or until `ended`, and how many were not OSC.

    StageError when the address is taken.
    """
    loop = asyncio.get_running_loop()
    try:
        transport, ear = await loop.create_datagram_endpoint(
            _Ear, local_addr=(address.host, address.port)
        )
    except OSError as error:
        raise cannot("listen for OSC", address, error, "--osc") from error
    try:
        await _wait(ended, seconds)
    finally:
        transport.close()
    return ear.heard, ear.refused


async def learn_pads(
    name: str,
    lesson: Lesson,
    *,
    api: str,
    seconds: float,
    opened: Callable[[str], None],
    turned: Callable[[], None],
    answers: asyncio.Queue[str],
    ended: asyncio.Event,
) -> None:
    """Teach the lesson with the controller of this name, until it is done, or so many seconds.

    `opened` is told the port's full name, `turned` that the lesson has said something and asks
    anew; `answers` are the performer's lines. LiveaidError when the pads' port cannot be opened.
    """
    presses = Presses()

    def heard(data: bytes, now: float) -> None:
        pad = presses.hear(data, now)
        if pad is not None:
            lesson.press(pad)
            go_on()

    def go_on() -> None:
        lamps.send(lesson.sends())
        turned()
        if lesson.done:
            ended.set()

    async def answer() -> None:
        while True:
            lesson.answer(await answers.get())
            go_on()

    pads, lamps = MidiPort(name, api=api, direction="in", heard=heard), MidiPort(name, api=api)
    await asyncio.gather(pads.start(), lamps.start())
    answering = asyncio.create_task(answer())
    try:
        if pads.state != "open":
            raise LiveaidError(f"{name}: {pads.state}; `liveaid ports` lists what is there")
        lesson.lights = lamps.state == "open"
        opened(pads.name or name)
        await _wait(ended, seconds)
    finally:
        answering.cancel()
        await asyncio.gather(pads.stop(), lamps.stop())


async def _wait(ended: asyncio.Event, seconds: float) -> None:
    try:
        await asyncio.wait_for(ended.wait(), seconds)
    except TimeoutError:
        return


def write_draft(path: Path, tree: dict[str, object], notes: Sequence[str]) -> None:
    """Write a draft as YAML, its notes in front as comments. LiveaidError when it is there."""
    text = "".join(f"# {note}\n" for note in notes)
    text += yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, default_flow_style=None)
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise LiveaidError(f"{path}: is there already; another --out would do") from error
    except OSError as error:
        raise LiveaidError(f"{path}: cannot be written ({error.strerror})") from error
