"""`liveaid perform`: follow the performance on stage."""

from __future__ import annotations

import asyncio
import dataclasses
import gc
import secrets
import signal

import click
from rich.console import Console

from liveaid.errors import LiveaidError
from liveaid.routine import Routine, load_routine
from liveaid.routine.scene import map_file
from liveaid.stage import Service, Settings, parse_address
from liveaid.stage.config_file import config_path, load_config
from liveaid.stage.deck_files import deck_lengths_s
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.lamp_text import TerminalView
from liveaid.stage.midi_ports import API_CHOICES
from liveaid.stage.osc_map import DEFAULT_MAP, OscMap
from liveaid.terminal import console


@click.command("perform")
@click.argument("scene")
@click.option("--osc", default="127.0.0.1:9000", show_default=True, metavar="HOST:PORT",
              help="Where deck positions arrive, over UDP.")  # fmt: skip
@click.option("--osc-map", metavar="NAME|FILE",
              help="How the sender writes positions; left out: our own addresses.")  # fmt: skip
@click.option("--http", default="127.0.0.1:8080", show_default=True, metavar="HOST:PORT",
              help="Where the page is served; 0.0.0.0:8080 for tablets nearby.")  # fmt: skip
@click.option("--midi", metavar="NAME", help="The lamps' MIDI port, or a unique part of its name.")
@click.option("--midi-api", type=click.Choice(API_CHOICES), default="auto", show_default=True,
              envvar="LIVEAID_MIDI_API", help="The MIDI system to use.")  # fmt: skip
@click.option("--lamps", default="grid-8x8", show_default=True, metavar="NAME|FILE",
              help="How the controller's lamps are laid out.")  # fmt: skip
@click.option("--token", metavar="WORD",
              help="What the page's address must carry; made up when the page is not for this "
              "machine alone.")  # fmt: skip
def command(scene: str, **options: str | None) -> int:
    """Follow the performance on stage: lamps and page.

    SCENE is a section map, a folder with one, or the name of a scene that comes along. The rendered
    map is taken where there is one. Starts without a controller, and lights it when it is plugged
    in. Ctrl-C ends it, lamps off.

    Example: liveaid perform night-market --midi "my pads" --lamps row-16
    """
    file = map_file(scene, placed=True)
    routine = load_routine(file)
    if not routine.placed:
        raise LiveaidError(f"{file}: not every cue has its place on a deck; `liveaid render` first")
    settings = _settings(options)
    if settings.osc_map.position.unit == "fraction":
        settings = dataclasses.replace(settings, file_s=deck_lengths_s(routine, file))
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_perform(routine, settings))
    return 0


def _settings(options: dict[str, str | None]) -> Settings:
    osc_map = options["osc_map"]
    http = parse_address(str(options["http"]))
    made_up = None if http.is_loopback else secrets.token_urlsafe(9)
    return Settings(
        osc=parse_address(str(options["osc"])),
        http=http,
        osc_map=load_config(config_path(osc_map, "osc"), OscMap) if osc_map else DEFAULT_MAP,
        layout=load_config(config_path(str(options["lamps"]), "lamps"), LampLayout),
        midi=options["midi"],
        midi_api=str(options["midi_api"]),
        token=options["token"] or made_up,
    )


async def _perform(routine: Routine, settings: Settings) -> None:
    screen = console()
    stage = Service(routine, settings, watchers=[TerminalView(settings.layout, screen)])
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
    screen.print(f"OSC in   {stage.osc_address}", markup=False)
    lamps = (
        f"{settings.midi}: {stage.midi_state}"
        if settings.midi
        else "no controller (--midi NAME would light one)"
    )
    screen.print(f"Lamps    {lamps}", markup=False, soft_wrap=True)
