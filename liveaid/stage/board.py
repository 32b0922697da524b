"""The lamps of one controller: what they show, when they may change, and the port they hang on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from liveaid.stage.lamp_layout import Lamp, LampLayout, Level, message_table
from liveaid.stage.lamps import Gate, all_off
from liveaid.stage.midi import MidiPort

NO_PORT = "not asked for"


class Board:
    """Brings the lamps to the levels asked for, as fast as is safe; works without a port too."""

    def __init__(
        self,
        layout: LampLayout,
        *,
        midi: str | None,
        midi_api: str,
        changed: Callable[[Sequence[tuple[Lamp, Level]]], None],
        renew: Callable[[], None],
    ) -> None:
        """`changed` is told of every change; `renew` is called when all must be lit anew."""
        self._layout = layout
        self._messages = message_table(layout)
        self._gate = Gate(most_per_s=layout.most_per_s)
        self._changed = changed
        self._renew = renew
        self._midi = None if midi is None else MidiPort(midi, api=midi_api, opened=self._opened)

    async def start(self) -> None:
        """Look for the port; a missing one is no error."""
        if self._midi is not None:
            await self._midi.start()

    async def stop(self) -> None:
        """Every lamp out, and the port closed."""
        if self._midi is not None:
            self._midi.send(self._messages[item] for item in all_off(self._layout).items())
            await self._midi.stop()

    def light(self, levels: Mapping[Lamp, Level], now: float) -> None:
        """Bring the lamps to these levels, now or as soon as they may change."""
        changes = self._gate.ask(dict(levels), now)
        if not changes:
            return
        if self._midi is not None:
            self._midi.send(self._messages[change] for change in changes)
        self._changed(changes)

    def wake_at(self) -> float | None:
        """When a change that is kept back may be sent."""
        return self._gate.wake_at()

    def reopen(self) -> None:
        """Take the port up anew: the machine slept."""
        if self._midi is not None:
            self._midi.reopen()

    @property
    def state(self) -> str:
        """How the port stands, in words."""
        return NO_PORT if self._midi is None else self._midi.state

    def missing(self) -> dict[str, str]:
        """The port that was asked for and is not open: its name and what is the matter."""
        if self._midi is None or self._midi.state == "open":
            return {}
        return {self._midi.wanted: self._midi.state}

    def to_json(self) -> dict[str, Any]:
        """How the port stands, for /health."""
        return {"state": NO_PORT} if self._midi is None else self._midi.to_json()

    def _opened(self) -> None:
        self._gate.forget()
        self._renew()
