"""What /status and /health say, put together from the stage's parts."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine, Side


def waiting_status(error: str | None) -> dict[str, Any]:
    """What is said while there is no prompt to say: nothing heard, or the follower failed."""
    return {"state": "waiting", "error": error}


def status_of(
    prompt: Prompt, routine: Routine, *, sends: str, next_cue: tuple[Side, ...]
) -> dict[str, Any]:
    """A prompt as /status tells it, with what a page needs to know of the routine."""
    return {
        **prompt.to_json(),
        "next_cue": list(next_cue),
        "routine": {
            "title": routine.title,
            "metre": routine.metre,
            "pieces": len(routine.pieces),
            "sends": sends,
        },
    }


class Health:
    """What /health says: each part under its name, asked when it is wanted."""

    def __init__(self, parts: Mapping[str, Callable[[], Any]]) -> None:
        self._parts = dict(parts)
        self._started_s = time.monotonic()

    def to_json(self) -> dict[str, Any]:
        """Counts, buffers, ports, errors."""
        uptime_s = round(time.monotonic() - self._started_s, 3)
        return {"uptime_s": uptime_s, **{name: ask() for name, ask in self._parts.items()}}
