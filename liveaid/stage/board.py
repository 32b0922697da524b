"""One controller: what its lamps show and when they may change, what its pads say, its ports."""

from __future__ import annotations

import asyncio
import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from liveaid.stage.lamp_layout import Lamp, Level, message_table
from liveaid.stage.lamps import LIVES_S, Gate, all_off, living
from liveaid.stage.midi import MidiPort
from liveaid.stage.pads import Presses
from liveaid.stage.settings import Controller
from liveaid.stage.words import Word

NO_PORT = "not asked for"
RENEWED_S = 1.5
"""Every lamp is sent anew within this, so that a lost message is not wrong for 2 s."""
RENEW_EVERY_S = 0.1


class Board:
    """Brings the lamps to the levels asked for, as fast as is safe; works without a port too."""

    def __init__(
        self,
        controller: Controller,
        *,
        midi_api: str,
        changed: Callable[[Sequence[tuple[Lamp, Level]]], None],
        renew: Callable[[], None],
        word: Callable[[Word, int | None], Any],
    ) -> None:
        """`changed` is told of every change; `renew` is called when all must be lit anew; `word` is
        told what pads say."""
        self.layout = layout = controller.layout
        midi = controller.midi
        self._messages = message_table(layout)
        self._gate = Gate(most_per_s=layout.most_per_s)
        self._changed = changed
        self._renew = renew
        self._midi = None if midi is None else MidiPort(midi, api=midi_api, opened=self._opened)
        self._words, self._word, self._presses = layout.pad_words(), word, Presses()
        pads = (controller.pads or midi) if self._words else None
        self._pads = None if pads is None else MidiPort(
            pads, api=midi_api, direction="in", heard=self._heard
        )  # fmt: skip
        self._renewing: asyncio.TimerHandle | None = None
        self._second = 0

    async def start(self) -> None:
        """Look for the port; a missing one is no error."""
        await asyncio.gather(*(port.start() for port in self._ports))
        self._renew_some()

    async def stop(self) -> None:
        """Every lamp out, and the ports closed."""
        if self._renewing is not None:
            self._renewing.cancel()
        self._send(all_off(self.layout).items())
        await asyncio.gather(*(port.stop() for port in self._ports))

    def light(self, levels: Mapping[Lamp, Level], now: float) -> None:
        """Bring the lamps to these levels, now or as soon as they may change."""
        changes = self._gate.ask(living(levels, now), now)
        if not changes:
            return
        self._send(changes)
        self._changed(changes)

    def wake_at(self) -> float | None:
        """When a change that is kept back may be sent."""
        return self._gate.wake_at()

    def reopen(self) -> None:
        """Take the ports up anew: the machine slept."""
        for port in self._ports:
            port.reopen()

    def missing(self) -> dict[str, str]:
        """The ports that were asked for and are not open: their names and what is the matter."""
        return {port.wanted: port.state for port in self._ports if port.state != "open"}

    def to_json(self) -> dict[str, Any]:
        """How the ports stand, for /health."""
        found = {"state": NO_PORT} if self._midi is None else self._midi.to_json()
        return found if self._pads is None else {**found, "pads": self._pads.to_json()}

    @property
    def _ports(self) -> list[MidiPort]:
        return [port for port in (self._midi, self._pads) if port is not None]

    def _send(self, levels: Iterable[tuple[Lamp, Level]]) -> None:
        if self._midi is not None:
            self._midi.send(self._messages[item] for item in levels)

    def _opened(self) -> None:
        self._gate.forget()
        self._renew()

    def _renew_some(self) -> None:
        """Send some lamps anew, in turn: what was lost is put right within RENEWED_S."""
        now = time.monotonic()
        count = math.ceil(len(self.layout.lamps.places) * RENEW_EVERY_S / RENEWED_S)
        self._send(self._gate.renew(count, now))
        if int(now / LIVES_S) != self._second:
            self._second = int(now / LIVES_S)
            self._renew()  # by way of the prompt, so that the lamp lives only while that does
        loop = asyncio.get_running_loop()
        self._renewing = loop.call_later(RENEW_EVERY_S, self._renew_some)

    def _heard(self, data: bytes, now: float) -> None:
        pad = self._presses.hear(data, now)
        if pad is not None and pad in self._words:
            self._word(*self._words[pad])
