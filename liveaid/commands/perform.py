"""`liveaid perform`: follow the performance on stage."""

from __future__ import annotations

import asyncio
import gc
import signal
from typing import Any

import click
from rich.console import Console

from liveaid.commands.opening import opened_to_play
from liveaid.commands.stage_options import (
    share_lines,
    stage_options,
    stage_settings,
    stage_watchers,
)
from liveaid.routine import Routine
from liveaid.stage import Service, Settings, Watcher
from liveaid.stage.lamp_text import TerminalView
from liveaid.terminal import console


@click.command("perform")
@click.argument("scene")
@stage_options
def command(scene: str, **options: Any) -> int:
    """Follow the performance on stage: lamps and page.

    SCENE is a section map, a folder with one, or the name of a scene that comes along. The rendered
    map is taken where there is one. Starts without a controller, and lights it when it is plugged
    in. Ctrl-C ends it, lamps off.

    Example: liveaid perform night-market --midi "my pads" --lamps row-16
    """
    found = opened_to_play(scene)
    file, routine = found.playable_file, found.playable()
    settings = stage_settings(options, routine, file)
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_perform(routine, settings, stage_watchers(options, settings)))
    return 0


async def _perform(routine: Routine, settings: Settings, beside: list[Watcher]) -> None:
    screen = console()
    stage = Service(routine, settings, watchers=[TerminalView(settings.layout, screen), *beside])
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stage.ask_stop)
    async with stage:
        _say_where(screen, stage, settings)
        gc.collect()
        gc.freeze()  # what is loaded by now stays: going through it again would hold up a lamp
        await stage.run()
    screen.print("Lamps off, ports closed.")


def _say_where(screen: Console, stage: Service, settings: Settings) -> None:
    screen.print(f"Page     {stage.address}", markup=False, soft_wrap=True)
    for line in share_lines(settings.share):
        screen.print(line, markup=False, highlight=False, soft_wrap=True)
    screen.print(f"OSC in   {stage.osc_address}", markup=False)
    lamps = (
        f"{settings.midi}: {stage.midi_state}"
        if settings.midi
        else "no controller (--midi NAME would light one)"
    )
    screen.print(f"Lamps    {lamps}", markup=False, soft_wrap=True)
