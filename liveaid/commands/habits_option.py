"""Whether the follower starts from what kept takes say of the performer, and how that is told."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from liveaid.errors import LiveaidError
from liveaid.practice.learnt import learnt
from liveaid.practice.report import takes_file
from liveaid.routine import Routine
from liveaid.stage import Settings

_Command = TypeVar("_Command", bound=Callable[..., Any])


def habits_option(command: _Command) -> _Command:
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
