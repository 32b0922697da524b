"""A sound's file as its header tells it, or what keeps a routine from being made of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from liveaid.files.inside import Stray
from liveaid.files.unreadable import Unreadable
from liveaid.routine.problems import Hindrance
from liveaid.routine.scene import reach
from liveaid.sound.read import open_sound

MOST_CHANNELS = 2
LEAST_RATE_HZ, MOST_RATE_HZ = 4_000, 768_000
"""Sample rates outside these are a damaged header, not a sound."""


@dataclass(frozen=True, slots=True)
class SoundHeader:
    """Where a sound lies, and how long it is."""

    path: Path
    frames: int
    rate_hz: int

    @property
    def duration_s(self) -> float:
        """Seconds in the file."""
        return self.frames / self.rate_hz


def sound_header(
    name: str, file: str, section_map: Path, *, called: str | None = None
) -> SoundHeader | Hindrance:
    """The header of the sound that a map calls `name` and whose `file` is seen from the map.

    `called`: the performer's own word for a file that is not there; left out: its whole path.
    """
    where = ("sounds", name, "file")
    try:
        path = reach(file, section_map)
        if not path.is_file():
            found = f"{called or path}, {'a folder' if path.is_dir() else 'no such file'}"
            return Hindrance(where, found, "a sound file, relative to the map, would do")
        with open_sound(path) as reader:
            frames, rate_hz, channels = reader.declared, reader.rate_hz, reader.channels
    except Stray as stray:
        return Hindrance(where, stray.found, "a plain file in the scene's folder would do")
    except (Unreadable, OSError) as error:
        return Hindrance(where, str(error), "a WAV, FLAC, OGG or MP3 file would do")
    if frames < 1:
        return Hindrance(where, f"{path}, which holds no sound", "a file with sound in it would do")
    if channels > MOST_CHANNELS:
        return Hindrance(where, f"{path}, {channels} channels", "one or two channels would do")
    if not LEAST_RATE_HZ <= rate_hz <= MOST_RATE_HZ:
        would_do = f"{LEAST_RATE_HZ} to {MOST_RATE_HZ} Hz would do"
        return Hindrance(where, f"{path} at {rate_hz} Hz", would_do)
    return SoundHeader(path, frames, rate_hz)
