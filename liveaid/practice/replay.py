"""A stored trace once more: over UDP through the running service, or at once without waiting."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Iterator
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.errors import LiveaidError, UsageError
from liveaid.follow import Follower
from liveaid.practice.reading import TakeReader
from liveaid.practice.session import Aim, Ended, Session, report_of, score_of, scored_take
from liveaid.practice.take_report import ScoredTake
from liveaid.practice.trace import Trace, TraceError, messages_of, unpack
from liveaid.stage import Address

_BREATH_S = 0.1
HEARD_OUT_S = 3.5
"""Silence after the last message that ends a take for sure."""
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
    session, follower = Session(aim, count_in_bars=0), Follower(aim.routine)
    found: list[Ended] = []
    told_s = now = float("-inf")
    for now, side, position_s in messages_of(trace):
        session.hear(side, position_s=position_s, now=now)
        follower.hear(side, position=position_s, now=now)
        if now - told_s >= _TOLD_EVERY_S:
            told_s = now
            found += _ended(session, follower, now)
    for step in range(int(HEARD_OUT_S / _TOLD_EVERY_S)):
        found += _ended(session, follower, now + step * _TOLD_EVERY_S)
    return [_scored(aim, ended) for ended in found]


def _ended(session: Session, follower: Follower, now: float) -> list[Ended]:
    happened = session.tell(follower.prompt(now=now), now=now)
    return [one for one in happened if isinstance(one, Ended)]


def _scored(aim: Aim, ended: Ended) -> ScoredTake:
    kept = ended.kept(aim, aim.routine.title, 0.0)
    return scored_take(kept, report_of(aim, score_of(aim, kept)))


def _datagrams(trace: Trace) -> Iterator[tuple[float, bytes]]:
    messages = messages_of(trace)
    for now_s, side, position_s in messages:
        builder = OscMessageBuilder(f"/deck/{side}/position")
        builder.add_arg(position_s, OscMessageBuilder.ARG_TYPE_DOUBLE)
        yield now_s - messages[0][0], builder.build().dgram
