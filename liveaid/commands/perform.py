"""`liveaid perform`: follow the performance on stage."""

from __future__ import annotations

from typing import Any

import click

from liveaid.commands.opening import opened_to_play, shout
from liveaid.commands.shared_options import FILE
from liveaid.commands.stage_options import (
    habits_option,
    share_lines,
    stage_options,
    stage_settings,
    stage_watchers,
    with_habits,
)
from liveaid.routine.opened import Opened
from liveaid.stage.ending import ends_by_signal, run_on_loop
from liveaid.stage.lamp_text import TerminalView
from liveaid.stage.living import LivingMap
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.soundcheck_view import SoundCheckView
from liveaid.stage.watcher import Watcher
from liveaid.terminal import HarmlessConsole, console


@click.command("perform")
@click.argument("scene")
@click.option("--soundcheck", is_flag=True,
              help="Go through a list: decks, units, lamps, pads, page, map; `ready` ends "
              "it.")  # fmt: skip
@click.option("--takes", type=FILE, metavar="FILE",
              help="Kept takes to learn your habits from; else takes.sqlite beside the section "
              "map.")  # fmt: skip
@habits_option
@stage_options
def command(scene: str, **options: Any) -> int:
    """Follow the performance on stage: lamps and page.

    SCENE is a section map, a folder with one, or the name of a scene that comes along (which is
    made and rendered first if need be). Starts without a controller, and lights it when it is
    plugged in. A map edited meanwhile comes in when both records stand, if the deck files hold it.
    Kept takes of the whole routine say how you play, and the follower starts from that.
    Ctrl-C ends it, lamps off.

    Example: liveaid perform night-market --midi "my pads" --lamps row-16
    """
    found = opened_to_play(scene)
    file, routine = found.playable_file, found.playable()
    settings = stage_settings(options, routine, file)
    learnt: list[str] = []
    if not options["no_habits"]:
        settings, learnt = with_habits(settings, routine, map_file=file, takes=options["takes"])
    beside = stage_watchers(options, settings)
    if options["soundcheck"]:
        return run_on_loop(_sound_check(found, settings, beside))
    run_on_loop(_perform(found, settings, beside, learnt))
    return 0


async def _sound_check(found: Opened, settings: Settings, beside: list[Watcher]) -> int:
    """0 when all is there, 1 when it was broken off before."""
    screen = console()
    view = SoundCheckView(settings, screen, map_says=found.says, done=lambda: stage.ask_stop())
    stage = Service(found.playable(), settings, watchers=[view, *beside])
    with ends_by_signal(stage.ask_stop):
        async with stage:
            _say_where(screen, stage, settings)
            await stage.run()
    missing = [item for item in view.items if item.standing in ("missing", "wrong")]
    screen.print("Ready." if not missing else "Not ready:")
    screen.say(*(f"  {item.name}: {item.says}" for item in missing))
    return 1 if missing else 0


async def _perform(
    found: Opened, settings: Settings, beside: list[Watcher], learnt: list[str]
) -> None:
    screen = console(lasting=True)
    living = LivingMap(found, told=lambda edited: shout(screen, edited))
    view = TerminalView(settings.main.layout, screen)
    stage = Service(found.playable(), settings, watchers=[living, view, *beside])
    with ends_by_signal(stage.ask_stop):
        async with stage:
            _say_where(screen, stage, settings)
            screen.say(*learnt)
            shout(screen, found)
            await stage.run()
    screen.print("Lamps off, ports closed.")


def _say_where(screen: HarmlessConsole, stage: Service, settings: Settings) -> None:
    screen.say(f"Page     {stage.address}", *share_lines(settings.share))
    screen.say(f"OSC in   {stage.osc_address}")
    lamps = (
        f"{settings.main.midi}: {stage.midi_state}"
        if settings.main.midi
        else "no controller (--midi NAME would light one)"
    )
    screen.say(f"Lamps    {lamps}")
