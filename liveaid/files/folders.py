"""The performer's own folders, where this system keeps such things."""

from __future__ import annotations

from pathlib import Path

from platformdirs import PlatformDirs

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
