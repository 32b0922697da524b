"""The demo's performance: the simulator's hands heard by the stage, in real time or at once."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import median, quantiles

from rich.console import Console

from liveaid.demo.tally import Said
from liveaid.follow import Follower
from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine
from liveaid.simulate import Performance
from liveaid.simulate.send import Sender, datagrams
from liveaid.stage import Address, Heard, Service, Settings, StageError, Watcher
from liveaid.stage.config_file import config_path, load_config
from liveaid.stage.cues import next_cues
from liveaid.stage.follows import tell
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.lamp_text import TerminalView, lamp_line, prompt_line
from liveaid.stage.lamps import Gate, lamps_for
from liveaid.stage.osc import read_positions
from liveaid.stage.osc_map import DEFAULT_MAP, DeckFacts, table_for

MOMENT_S = 0.05
"""How often the prompt is compared with the truth."""


@dataclass(slots=True)
class Outcome:
    """What the performance left behind: what was said when, and how quickly."""

    said: list[Said] = field(default_factory=list)
    delays_s: list[float] = field(default_factory=list)
    """From a position's arrival to the prompt and lamps that it led to."""
    sent: int = 0
    heard: int = 0
    stopped: bool = False
    """Ended by Ctrl-C."""

    def delay_ms(self) -> tuple[float, float] | None:
        """Median and 95th percentile of the delays."""
        if len(self.delays_s) < 2:
            return None
        cut = quantiles(self.delays_s, n=20)[-1]
        return 1000.0 * median(self.delays_s), 1000.0 * cut


class _Delays(Watcher):
    """Measures how long the stage takes from hearing to showing."""

    def __init__(self, outcome: Outcome) -> None:
        self._outcome = outcome
        self._heard_s: float | None = None

    def heard(self, heard: Heard) -> None:
        self._outcome.heard += 1
        if self._heard_s is None:
            self._heard_s = heard.now_s

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        if self._heard_s is not None:
            self._outcome.delays_s.append(time.monotonic() - self._heard_s)
            self._heard_s = None


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
) -> Outcome:
    """Perform over real UDP in real time up to `until_s`; Ctrl-C ends it early and tidies up."""
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(_live(routine, performance, console, settings, until_s))


async def _live(
    routine: Routine, performance: Performance, console: Console, settings: Settings, until_s: float
) -> Outcome:
    outcome = Outcome()
    watchers = [_Delays(outcome), TerminalView(settings.layout, console)]
    async with _stage(routine, settings, watchers) as stage:
        console.print(f"Page     {stage.address}", markup=False, soft_wrap=True)
        console.print(f"OSC in   {stage.osc_address}", markup=False)
        console.print(f"Lamps    {stage.midi_state}; shown here as text", markup=False)
        with _stops(stage):
            await _perform(stage, performance, outcome, until_s)
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


@contextlib.contextmanager
def _stops(stage: Service) -> Iterator[None]:
    """Ctrl-C and a polite kill end the performance instead of breaking it off."""
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stage.ask_stop)
    try:
        yield
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.remove_signal_handler(number)


async def _perform(
    stage: Service, performance: Performance, outcome: Outcome, until_s: float
) -> None:
    begin_s = time.monotonic() + 0.2
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
    stage: Service, performance: Performance, outcome: Outcome, begin_s: float, until_s: float
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


async def _ask(stage: Service, outcome: Outcome, begin_s: float) -> None:
    """Read what /status says, as a page would, at even times."""
    while True:
        status = stage.status()
        piece = status.get("piece")
        outcome.said.append(
            Said(
                time.monotonic() - begin_s,
                piece["index"] if piece else None,
                status.get("beat_position"),
                status["state"] == "following",
            )
        )
        await asyncio.sleep(MOMENT_S)


def at_once(routine: Routine, performance: Performance, console: Console) -> Outcome:
    """The same datagrams read by the same parts without waiting: the clock is theirs, no socket."""
    outcome, follower = Outcome(), Follower(routine, sends=DEFAULT_MAP.sends)
    table = table_for(DEFAULT_MAP, DeckFacts(rpm=routine.turntable.rpm, file_s={}))
    lamps = _Lamps(routine, console)
    next_s = 0.0
    for now_s, data in datagrams(performance):
        while next_s <= now_s:
            prompt = follower.prompt(now=next_s)
            outcome.said.append(_said(next_s, prompt))
            lamps.show(prompt, next_s)
            next_s += MOMENT_S
        outcome.sent += 1
        for heard in read_positions(data, table, now_s).heard:
            tell(follower, heard)
            outcome.heard += 1
    return outcome


def _said(time_s: float, prompt: Prompt) -> Said:
    index = prompt.piece.index if prompt.piece else None
    return Said(time_s, index, prompt.beat_position, prompt.state == "following")


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
            self._console.print(
                f"{lamp_line(levels)}\n  {prompt_line(prompt)}", markup=False, soft_wrap=True
            )
