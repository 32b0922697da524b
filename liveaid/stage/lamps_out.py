"""Put the lamps out from outside, when the stage that lit them is gone."""

from __future__ import annotations

import asyncio

from liveaid.stage.boards import Boards
from liveaid.stage.settings import Settings


def lamps_out(settings: Settings) -> dict[str, str]:
    """Every lamp of every controller out; the ports that were not there, and what is the matter."""
    return asyncio.run(_out(settings))


async def _out(settings: Settings) -> dict[str, str]:
    boards = Boards(
        settings, changed=lambda _: None, renew=lambda: None, word=lambda word, piece: None
    )
    await boards.start()
    missing = boards.missing()
    await boards.stop()
    return missing
