"""What commands print: one console, JSON for scripts, a progress bar. May import: click, rich."""

from __future__ import annotations

import json
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")


def console() -> Console:
    """The console reports go to; width follows the terminal, plain when piped."""
    return Console(highlight=False)


def print_json(data: Any) -> None:
    """One JSON document on standard output, nothing beside it."""
    click.echo(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False))


def progress_bar() -> Progress:
    """A bar on standard error, so that piped reports stay clean; silent when not a terminal."""
    shown = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=shown,
        transient=True,
        disable=not shown.is_terminal,
    )
