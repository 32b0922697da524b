"""What a sound file says of itself: who made it, what it is called.

Read from the file's own labels (ID3, Vorbis comments, MP4 atoms, RIFF) by mutagen. A file without
labels, or with spoiled ones, says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from liveaid.files.harmless import harmless
from liveaid.files.names import plain_text

LONGEST = 200
"""Letters of one label that are kept: a name is shorter, a lyric or an advertisement is not one."""


@dataclass(frozen=True, slots=True)
class Labels:
    """What a file says of itself; empty where it says nothing."""

    artist: str = ""
    title: str = ""
    album: str = ""


NO_LABELS = Labels()


def read_labels(path: str) -> Labels:
    """The labels in a file's header; no error ever, since a sound may be fine without them."""
    import mutagen  # loaded when first needed: it knows many formats

    try:
        found = mutagen.File(path, easy=True)
        tags: Any = getattr(found, "tags", None) or {}
        return Labels(**{name: _first(tags, name) for name in ("artist", "title", "album")})
    except Exception:  # a spoiled header raises whatever its parser met
        return NO_LABELS


def _first(tags: Any, name: str) -> str:
    """One label as one harmless line."""
    said = tags.get(name) or tags.get(name.upper()) or [""]
    text = str(said[0] if isinstance(said, list) else said)
    return harmless(plain_text(text))[:LONGEST].strip()
