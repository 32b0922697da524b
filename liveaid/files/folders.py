"""The performer's own folders, where this system keeps such things; those that come along."""

from __future__ import annotations

from pathlib import Path

from platformdirs import PlatformDirs

_PACKAGE = Path(__file__).resolve().parent.parent
_DIRS = PlatformDirs("liveaid", appauthor=False)


def settings_folder() -> Path:
    """What the performer sets for all scenes (`~/.config/liveaid` on Linux)."""
    return _DIRS.user_config_path


def data_folder() -> Path:
    """What is worth keeping (`~/.local/share/liveaid` on Linux)."""
    return _DIRS.user_data_path


def cache_folder() -> Path:
    """What can be made again (`~/.cache/liveaid` on Linux)."""
    return _DIRS.user_cache_path


def shipped(folder: str) -> Path:
    """What comes along with liveaid, `configs` or `scenes`: in the installed package, or beside it
    in a checkout."""
    inside = _PACKAGE / folder
    return inside if inside.is_dir() else _PACKAGE.parent / folder
