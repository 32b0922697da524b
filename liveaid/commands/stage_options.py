"""The options of every command that sets the stage: where positions come in, page, lamps."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import os
import re
import secrets
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast

import click

from liveaid.commands.deck_files import deck_lengths_s
from liveaid.commands.shared_options import Command, midi_api_option, osc_option
from liveaid.errors import LiveaidError, UsageError
from liveaid.files.folders import data_folder
from liveaid.practice.learnt import learnt
from liveaid.practice.schema import takes_file
from liveaid.routine import SIDES, Routine
from liveaid.routine.config_file import config_path, load_config
from liveaid.stage.address import HTTP_ADDRESS, SHARED_ADDRESS, parse_address
from liveaid.stage.boards import lamps_out as lamps_out_now
from liveaid.stage.keeper import Keeper, sign_of_life
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.osc_map import DEFAULT_MAP, OscMap
from liveaid.stage.out import Out
from liveaid.stage.screen import Screen, inches, metres
from liveaid.stage.service import Service
from liveaid.stage.settings import Controller, Settings
from liveaid.stage.share import (
    AUTHORITY_PATH,
    Share,
    Sharing,
    qr_text,
    share_at,
)
from liveaid.stage.stage_log import StageLog
from liveaid.stage.watcher import Watcher
from liveaid.terminal import console

_TOKEN_KEPT = "LIVEAID_TOKEN_KEPT"
_UNRESERVED = re.compile(r"[A-Za-z0-9._~-]+")
"""What stands in an address, a cookie and a header as it is (RFC 3986, 2.3)."""
STAGE_WORDS = (
    "osc", "osc_map", "http", "midi", "pads", "midi_api", "lamps", "token", "share", "share_at",
    "screen", "away",
)  # fmt: skip


def _sides(_: click.Context, __: click.Parameter, given: Sequence[str]) -> Sequence[str]:
    for one in given:
        side, mark, port = one.partition("=")
        if side not in SIDES or not mark or not port:
            raise click.BadParameter(f"{one!r}: left=PORT or right=PORT would do")
    return given


_OPTIONS = (
    osc_option("Where deck positions arrive, over UDP."),
    click.option("--osc-map", metavar="NAME|FILE",
                 help="How the sender writes positions; left out: our own addresses."),
    click.option("--http", default=str(HTTP_ADDRESS), show_default=True, metavar="HOST:PORT",
                 help="Where the pages are served; 0.0.0.0:8080 for tablets nearby."),
    click.option("--midi", metavar="NAME", multiple=True,
                 help="The controller's MIDI port, or a unique part of its name; once more for a "
                 "second controller."),
    click.option("--pads", metavar="NAME",
                 help="Its pads' port, where that has another name; left out: as --midi."),
    midi_api_option(),
    click.option("--lamps", metavar="NAME|FILE", multiple=True, default=["grid-8x8"],
                 show_default=True,
                 help="How the controller's lamps and pads are laid out; one for each --midi."),
    click.option("--token", metavar="WORD",
                 help="What the page's address must carry; made up when the page is not for this "
                 "machine alone."),
    click.option("--share", is_flag=True,
                 help="Show the pages on phones and tablets of this network too: a secure address, "
                 "a QR code, a name."),
    click.option("--out", "out", metavar="NAME|FILE",
                 help="A file of what else follows along: OSC receivers, MIDI clock, time code."),
    click.option("--send-osc", metavar="HOST:PORT", multiple=True,
                 help="Send the prompt there as OSC; may be given more than once."),
    click.option("--clock", metavar="PORT", multiple=True,
                 help="Send MIDI clock at the performer's tempo to this port."),
    click.option("--timecode", metavar="SIDE=PORT", multiple=True, callback=_sides,
                 help="Take a deck's position from a player's MIDI time code, as left=PORT."),
    click.option("--log", "log", metavar="FILE|no",
                 help="Where what happened is logged, a JSON object a line; left out: stage.log in "
                 "your data folder; `no`: nowhere."),
    click.option("--restart", is_flag=True,
                 help="Start again at once, following, whatever ends it but you."),
    click.option("--lamps-out", is_flag=True,
                 help="Only put the controller's lamps out, when liveaid could not."),
    click.option("--share-at", default=str(SHARED_ADDRESS), show_default=True, metavar="HOST:PORT",
                 help="Where --share serves them."),
    click.option("--screen", metavar="SIZE",
                 help="Diagonal of the page's screen, such as 6in; else each page asks once."),
    click.option("--away", metavar="DISTANCE",
                 help="How far away it is read from, such as 3m; else each page asks once."),
)  # fmt: skip


def stage_options(command: Command) -> Command:
    """Add the stage's options to a command; --restart and its like are dealt with here."""
    command = _kept(command)
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def _kept(command: Command) -> Command:
    """The command, or the keeper that runs it, or just its lamps put out."""

    @functools.wraps(command)
    def run(*arguments: Any, restart: bool, lamps_out: bool, **options: Any) -> Any:
        if lamps_out:
            return _put_lamps_out(options)
        if restart:
            return _keep(options)
        return command(*arguments, **options)

    return cast(Command, run)


