"""Options that several commands have, declared once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from liveaid.stage.address import OSC_ADDRESS
from liveaid.stage.midi_ports import API_CHOICES

Command = TypeVar("Command", bound=Callable[..., Any])

FILE = click.Path(dir_okay=False, path_type=Path)
FOLDER = click.Path(file_okay=False, path_type=Path)


def osc_option(what: str) -> Callable[[Command], Command]:
    """`--osc HOST:PORT`, said to be `what`."""
    return click.option("--osc", default=str(OSC_ADDRESS), show_default=True, metavar="HOST:PORT",
                        help=what)  # fmt: skip


def midi_api_option(what: str = "The MIDI system to use.") -> Callable[[Command], Command]:
    """`--midi-api NAME`, said to be `what`."""
    return click.option("--midi-api", type=click.Choice(API_CHOICES), default="auto",
                        show_default=True, envvar="LIVEAID_MIDI_API", help=what)  # fmt: skip
