"""What the performer allows scenes beyond their own folders: two lines in the settings file.

A scene may name only what lies in its own folder. Whoever keeps sounds in one place for all
scenes, or has `decks` lead to another disk, says so once, in a file that no scene can write.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict

from liveaid.files.folders import settings_folder
from liveaid.routine.config_file import load_config


class Consent(BaseModel):
    """Folders that scenes may use besides their own."""

    model_config = ConfigDict(frozen=True, extra="forbid")

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
    """What the settings file allows; nothing when there is none. ConfigError if it is wrong."""
    file = settings_file()
    return load_config(file, Consent) if file.is_file() else Consent()
