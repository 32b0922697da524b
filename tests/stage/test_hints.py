"""A sender that is wired wrong is told on the page, in the terminal and in /health."""

import asyncio
import io
import time

from rich.console import Console

from liveaid.stage.address import Address
from liveaid.stage.lamp_text import TerminalView
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings


def test_swapped_decks_are_told_wherever_the_performer_looks(three):
    """Left is to run from 1.8 and right to wait there; 3 s of it the other way round, all at
    once."""
    printed = io.StringIO()

    async def run():
        settings = Settings(osc=Address("127.0.0.1", 0), http=None)
        view = TerminalView(settings.main.layout, Console(file=printed, width=200))
        async with Service(three, settings, watchers=[view]) as stage:
            now = time.monotonic() + 60.0  # ahead, so that no slow machine makes it silence
            for step in range(400):
                at = now + step / 100
                stage.hear(Heard("position", "left", 1.8, at))
                stage.hear(Heard("position", "right", 1.8 + max(step / 100 - 1.0, 0.0), at))
            stage.push()
            return stage.status(), stage.health()

    status, health = asyncio.run(run())
    (hint,) = status["hints"]
    assert "left and right look swapped" in hint
    assert (status["state"], health["hints"]) == ("unsure", [hint])
    assert hint in printed.getvalue().splitlines()
