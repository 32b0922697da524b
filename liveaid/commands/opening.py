"""How every command opens a scene, and says when its maps no longer say the same."""

from __future__ import annotations

import os
from pathlib import Path

import click
from rich.text import Text

from liveaid.errors import LiveaidError
from liveaid.files.aside import write_aside
from liveaid.files.file_bytes import reason
from liveaid.files.folders import cache_folder, shipped
from liveaid.routine.opened import Opened, open_scene
from liveaid.routine.scene import MAP, map_file, own
from liveaid.terminal import HarmlessConsole, console, progress


def opened(scene: str) -> Opened:
    """The scene meant: a section map, a folder with one, or the name of one that comes along.

    A scene that comes along is taken from where it was made, once it was.
    """
    return open_scene(_made(scene) or map_file(scene))


def opened_to_play(scene: str) -> Opened:
    """The same, ready to be performed: a scene that comes along is made and rendered if need be.

    LiveaidError, with the way out, when a scene of the performer's own is not rendered.
    """
    if _comes_along(scene):
        _make(scene)
    found = opened(scene)
    found.playable()
    return found


def say_state(found: Opened) -> None:
    """Say loudly, beside the report, that what is used is not what is written; else nothing."""
    if found.state in ("edited since", "broken") and found.placed is not None:
        shout(console(stderr=True), found)


def shout(screen: HarmlessConsole, found: Opened) -> None:
    """What the performer must know of the map, not to be overlooked."""
    for number, line in enumerate(found.says()):
        text = Text(f" {line} ", style="bold reverse") if number == 0 else Text(f"  {line}")
        screen.say(text)


def _comes_along(scene: str) -> bool:
    return not os.path.exists(scene) and (shipped("scenes") / scene / MAP).is_file()


def _made(scene: str) -> Path | None:
    """The map of a scene that comes along, where it was made; None if it is none, or was not."""
    file = cache_folder() / scene / MAP
    return file if _comes_along(scene) and file.is_file() else None


def _make(scene: str) -> None:
    """Set up a scene that comes along, where the demo has it too, and render it once."""
    # Loaded when first needed: they bring the sound libraries with them.
    from liveaid.demo.market import write_sounds
    from liveaid.render.render import render_scene

    folder = cache_folder() / scene
    placed = folder / "decks" / MAP
    try:
        if not (folder / MAP).is_file():
            write_aside(own(folder, MAP), map_file(scene).read_bytes())
        if open_scene(folder / MAP).state == "as rendered" and placed.is_file():
            return
        click.echo(f"{scene} comes along unrendered: making it in {folder}, once.", err=True)
        with progress("sounds") as done:
            write_sounds(own(folder, "sounds", folder=True))
            render_scene(folder / MAP, progress=done)
    except OSError as error:
        would_do = "a cache folder that can be written to would do"
        raise LiveaidError(f"{folder}: found {reason(error)}; {would_do}") from error
