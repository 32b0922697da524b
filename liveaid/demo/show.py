"""The demo's performance: the simulator's hands heard by the stage, in real time or at once."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path

from rich.console import Console

from liveaid.demo.tally import ShownAt, ToldAt
from liveaid.follow import Follower
from liveaid.follow.prompt import Prompt
from liveaid.practice.aim import Aim
from liveaid.practice.count_in import CountIn
from liveaid.practice.records import Kept
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.replay import HEARD_OUT_S
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.practice.take_score import ScoredTake, scored_take
from liveaid.routine import Routine
from liveaid.routine.config_file import config_path, load_config
from liveaid.simulate import Performance
from liveaid.simulate.send import Sender, datagrams
from liveaid.stage.address import Address, StageError
from liveaid.stage.cues import next_cues
from liveaid.stage.ending import ends_by_signal, run_on_loop
from liveaid.stage.follows import tell
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.lamp_text import TerminalView, lamp_line, prompt_line
from liveaid.stage.lamps import Gate, lamps_for
from liveaid.stage.osc import Heard, read_positions
from liveaid.stage.osc_map import DEFAULT_MAP, DeckFacts, table_for
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.watcher import Watcher

MOMENT_S = 0.05
"""How often the prompt is compared with the truth."""
BREATH_S = 0.2
"""Between the stage being set and the first position."""


@dataclass(slots=True)
class ShowOutcome:
    """What the performance left behind: what was said and shown when."""

    said: list[ToldAt] = field(default_factory=list)
    shown: list[ShownAt] = field(default_factory=list)
    """Every beat as it was shown on the stage."""
    sent: int = 0
    heard: int = 0
    stopped: bool = False
    """Ended by Ctrl-C."""
    scores: list[ScoredTake] = field(default_factory=list)
    """Of each take, where they were scored."""


class _Beats(Watcher):
    """Notes when each beat was shown."""

    def __init__(self, outcome: ShowOutcome, metre: int) -> None:
        self._outcome, self._metre = outcome, metre
        self._last: tuple[int, int] | None = None
        self.begin_s = 0.0

    def heard(self, heard: Heard) -> None:
        self._outcome.heard += 1

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        if prompt.piece is None or prompt.bar is None or prompt.beat is None:
            return
        beat = (prompt.bar - 1) * self._metre + prompt.beat - 1
        if (prompt.piece.index, beat) != self._last:
            self._last = (prompt.piece.index, beat)
            time_s = time.monotonic() - self.begin_s
            self._outcome.shown.append(ShownAt(time_s, prompt.piece.index, beat))


def lamp_layout() -> LampLayout:
    """The layout the demo lights."""
    return load_config(config_path("grid-8x8", "lamps"), LampLayout)


def live(
    routine: Routine,
    performance: Performance,
    console: Console,
    *,
    settings: Settings,
    until_s: float,
    takes: Path | None = None,
) -> ShowOutcome:
    """Perform over real UDP in real time up to `until_s`; Ctrl-C ends it early and tidies up.

    With `takes` the performance is a rehearsal too: its take is kept in that file.
    """
    return run_on_loop(_live(routine, performance, console, settings, until_s, takes))


async def _live(
    routine: Routine,
    performance: Performance,
    console: Console,
    settings: Settings,
    until_s: float,
    takes: Path | None,
) -> ShowOutcome:
    outcome = ShowOutcome()
    beats = _Beats(outcome, routine.metre)
    watchers: list[Watcher] = [beats, TerminalView(settings.main.layout, console)]
    with contextlib.ExitStack() as open_files:
        if takes is not None:
            store = TakeStore(takes)
            open_files.callback(store.close)
            session = Session(Aim(routine=routine), count_in_bars=0)
            watchers.append(Rehearsal(session, routine, store=store, file=takes))
        async with _stage(routine, settings, watchers) as stage:
            console.print(f"Page     {stage.address}", soft_wrap=True)
            console.print(f"OSC in   {stage.osc_address}")
            console.print(f"Lamps    {stage.midi_state}; shown here as text")
            with ends_by_signal(stage.ask_stop):
                beats.begin_s = time.monotonic() + BREATH_S
                await _perform(stage, performance, outcome, beats.begin_s, until_s)
    return outcome


@contextlib.asynccontextmanager
async def _stage(
    routine: Routine, settings: Settings, watchers: Sequence[Watcher]
) -> AsyncIterator[Service]:
    """The stage at the wanted addresses, or at free ones where those are taken."""
    stage = Service(routine, settings, watchers=watchers)
    try:
        await stage.start()
    except StageError:
        anywhere = Address("127.0.0.1", 0)
        stage = Service(routine, replace(settings, osc=anywhere, http=anywhere), watchers=watchers)
        await stage.start()
    try:
        yield stage
    finally:
        await stage.stop()


async def _perform(
    stage: Service, performance: Performance, outcome: ShowOutcome, begin_s: float, until_s: float
) -> None:
    send = asyncio.create_task(_send(stage, performance, outcome, begin_s, until_s))
    ask = asyncio.create_task(_ask(stage, outcome, begin_s))
    stop = asyncio.create_task(stage.run())
    await asyncio.wait({send, stop}, return_when=asyncio.FIRST_COMPLETED)
    outcome.stopped = not send.done()
    for task in (send, ask, stop):
        task.cancel()
    results = await asyncio.gather(send, ask, stop, return_exceptions=True)
    for result in results:
        if isinstance(result, Exception):
            raise result


async def _send(
    stage: Service, performance: Performance, outcome: ShowOutcome, begin_s: float, until_s: float
) -> None:
    to = stage.osc_address
    with Sender(performance, to.host, to.port, begin_s=begin_s) as sender:
        while (wait_s := sender.send_due(time.monotonic())) is not None:
            outcome.sent = sender.sent
            if sender.reached_s > until_s:
                return
            await asyncio.sleep(wait_s)
        outcome.sent = sender.sent
    await asyncio.sleep(0.2)  # the last ones are still under way


async def _ask(stage: Service, outcome: ShowOutcome, begin_s: float) -> None:
    """Read what /status says, as a page would, at even times."""
    while True:
        status = stage.status()
        index = (status.get("piece") or {}).get("index")
        sure = status["state"] == "following"
        time_s = time.monotonic() - begin_s
        outcome.said.append(ToldAt(time_s, index, status.get("beat_position"), sure))
        await asyncio.sleep(MOMENT_S)


def at_once(
    routine: Routine,
    performance: Performance,
    console: Console,
    *,
    takes: Path | None = None,
    aim: Aim | None = None,
) -> ShowOutcome:
    """The same datagrams read by the same parts without waiting: the clock is theirs, no socket.

    The take is kept in the file `takes`; where an `aim` is given it is scored at once.
    """
    outcome, follower = ShowOutcome(), Follower(routine, sends=DEFAULT_MAP.sends)
    table = table_for(DEFAULT_MAP, DeckFacts(rpm=routine.turntable.rpm, file_s={}))
    lamps = _Lamps(routine, console)
    practised = aim or Aim(routine=routine)
    session, ended = Session(practised, count_in_bars=0), list[Kept | CountIn]()
    next_s = 0.0
    for now_s, data in chain(datagrams(performance), [(performance.duration_s + HEARD_OUT_S, b"")]):
        while next_s <= now_s:
            prompt = follower.prompt(now=next_s)
            outcome.said.append(_said(next_s, prompt))
            lamps.show(prompt, next_s)
            ended += session.tell(prompt, now=next_s)
            next_s += MOMENT_S
        for heard in read_positions(data, table, now_s).heard if data else ():
            session.hear_sent(heard)
            tell(follower, heard)
            outcome.heard += 1
        outcome.sent += bool(data)
    ended += session.finish()
    kept = _kept(ended, takes, time.time() - performance.duration_s)
    if aim is not None:
        outcome.scores = [scored_take(take, score_of(aim, take)) for take in kept]
    return outcome


def _kept(ended: Iterable[Kept | CountIn], file: Path | None, at: float) -> list[Kept]:
    """The takes that ended as they are kept, in a file where one is given; `at` is the unix time at
    which the performance began."""
    kept = [replace(one, at=at + one.start_s) for one in ended if isinstance(one, Kept)]
    if file is not None:
        with contextlib.closing(TakeStore(file)) as store:
            for take in kept:
                store.keep(take).result()
    return kept


def _said(time_s: float, prompt: Prompt) -> ToldAt:
    index = prompt.piece.index if prompt.piece else None
    return ToldAt(time_s, index, prompt.beat_position, prompt.state == "following")


class _Lamps:
    """The lamps as they would be lit, one line a set piece."""

    def __init__(self, routine: Routine, console: Console) -> None:
        self._layout, self._cues = lamp_layout(), next_cues(routine)
        self._gate = Gate(most_per_s=self._layout.most_per_s)
        self._console, self._piece = console, -1

    def show(self, prompt: Prompt, now_s: float) -> None:
        if prompt.piece is None:
            return
        levels = lamps_for(prompt, self._layout, self._cues[prompt.piece.index])
        self._gate.ask(levels, now_s)
        if prompt.state == "following" and prompt.piece.index != self._piece:
            self._piece = prompt.piece.index
            self._console.print(f"{lamp_line(levels)}\n  {prompt_line(prompt)}", soft_wrap=True)
