"""A stored trace once more: over UDP through the running service, or at once without waiting."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.errors import LiveaidError, UsageError
from liveaid.follow import Follower
from liveaid.practice.aim import Aim
from liveaid.practice.count_in import CountIn
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.practice.take_score import ScoredTake, scored_take
from liveaid.practice.trace import Message, Trace, TraceError, messages_of, unpack
from liveaid.stage.address import Address

_BREATH_S = 0.1
HEARD_OUT_S = 3.5
"""Silence after the last message that ends a take for sure."""
_QUIET_S = 5.0
"""The same in a trace's own time, where it costs nothing to be sure."""
_TOLD_EVERY_S = 0.02


def stored_trace(what: str, takes: Path) -> Trace:
    """The trace in a file, or of a kept take by its number."""
    file = Path(what)
    if file.is_file():
        try:
            return unpack(file.read_bytes())
        except (OSError, TraceError) as error:
            raise LiveaidError(f"{file}: {error}") from error
    if not what.isdecimal():
        raise UsageError(
            f"--replay {what}: no such file; a trace written by `liveaid review --trace`, "
            "or the number of a kept take, would do"
        )
    with TakeReader(takes) as reader:
        return reader.kept(int(what)).trace


async def replay(trace: Trace, to: Address, *, heard_out_s: float = HEARD_OUT_S) -> int:
    """Send every position at its time as OSC to a running service; how many were sent.

    Then waits until a take that was on has surely ended.
    """
    sent, begin_s = 0, time.monotonic() + 0.2
    with socket.socket(to.family(socket.SOCK_DGRAM), socket.SOCK_DGRAM) as out:
        out.connect((to.host, to.port))
        out.setblocking(False)
        for at_s, data in _datagrams(trace):
            while (wait_s := begin_s + at_s - time.monotonic()) > 0:
                await asyncio.sleep(min(wait_s, _BREATH_S))
            try:
                out.send(data)
                sent += 1
            except OSError as error:
                raise LiveaidError(f"{to}: the replay can't be sent ({error})") from error
    await asyncio.sleep(heard_out_s)
    return sent


def replay_at_once(trace: Trace, aim: Aim) -> list[ScoredTake]:
    """Every take found in the trace, scored, in the trace's own time and without waiting."""
    found = takes_in(messages_of(trace), aim)
    return [scored_take(take, score_of(aim, take)) for take in found]


def takes_in(messages: Iterable[Message], aim: Aim, *, count_in_bars: int = 0) -> list[Kept]:
    """The takes that a session and a follower find in messages, told a prompt every 20 ms."""
    session, follower = Session(aim, count_in_bars=count_in_bars), Follower(aim.routine)
    found: list[Kept | CountIn] = []
    told_s = now = float("-inf")
    for now, side, position_s in messages:
        session.hear(side, position_s=position_s, now=now)
        follower.hear(side, position=position_s, now=now)
        if now - told_s >= _TOLD_EVERY_S:
            told_s = now
            found += session.tell(follower.prompt(now=now), now=now)
    for step in range(int(_QUIET_S / _TOLD_EVERY_S)):
        at = now + step * _TOLD_EVERY_S
        found += session.tell(follower.prompt(now=at), now=at)
    return [one for one in found if isinstance(one, Kept)]


def _datagrams(trace: Trace) -> Iterator[tuple[float, bytes]]:
    messages = messages_of(trace)
    for now_s, side, position_s in messages:
        builder = OscMessageBuilder(f"/deck/{side}/position")
        builder.add_arg(position_s, OscMessageBuilder.ARG_TYPE_DOUBLE)
        yield now_s - messages[0][0], builder.build().dgram
