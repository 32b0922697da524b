"""What commands print: one console, JSON for scripts, a progress bar.

May import: files, click, rich. Nothing printed here can steer the terminal: names of files and
texts of maps may be a stranger's.
"""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from typing import IO, Any, cast

import click
from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from liveaid.files.harmless import STEERING, harmless

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")


class HarmlessConsole(Console):
    """A console whose texts cannot steer the terminal, nor style themselves by `[brackets]`."""

    def __init__(self, *, stderr: bool = False, file: IO[str] | None = None) -> None:
        super().__init__(highlight=False, markup=False, stderr=stderr, file=file)

    def say(self, *lines: str | Text) -> None:
        """Print each line whole, for the terminal to break: a path or a command can be copied."""
        for line in lines:
            self.print(line, soft_wrap=True)

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        """The segments to print, control characters in their texts written as escapes."""
        for segment in super().render(renderable, options):
            text = segment.text if segment.control else harmless(segment.text)
            yield segment if text == segment.text else Segment(text, segment.style)

    def on_broken_pipe(self) -> None:
        """Whoever read the report is gone: the command line's end sees to it."""
        raise BrokenPipeError


class _Lasting:
    """Standard output that swallows what cannot be written: the show goes on without it."""

    def write(self, text: str) -> int:
        with contextlib.suppress(OSError, ValueError, AttributeError):
            sys.stdout.write(text)
        return len(text)

    def flush(self) -> None:
        with contextlib.suppress(OSError, ValueError, AttributeError):
            sys.stdout.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(sys.stdout, name)


def console(*, stderr: bool = False, lasting: bool = False) -> HarmlessConsole:
    """The console reports go to; width follows the terminal, plain when piped.

    A `lasting` one, on standard output, never fails, for what runs on stage: a full disk or a
    closed terminal must not end it.
    """
    file = cast(IO[str], _Lasting()) if lasting else None
    return HarmlessConsole(stderr=stderr, file=file)


def report_table(title: str, *heads: str, right: Collection[str] = (), ruled: bool = True) -> Table:
    """An empty table under a title; the columns named in `right` are set to the right.

    `ruled`: a line under the heads.
    """
    table = Table(
        title=title, title_justify="left", title_style="bold" if ruled else None,
        box=box.SIMPLE_HEAD if ruled else None, pad_edge=False, collapse_padding=True,
    )  # fmt: skip
    for head in heads:
        table.add_column(head, justify="right" if head in right else "left")
    return table


def print_json(data: Any) -> None:
    """One JSON document on standard output, nothing beside it."""
    text = json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)
    click.echo(STEERING.sub(lambda found: json.dumps(found[0])[1:-1], text))


def progress_bar() -> Progress:
    """A bar on standard error, so that piped reports stay clean; silent when not a terminal."""
    shown = HarmlessConsole(stderr=True)
    return Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=shown,
        transient=True,
        disable=not shown.is_terminal,
    )


@contextlib.contextmanager
def progress(begins: str) -> Iterator[Callable[[int, int, str], None]]:
    """A bar that is told how many steps of how many are done, and what is at work."""
    with progress_bar() as bar:
        task = bar.add_task(begins, total=None)
        yield lambda done, of, what: bar.update(task, completed=done, total=of, description=what)
