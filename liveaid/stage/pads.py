"""A controller's pads: which one was pressed. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import mido

BOUNCE_S = 0.03
"""A pad that speaks twice within this was pressed once: contacts chatter for some milliseconds."""


@dataclass(frozen=True, slots=True)
class Pad:
    """A pad: how it speaks (`note` or `control`), on which channel (from 1), and its number."""

    send: str
    channel: int
    number: int


def pad_pressed(data: bytes) -> Pad | None:
    """The pad a MIDI message tells of: a note-on that is not a release, or a control change up."""
    try:
        message = mido.Message.from_bytes(data)
    except ValueError:
        return None
    if message.type == "note_on" and message.velocity > 0:
        return Pad("note", message.channel + 1, message.note)
    if message.type == "control_change" and message.value > 0:
        return Pad("control", message.channel + 1, message.control)
    return None


class Presses:
    """Which pad was pressed, its chatter left out."""

    def __init__(self) -> None:
        self._pressed_s: dict[Pad, float] = {}

    def hear(self, data: bytes, now_s: float) -> Pad | None:
        """The pad pressed with this message; None for anything else."""
        pad = pad_pressed(data)
        if pad is None:
            return None
        before_s = self._pressed_s.get(pad, float("-inf"))
        self._pressed_s[pad] = now_s
        return pad if now_s - before_s > BOUNCE_S else None
