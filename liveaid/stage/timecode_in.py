"""Time code from a player, as a deck's position: see timecode for how it is read."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from liveaid.routine import Side
from liveaid.stage.midi import MidiPort
from liveaid.stage.osc import Heard
from liveaid.stage.timecode import Timecode
from liveaid.stage.watcher import Stage, Watcher


class TimecodeIn(Watcher):
    """One deck's player."""

    def __init__(self, side: Side, port: str, *, offset_s: float = 0.0, api: str = "auto") -> None:
        """Time code plus `offset_s` is the second of the deck file."""
        self._side, self._offset_s = side, offset_s
        self._timecode = Timecode()
        self._port = MidiPort(port, api=api, direction="in", heard=self._hear, timing=True)
        self._stage: Stage | None = None
        self._starting: asyncio.Task[None] | None = None
        self._time_s: float | None = None

    def started(self, stage: Stage) -> None:
        """Look for the port."""
        self._stage = stage
        self._starting = asyncio.get_running_loop().create_task(self._port.start())

    def status(self) -> Mapping[str, Any]:
        """The key `timecode_left` or `timecode_right` of /status."""
        return {f"timecode_{self._side}": {"time_s": self._time_s, **self._port.to_json()}}

    async def stopped(self) -> None:
        """Let the port go."""
        if self._starting is not None:
            await self._starting
        await self._port.stop()

    def _hear(self, data: bytes, now_s: float) -> None:
        time_s = self._timecode.hear(data)
        if time_s is not None and self._stage is not None:
            self._time_s = round(time_s, 4)
            self._stage.hear(Heard("position", self._side, time_s + self._offset_s, now_s))
