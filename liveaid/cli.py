"""The `liveaid` command: a list of commands, each in its own module, loaded when it is called."""

from __future__ import annotations

import importlib
import io
import sys
from collections.abc import Sequence

import click

from liveaid import __version__
from liveaid.errors import LiveaidError
from liveaid.files.harmless import harmless

COMMANDS: dict[str, str] = {
    "demo": "The whole job in one go, on a scene of its own: no hardware needed.",
    "draft": "Write a first map from the sounds on the shelf and the idea.",
    "gather": "Study a folder of sounds and keep them on the shelf; find them again.",
    "fit": "Say which sounds go with one sound on a platter.",
    "check": "Say whether two hands can play the routine, and where it is tight.",
    "arrange": "Find the order and decks that cost the hands least.",
    "render": "Make the deck files, the guide mix and the printed sheet.",
    "rehearse": "Practise: count-in, loops, a tempo ladder, takes kept and scored.",
    "review": "Show takes, scores, and what to practise next.",
    "perform": "Follow the performance on stage: lamps and page.",
    "simulate": "Play the routine without hardware, over OSC.",
    "learn": "Listen to a sender or a controller and write its map.",
    "ports": "List the MIDI ports that are there.",
}


class _Commands(click.Group):
    """Imports a command only when it is asked for, so that --help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"liveaid.commands.{cmd_name}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="liveaid")
def liveaid() -> None:
    """From first idea to stage: one section map for a routine on two turntables.

    Example: liveaid demo
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit 0 fine, 1 the routine has a problem, 2 wrong use, 130 Ctrl-C."""
    _print_anything()
    try:
        status = liveaid.main(args=arguments, prog_name="liveaid", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except LiveaidError as error:
        click.echo(harmless(str(error)), err=True)
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("Stopped.", err=True)
        sys.exit(130)
    sys.exit(status if isinstance(status, int) else 0)


def _print_anything() -> None:
    """A terminal that lacks a letter shows its escape; it must not end the command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
