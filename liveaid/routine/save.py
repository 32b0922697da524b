"""Write a section map so that load_routine reads the same routine back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

from liveaid.files.aside import write_aside
from liveaid.routine.model import SIDES, Piece, Routine


class _Dumper(yaml.SafeDumper):
    """Plans, sounds and settings stand on one line each, as the performer writes them."""


class _OneLine(dict[str, Any]):
    pass


_Dumper.add_representer(
    _OneLine,
    lambda dumper, data: dumper.represent_mapping("tag:yaml.org,2002:map", data, flow_style=True),
)


def routine_text(routine: Routine) -> str:
    """The section map as YAML text; what is at its default is left out."""
    tree = routine.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    for word in ("turntable", "performer"):
        if word in tree:
            tree[word] = _OneLine(tree[word])
    tree["sounds"] = {name: _OneLine(sound) for name, sound in tree.get("sounds", {}).items()}
    if not tree["sounds"]:
        del tree["sounds"]
    tree["pieces"] = [
        _piece_tree(piece, plain)
        for piece, plain in zip(routine.pieces, tree["pieces"], strict=True)
    ]
    return yaml.dump(
        tree, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=10_000, line_break="\n"
    )


def save_routine(routine: Routine, path: str | Path) -> None:
    """Write the section map, aside first and then into place, so no half file is ever seen."""
    write_aside(Path(path), routine_text(routine).encode())


def _piece_tree(piece: Piece, plain: dict[str, Any]) -> dict[str, Any]:
    """One set piece's tree, each hand on one line and never without its `hand:`."""
    for side in SIDES:
        if side in plain:
            fields = {name: value for name, value in plain[side].items() if name != "hand"}
            plain[side] = _OneLine(hand=piece.plan(side).hand, **fields)
    return plain
