"""What a file that cannot be read raises, whichever room wanted it."""

from __future__ import annotations

from liveaid.errors import LiveaidError


class Unreadable(LiveaidError):
    """A file that cannot be read for what it should hold: which, and why, in one line."""
