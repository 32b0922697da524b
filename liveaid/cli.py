"""The `liveaid` command: a list of commands, each in its own module, loaded when it is called."""

from __future__ import annotations

import contextlib
import importlib
import io
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from typing import NoReturn, TextIO

import click

from liveaid import __version__
from liveaid.errors import LiveaidError
from liveaid.files.harmless import harmless

GONE = 141
"""128 and the number of SIGPIPE (POSIX.1-2017, 2.8.2), as a shell tells it."""
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
    """Run the command line; exit 0 fine, 1 the routine has a problem, 2 wrong use, 130 Ctrl-C.

    141 when whoever read the output has gone, as `| head` does; 143 after a polite kill, 129 where
    the terminal was closed: said by no word.
    """
    _print_anything()
    try:
        with _tidies_up_when_told_to_end():
            status = _run(arguments)
        _flush(sys.stdout)
    except BrokenPipeError:
        status = GONE
    except OSError as error:
        # A full disk behind `>`, a closed terminal; commands word the files they are asked for.
        where = error.filename or "the output"
        _complain(f"{where}: cannot be written or read ({error.strerror or error})")
        status = 1
    _let_go(sys.stdout)
    _let_go(sys.stderr)
    sys.exit(status)


@contextlib.contextmanager
def _tidies_up_when_told_to_end() -> Iterator[None]:
    """While inside, a polite kill or a closed terminal unwinds the command as Ctrl-C does, so that
    no unfinished file and no process is left; what was told to be deaf to them stays so."""

    def leave(number: int, _: object) -> NoReturn:
        raise SystemExit(128 + number)

    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():
        numbers = []  # only the main thread may set handlers
    ours = [number for number in numbers if signal.getsignal(number) is signal.SIG_DFL]
    for number in ours:
        signal.signal(number, leave)
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, signal.SIG_DFL)


def _run(arguments: Sequence[str] | None) -> int:
    """The exit status of a command line, its error told."""
    try:
        status = liveaid.main(args=arguments, prog_name="liveaid", standalone_mode=False)
    except click.ClickException as error:
        with contextlib.suppress(OSError):
            error.show()
        return error.exit_code
    except LiveaidError as error:
        _complain(str(error))
        return error.exit_code
    except SystemExit as left:
        # click's own way out when the reader is gone, told by what it puts before the stream.
        if type(sys.stdout).__name__.endswith("PacifyFlushWrapper"):
            return GONE
        return left.code if isinstance(left.code, int) else 1
    except (KeyboardInterrupt, click.Abort):
        _complain("Stopped.")
        return 130
    return status if isinstance(status, int) else 0


def _complain(text: str) -> None:
    """To standard error, where that can be written to."""
    with contextlib.suppress(OSError):
        click.echo(harmless(text), err=True)


def _flush(stream: TextIO | None) -> None:
    if stream is not None:
        stream.flush()


def _let_go(stream: TextIO | None) -> None:
    """Lead a stream that cannot be written to nowhere, so that the interpreter's own last flush
    does not complain of it."""
    try:
        _flush(stream)
    except OSError:
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno() if stream else 1)
            os.close(nowhere)


def _print_anything() -> None:
    """A terminal that lacks a letter shows its escape; it must not end the command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
