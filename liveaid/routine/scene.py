"""Where a scene's section map is: a folder, a file, or the name of a scene that comes along."""

from __future__ import annotations

from pathlib import Path

from liveaid.errors import UsageError

PACKAGE = Path(__file__).resolve().parent.parent


def shipped(folder: str) -> Path:
    """`configs` or `scenes`: inside the installed package, or beside it in a checkout."""
    inside = PACKAGE / folder
    return inside if inside.is_dir() else PACKAGE.parent / folder


def map_file(scene: str | Path, *, placed: bool = False) -> Path:
    """The section map meant by `scene`: a YAML file, a folder with routine.yaml, or a shipped name.

    With `placed`, the rendered map `decks/routine.yaml` comes first where there is one.
    UsageError, with the shipped names, when there is none.
    """
    path = Path(scene)
    if path.is_file():
        return path
    for folder in (path, shipped("scenes") / str(scene)):
        names = ("decks/routine.yaml", "routine.yaml") if placed else ("routine.yaml",)
        for name in names:
            if (folder / name).is_file():
                return folder / name
    known = sorted(p.parent.name for p in shipped("scenes").glob("*/routine.yaml"))
    raise UsageError(
        f"{scene}: no section map there; a YAML file, a folder with routine.yaml"
        f", or one of these would do: {', '.join(known)}"
    )
