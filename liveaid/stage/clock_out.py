"""Sends MIDI clock to a port: the moments from beat_clock, waited for on the stage's loop."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from itertools import accumulate
from typing import Any

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine
from liveaid.stage.beat_clock import BeatClock
from liveaid.stage.midi import MidiPort
from liveaid.stage.on_time import OnTime
from liveaid.stage.watcher import Stage, Watcher

CLOCK_OUT_EARLY_S = 0.0015
"""Woken this much before a clock is due: 48 a second cost some 5 % of a core that way."""
RUNNING = ("following", "silent")


class ClockOut(Watcher):
    """One receiver of MIDI clock."""

    def __init__(self, port: str, api: str = "auto") -> None:
        self._clock = BeatClock()
        self._port = MidiPort(port, api=api, opened=self._opened)
        self._stage: Stage | None = None
        self._starting: asyncio.Task[None] | None = None
        self._due = OnTime(self._tick, CLOCK_OUT_EARLY_S)
        self._routine: Routine | None = None
        self._before: list[int] = []

    def started(self, stage: Stage) -> None:
        """Look for the port."""
        self._stage = stage
        self._starting = asyncio.get_running_loop().create_task(self._port.start())

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The performer's place and tempo."""
        if prompt.state == "unsure":
            return  # an unsure place is not gone to: the clock goes on as it was
        beats = self._beats(prompt)
        rate = (prompt.tempo or 0.0) / 60.0
        self._port.send(self._clock.told(beats, rate, now_s))
        self._due.set(self._clock.due_s())

    def status(self) -> Mapping[str, Any]:
        """The key `clock` of /status."""
        return {"clock": {"running": self._clock.running, **self._port.to_json()}}

    async def stopped(self) -> None:
        """Stop whoever follows, and let the port go."""
        self._due.set(None)
        if self._starting is not None:
            await self._starting
        self._port.send(self._clock.told(None, 0.0, time.monotonic()))
        await self._port.stop()

    def _beats(self, prompt: Prompt) -> float | None:
        """Beats from the routine's start; None while no music runs."""
        if self._stage is None:
            return None
        routine = self._stage.routine
        if routine is not self._routine:
            lengths = [routine.beats(index) for index in range(len(routine.pieces))]
            self._routine, self._before = routine, [0, *accumulate(lengths)]
        if prompt.state not in RUNNING or prompt.piece is None or prompt.beat_position is None:
            return None
        return self._before[prompt.piece.index] + prompt.beat_position

    def _opened(self) -> None:
        """Whoever is plugged in now has not heard the start: begin anew from where we are."""
        self._port.send(self._clock.told(None, 0.0, time.monotonic()))

    def _tick(self) -> None:
        self._port.send(self._clock.clock(time.monotonic()))
        self._due.set(self._clock.due_s())
