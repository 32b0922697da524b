"""Where a scene's files are: its section map, its decks, its takes; and what it may reach.

A scene's folder may come from a stranger. Every file in it is found through here: `reach` for
what the map names, `own` for what is read and written under a name of ours. Neither follows a
name or a link out of the scene, unless the performer's own settings allow the place: whoever keeps
sounds in one place for all scenes, or has `decks` lead to another disk, says so once, in a file
that no scene can write.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from liveaid.errors import LiveaidError, UsageError
from liveaid.files.file_bytes import sort_of
from liveaid.files.folders import settings_folder, shipped
from liveaid.files.inside import Stray, followed, odd_name, plain_file
from liveaid.files.names import shown
from liveaid.routine.config_file import ConfigRecord, load_config
from liveaid.routine.problems import Hindrance, Problem
from liveaid.routine.source import Path as FieldPath
from liveaid.routine.source import Source

MAP = "routine.yaml"
DECKS = "decks"
SLOWER = "slower"
"""Folder of the scene with a folder for each set of slower deck files."""


class Leads(LiveaidError):
    """A file of the scene under a name of ours that is a link out of it, or no plain file."""


def map_file(scene: str | Path) -> Path:
    """The section map meant by `scene`: a YAML file, a folder with routine.yaml, or a shipped name.

    UsageError, with the shipped names, when there is none; Leads when it leads out of the scene.
    """
    if os.path.isfile(scene):
        return Path(scene)
    for folder in (Path(scene), shipped("scenes") / str(scene)):
        if os.path.lexists(folder / MAP):
            own(folder, MAP)
        if os.path.isfile(folder / MAP):
            return folder / MAP
    known = ", ".join(sorted(p.parent.name for p in shipped("scenes").glob(f"*/{MAP}")))
    raise UsageError(
        f"{shown(scene)}: {_what_is_there(scene)}; a YAML file, a folder with {MAP}"
        f", or one of these would do: {known}"
    )


def scene_folder(section_map: Path) -> Path:
    """The scene's folder: the map's own, or the one above where the map is a placed one."""
    folder = Path(os.path.abspath(section_map)).parent
    above = folder.parent.parent if folder.parent.name == SLOWER else folder.parent
    placed = folder.name == DECKS or folder.parent.name == SLOWER
    return above if placed and os.path.isfile(above / MAP) else folder


def reach(name: str, section_map: Path) -> Path:
    """The plain file, or the place for one, that a map's `name` leads to. Stray otherwise."""
    return _allowed(plain_file, name, section_map.parent, scene_folder(section_map), "read")


def _allowed(
    find: Callable[[str, Path, Sequence[Path]], Path],
    name: str,
    folder: Path,
    scene: Path,
    word: str,
) -> Path:
    """Where a name leads: within the scene, else where the performer's settings allow it. The
    settings are only read where they matter."""
    try:
        return find(name, folder, [scene])
    except Stray as stray:
        if not stray.outside:
            raise
        return find(name, folder, [scene, *load_consent().folders(word)])


def way_to_allow(word: str) -> str:
    """How the performer allows a place outside, `read` or `write`."""
    return f"its folder in the list `{word}:` of {shown(settings_file())}"


def own(scene: Path, name: str, *, folder: bool = False) -> Path:
    """A file (or folder) of the scene under a name of ours, as it was asked for.

    Leads when it is a link out of the scene, or no plain file (no folder).
    """
    find = followed if folder else plain_file
    try:
        end = _allowed(find, name, scene, scene, "write")
    except Stray as stray:
        ways = f", or {way_to_allow('write')}," if stray.outside else ""
        what = "folder" if folder else "file"
        raise Leads(f"{stray}; a {what} of the scene's own{ways} would do") from stray
    if folder and end.exists() and not end.is_dir():
        raise Leads(f"found {shown(end)}, no folder; a folder would do")
    return scene / name


def database_files(name: str) -> tuple[str, ...]:
    """A database's own file and those SQLite keeps beside it (sqlite.org/tempfiles.html)."""
    return (name, f"{name}-wal", f"{name}-shm", f"{name}-journal")


def _what_is_there(scene: str | Path) -> str:
    try:
        status = os.stat(scene)
    except (OSError, ValueError):
        return "no section map there"
    if os.path.isdir(scene):
        return f"no {MAP} in that folder"
    return f"{sort_of(status.st_mode)}, no section map"


class Consent(ConfigRecord):
    """Folders that scenes may use besides their own."""

    read: tuple[str, ...] = ()
    """Sounds and deck files may lie below these."""
    write: tuple[str, ...] = ()
    """`decks` may be a link to a folder below these."""

    def folders(self, word: str) -> list[Path]:
        """The folders under `read` or `write`; what may be written to may be read."""
        names = (*self.read, *self.write) if word == "read" else self.write
        return [Path(name).expanduser() for name in names]


def settings_file() -> Path:
    """The performer's settings, where this system keeps such files."""
    return settings_folder() / "settings.yaml"


def load_consent() -> Consent:
    """What the settings file allows; nothing when there is none. RoutineError if it is wrong."""
    file = settings_file()
    return load_config(file, Consent) if file.is_file() else Consent()


def strays(source: Source, path: str | Path) -> Iterator[Problem]:
    """The files a map names that lead out of its scene, or are no plain files.

    A placed map that was taken along without its scene is spared: its sounds are not read.
    """
    section_map = Path(path)
    alone = scene_folder(section_map).name == DECKS
    for where, name in _files_named(source.tree):
        try:
            reach(name, section_map)
        except Stray as stray:
            if odd_name(name) or (alone and stray.outside):
                continue  # the first is told as it is by the schema
            ways = f", or {way_to_allow('read')}," if stray.outside else ""
            would_do = f"a plain file in the scene's folder{ways} would do"
            yield source.told(Hindrance(where, stray.found, would_do))


def _files_named(tree: dict[str, Any]) -> Iterator[tuple[FieldPath, str]]:
    for word in ("sounds", "decks"):
        for name, record in _fields(tree.get(word)).items():
            file = _fields(record).get("file")
            if isinstance(file, str):
                yield (word, name, "file"), file


def _fields(tree: Any) -> dict[str, Any]:
    return tree if isinstance(tree, dict) else {}
