"""File names as they can be printed: any bytes in, one harmless line out."""

from __future__ import annotations

import os


def shown(path: str | os.PathLike[str]) -> str:
    """A path for the eye: bytes that are not UTF-8 and control characters are written as escapes.

    Names come from strangers' drives; a line break or a terminal's control sequence in one must
    not reach the report.
    """
    text = os.fsencode(path).decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def reads_back(path: str) -> bool:
    """Whether `shown` writes the path as it is, so that it can be read back."""
    return shown(path) == path


def plain_text(text: str) -> str:
    """Text from the command line as it can be kept: stray bytes replaced, one line, trimmed."""
    text = text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return " ".join(text.split())


def stem(path: str) -> str:
    """A file's name without its folder and ending, for the eye."""
    return shown(os.path.splitext(os.path.basename(path))[0])
