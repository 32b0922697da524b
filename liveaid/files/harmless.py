"""Texts that cannot steer a terminal: colours, cleared screens and turned lines become escapes."""

from __future__ import annotations

import re

STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"  # C0 but tab and line feed, DEL, C1 (ECMA-48)
    "\u2028\u2029"  # line and paragraph separators
    "\u202a-\u202e\u2066-\u2069"  # direction overrides and isolates (UAX #9, 2.1 to 2.4)
    "\ud800-\udfff]"  # half letters, which no encoding can write
)
_BREAKS = re.compile("[\t\n]")


def harmless(text: str, *, lines: bool = True) -> str:
    """The text with what would steer a terminal written as escapes.

    With `lines=False` tabs and line feeds too, so that it stays on one line.
    """
    text = STEERING.sub(_escape, text)
    return text if lines else _BREAKS.sub(_escape, text)


def _escape(found: re.Match[str]) -> str:
    return found[0].encode("unicode_escape").decode()
