"""`liveaid demo`: the whole job in one go, without hardware."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console

from liveaid.commands.laying import judged
from liveaid.commands.opening import opened
from liveaid.commands.shared_options import FOLDER
from liveaid.demo.tour import default_folder, quiet, tour
from liveaid.routine import Routine
from liveaid.terminal import console, json_option, print_json


@click.command("demo")
@click.option("--fast", is_flag=True, help="Perform in virtual time: seconds instead of minutes.")
@click.option("--into", type=FOLDER, metavar="FOLDER",
              help="Where the scene is made; left out: a folder in your cache.")  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True,
              help="Another number is another evening: other hands, other errors.")  # fmt: skip
@json_option
def command(fast: bool, into: Path | None, seed: int, as_json: bool) -> None:
    """Show the whole job on a scene of its own: no hardware needed.

    Makes a night market's sounds, studies them, checks and renders a routine from them, performs
    it through the simulator over OSC, follows it with lamps and page, and says how well. Takes
    about as long as the routine, three minutes; with --fast, seconds.

    Example: liveaid demo --fast
    """
    folder = into or default_folder()
    if as_json:
        silent = Console(file=io.StringIO())
        print_json(tour(folder, quiet(run_command), laid_out, silent, fast=fast, seed=seed))
        return
    tour(folder, run_command, laid_out, console(), fast=fast, seed=seed)


def laid_out(scene: Path) -> Routine:
    """A scene's map as it would be placed by a render."""
    return judged(opened(str(scene))).routine


def run_command(arguments: Sequence[str]) -> object:
    """One liveaid command line, in this process; its exit status is not ours."""
    from liveaid.cli import liveaid  # the list that names this module

    with contextlib.suppress(click.exceptions.Exit):
        return liveaid.main(args=list(arguments), prog_name="liveaid", standalone_mode=False)
    return None
