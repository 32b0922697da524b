"""What comes along with liveaid: settings files and example scenes."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


def shipped(folder: str) -> Path:
    """`configs` or `scenes`: inside the installed package, or beside it in a checkout."""
    inside = PACKAGE / folder
    return inside if inside.is_dir() else PACKAGE.parent / folder