def _put_lamps_out(options: dict[str, Any]) -> int:
    settings = Settings(controllers=_controllers(options), midi_api=str(options["midi_api"]))
    for name, why in lamps_out_now(settings).items():
        console(stderr=True).print(f"{name}: {why}")
    return 0


def _keep(options: dict[str, Any]) -> int:
    """Run this very command line again and again, as a process of its own."""
    os.environ.setdefault(_TOKEN_KEPT, secrets.token_urlsafe(9))
    words = [word for word in sys.argv[1:] if word != "--restart"]
    _load(words)
    return Keeper(
        functools.partial(_run_again, words),
        lamps_out=lambda: _put_lamps_out(options),
        say=console(stderr=True).say,
    ).run()


def _run_again(words: list[str], stand_by: Callable[[], None]) -> None:
    _load(words)
    stand_by()
    importlib.import_module("liveaid.cli").main(words)


def _load(words: list[str]) -> None:
    """All that takes its time, so that starting again does not."""
    for name in ("liveaid.follow", f"liveaid.commands.{words[0]}"):
        importlib.import_module(name)


def stage_watchers(options: dict[str, Any], settings: Settings) -> list[Watcher]:
    """What those options set beside the stage: shared name, screen's size, who follows along."""
    screen = Screen(
        inches(options["screen"]) if options["screen"] else None,
        metres(options["away"]) if options["away"] else None,
    )
    file = options["out"]
    out = (load_config(config_path(file, "out"), Out) if file else Out()).with_options(
        osc=options["send_osc"], clock=options["clock"], timecode=options["timecode"]
    )
    sharing = [Sharing(settings.share)] if settings.share else []
    log = None if options["log"] == "no" else Path(options["log"] or data_folder() / "stage.log")
    kept = [*([StageLog(log)] if log else []), *sign_of_life()]
    return [*kept, screen, *sharing, *out.watchers(settings.midi_api)]


def rehearse_page(stage: Service) -> str:
    """The address of the page that clicks, with the token that opens it."""
    base, _, token = stage.address.partition("?")
    return f"{base}rehearse" + (f"?{token}" if token else "")


def share_lines(share: Share | None) -> list[str]:
    """What to open on a phone nearby, as text and as a QR code; nothing when not shared."""
    if share is None:
        return []
    url, *others = share.urls()
    return [
        f"Shared   {url}",
        *(f"         {other}" for other in others),
        "         The device warns once that it does not know this machine: go on, or trust",
        f"         {AUTHORITY_PATH} there first. Only for networks you know.",
        # A number needs no name to be found, so it is what the code holds.
        qr_text(others[0] if others else url).rstrip("\n"),
    ]


def _share(options: dict[str, Any]) -> Share | None:
    if not options["share"]:
        return None
    return share_at(parse_address(str(options["share_at"])), options["token"])


def stage_settings(options: dict[str, Any], routine: Routine, map_file: Path) -> Settings:
    """The settings those options ask for."""
    osc_map, token = options["osc_map"], options["token"]
    if token and not _UNRESERVED.fullmatch(token):
        raise UsageError(f"--token {token}: letters, digits, -, _, . and ~ would do")
    http = parse_address(str(options["http"]))
    settings = Settings(
        osc=parse_address(str(options["osc"])),
        http=http,
        osc_map=load_config(config_path(osc_map, "osc"), OscMap) if osc_map else DEFAULT_MAP,
        controllers=_controllers(options),
        midi_api=str(options["midi_api"]),
        token=token or (None if http.is_loopback else _made_up_token()),
        share=_share(options),
    )
    if settings.osc_map.position.unit == "fraction":
        return dataclasses.replace(settings, file_s=deck_lengths_s(routine, map_file))
    return settings


def habits_option(command: Command) -> Command:
    """Add `--no-habits`."""
    return click.option(
        "--no-habits", is_flag=True,
        help="Follow by what is usual, not by what kept takes of the whole routine say of you.",
    )(command)  # fmt: skip


def with_habits(
    settings: Settings, routine: Routine, *, map_file: Path, takes: Path | None
) -> tuple[Settings, list[str]]:
    """The settings with the performer's habits, and the line that tells what was learnt.

    `takes`: where they are kept; None: beside the map. Some that can't be read stop nothing.
    """
    try:
        habits = learnt(takes or takes_file(map_file), routine)
    except LiveaidError as error:
        return settings, [f"Learnt   nothing: {error}"]
    if habits is None:
        return settings, []
    return dataclasses.replace(settings, habits=habits), [f"Learnt   {habits.says}"]


def _made_up_token() -> str:
    """Made up anew each time, but for a stage that is started again: pages know the old one."""
    return os.environ.get(_TOKEN_KEPT) or secrets.token_urlsafe(9)


def _controllers(options: dict[str, Any]) -> tuple[Controller, ...]:
    """Each controller with its layout, the last layout for those left; at least one."""
    names, layouts = options["midi"] or [None], options["lamps"]
    if len(layouts) > len(names):
        raise UsageError(f"--lamps {layouts[-1]}: one --midi for each --lamps would do")
    loaded = [load_config(config_path(layout, "lamps"), LampLayout) for layout in layouts]
    layouts_on = [*loaded, *[loaded[-1]] * len(names)]
    pads = [options["pads"], *[None] * len(names)]
    return tuple(map(Controller, names, layouts_on, pads))  # as many as there are names
