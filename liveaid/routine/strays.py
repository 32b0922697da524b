"""The files a section map names that lead out of its scene, or are no plain files."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import Any

from liveaid.files.inside import Stray, odd_name
from liveaid.routine.problems import Problem
from liveaid.routine.scene import DECKS, reach, scene_folder, way_to_allow
from liveaid.routine.source import Path, Source, field_name


def strays(source: Source, path: str | FilePath) -> Iterator[Problem]:
    """The files a map names that lead out of its scene, or are no plain files.

    A placed map that was taken along without its scene is spared: its sounds are not read.
    """
    section_map = FilePath(path)
    alone = scene_folder(section_map).name == DECKS
    for where, name in _files_named(source.tree):
        try:
            reach(name, section_map)
        except Stray as stray:
            if odd_name(name) or (alone and stray.outside):
                continue  # the first is told as it is by the schema
            ways = f", or {way_to_allow('read')}," if stray.outside else ""
            line = source.line(where)
            would_do = f"a plain file in the scene's folder{ways} would do"
            yield Problem(line, field_name(where), stray.found, would_do)


def _files_named(tree: dict[str, Any]) -> Iterator[tuple[Path, str]]:
    for word in ("sounds", "decks"):
        for name, record in _mapping(tree.get(word)).items():
            file = _mapping(record).get("file")
            if isinstance(file, str):
                yield (word, name, "file"), file


def _mapping(tree: Any) -> dict[str, Any]:
    return tree if isinstance(tree, dict) else {}
