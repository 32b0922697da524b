"""All controllers as one: the same prompt on each, by its own layout; the first is the main one."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from liveaid.stage.board import Board
from liveaid.stage.lamp_layout import Lamp, LampLayout, Level
from liveaid.stage.settings import Settings
from liveaid.stage.words import Word

Levels = Mapping[Lamp, Level]


class Boards:
    """Every controller of one stage."""

    def __init__(
        self,
        settings: Settings,
        *,
        changed: Callable[[Sequence[tuple[Lamp, Level]]], None],
        renew: Callable[[], None],
        word: Callable[[Word, int | None], Any],
    ) -> None:
        """`changed` is told of the main one's lamps; `renew` and `word` as for a Board."""
        self._boards = [
            Board(
                controller, midi_api=settings.midi_api, renew=renew, word=word,
                changed=changed if controller is settings.main else lambda changes: None,
            )
            for controller in settings.controllers
        ]  # fmt: skip

    async def start(self) -> None:
        """Look for all ports at once; a missing one is no error."""
        await asyncio.gather(*(board.start() for board in self._boards))

    async def stop(self) -> None:
        """Every lamp out, and the ports closed."""
        await asyncio.gather(*(board.stop() for board in self._boards))

    def light(self, levels_for: Callable[[LampLayout], Levels], now: float) -> None:
        """Bring every controller to the levels for its layout."""
        for board in self._boards:
            board.light(levels_for(board.layout), now)

    def wake_at(self) -> float | None:
        """When a change that is kept back may be sent."""
        wakes = [wake for board in self._boards if (wake := board.wake_at()) is not None]
        return min(wakes, default=None)

    def reopen(self) -> None:
        """Take the ports up anew: the machine slept."""
        for board in self._boards:
            board.reopen()

    def missing(self) -> dict[str, str]:
        """The ports that were asked for and are not open."""
        return {name: why for board in self._boards for name, why in board.missing().items()}

    def to_json(self) -> dict[str, Any]:
        """How the ports stand, for /health: the main one's, and `also` the others'."""
        main, *more = [board.to_json() for board in self._boards]
        return {**main, "also": more} if more else main


def lamps_out(settings: Settings) -> dict[str, str]:
    """Every lamp of every controller out, from outside, when the stage that lit them is gone; the
    ports that were not there, and what is the matter."""

    async def put_out() -> dict[str, str]:
        boards = Boards(
            settings, changed=lambda _: None, renew=lambda: None, word=lambda word, piece: None
        )
        await boards.start()
        missing = boards.missing()
        await boards.stop()
        return missing

    return asyncio.run(put_out())
