"""A controller's layout, learned by pressing its pads: what is asked, sent, and made of it. Pure.

Pad by pad a lamp or a word is asked for; the pad pressed is lit, so that it shows what it was taken
for. With the first one it is learned how lamps are lit and put out: the performer says yes (`y`, or
the same pad again) or no (`n`, or any other pad).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from liveaid.errors import LiveaidError
from liveaid.stage.lamp_layout import Send, lamp_message
from liveaid.stage.pads import Pad
from liveaid.stage.words import WORDS

SINGLE = (
    "next_left", "ready_left", "next_right", "ready_right", "following", "unsure", "silent",
    "heard_left", "heard_right", "before", "over", "last", "limit", "alive",
)  # fmt: skip
"""The lamps asked for after the rows, in this order."""
ON = 127
DIMS = (16, 32, 64, 1)
"""Levels tried for dim, the likeliest first (common practice, no source)."""
_SAY = "y or the pad itself: yes; n or another pad: no"
_QUESTIONS = {
    "light": f"Is it lit? ({_SAY})",
    "dark": f"Is it dark now? ({_SAY})",
    "dim": f"Is it lit, and dimmer than before? ({_SAY})",
}
Trying = Literal["light", "dark", "dim"]
"""What is found out with the first pad's lamp."""


def wanted_lamps(bars: int, beats: int, winds: int = 0) -> list[str]:
    """What is asked for, pad by pad."""
    rows = {"bars": bars, "beats": beats, "wind_left": winds, "wind_right": winds}
    return [*(f"{row}.{index}" for row, count in rows.items() for index in range(count)), *SINGLE]


def wanted_words() -> list[str]:
    """And the words."""
    return [f"word {word}" for word in WORDS]


@dataclass(slots=True)
class LampLevels:
    """How lamps are lit, as far as it is learned."""

    send: Send | None = None
    dim: int = 32
    off_by: Literal["level", "note-off"] = "level"


@dataclass(slots=True)
class Lesson:
    """One controller's lesson. `lights`: its lamps can be reached."""

    wanted: Sequence[str]
    lights: bool = False
    pads: dict[str, Pad] = field(default_factory=dict)
    levels: LampLevels = field(default_factory=LampLevels)
    _at: int = 0
    _trying: Trying | None = None
    _trial: int = 0
    _to_send: list[bytes] = field(default_factory=list)
    says: str = ""
    """What came of the last press or answer."""

    @property
    def done(self) -> bool:
        """Nothing more is asked."""
        return self._at >= len(self.wanted)

    @property
    def asks(self) -> str:
        """What the performer is to do now."""
        if self.done:
            return "That is all."
        if self._trying is not None:
            return _QUESTIONS[self._trying]
        return f"Press the pad for {self.wanted[self._at]}."

    def sends(self) -> list[bytes]:
        """What is to be sent to the controller now; each once."""
        sending, self._to_send = self._to_send, []
        return sending

    def press(self, pad: Pad) -> None:
        """A pad was pressed."""
        if self.done:
            return
        if self._trying is not None:
            self.answer("y" if pad == self._first else "n")
            return
        lamp = self.wanted[self._at]
        taken = [other for other in self._alike(lamp) if self.pads[other] == pad]
        if taken:
            self.says = f"That one is {taken[0]} already."
            return
        self.pads[lamp] = pad
        self.says = f"{lamp} is {pad.send} {pad.number}."
        if self.lights and len(self.pads) == 1:
            self._try("light")
            return
        self._show(pad)
        self._at += 1

    def answer(self, text: str) -> None:
        """`y`, `n`, `s` skip, `b` back."""
        word = text.strip().lower()[:1]
        if word == "b":
            self._back()
        elif word == "s":
            self._skip()
        elif self._trying is not None and word in ("y", "n"):
            self._judge(yes=word == "y")

    def layout(self) -> dict[str, object]:
        """The tree of the layout. LiveaidError when no pad was pressed, or pads speak in two ways.

        The commonest channel is the layout's.
        """
        return draft(self.pads, self.levels)

    @property
    def _first(self) -> Pad:
        return next(iter(self.pads.values()))

    def _alike(self, lamp: str) -> list[str]:
        words = lamp.startswith("word ")
        return [other for other in self.pads if other.startswith("word ") == words]

    def _skip(self) -> None:
        self._trying = None
        if not self.done:
            self.says = f"{self.wanted[self._at]} is left out."
            self._at += 1

    def _back(self) -> None:
        """One step back: what was last taken, or left out, is asked for again."""
        self._trying = None
        if self._at > 0:
            self._at -= 1
        pad = self.pads.pop(self.wanted[self._at], None)
        if pad is not None and self.levels.send:
            self._to_send.append(self._message(pad, 0))
        self.says = f"Back to {self.wanted[self._at]}."

    def _try(self, trying: Trying, trial: int = 0) -> None:
        """Ask whether the first pad's lamp does what was just sent."""
        pad, self._trying, self._trial = self._first, trying, trial
        if trying == "light":
            self.levels = LampLevels(send=_ways(pad)[trial])
            self._to_send.append(self._message(pad, ON))
        elif trying == "dark":
            self.levels.off_by = "note-off" if trial else "level"
            self._to_send.append(self._message(pad, 0))
        else:
            self.levels.dim = DIMS[trial]
            self._to_send += [self._message(pad, ON), self._message(pad, DIMS[trial])]

    def _judge(self, *, yes: bool) -> None:
        """Go on to what is found out next, or try the next way."""
        after = self._trial + 1
        if self._trying == "light" and yes:
            self._try("dark")
        elif self._trying == "light" and after < len(_ways(self._first)):
            self._try("light", after)
        elif self._trying == "light":
            self.levels, self.lights = LampLevels(), False
            self.says = "Its lamps cannot be lit this way; the layout says the commonest."
            self._first_learned()
        elif self._trying == "dark" and not yes and after == 1 and self.levels.send == "note":
            self._try("dark", after)
        elif self._trying == "dark":
            self._try("dim")
        elif yes or after == len(DIMS):
            self.levels.dim = DIMS[self._trial] if yes else ON
            self._show(self._first)
            self._first_learned()
        else:
            self._try("dim", after)

    def _first_learned(self) -> None:
        """Nothing more is found out with the first pad."""
        self._trying = None
        self._at += 1

    def _show(self, pad: Pad) -> None:
        if self.levels.send:
            self._to_send.append(self._message(pad, ON))

    def _message(self, pad: Pad, level: int) -> bytes:
        note_off = level == 0 and self.levels.off_by == "note-off"
        return lamp_message(
            self.levels.send or "note", pad.channel, pad.number, level, note_off=note_off
        )


def _ways(pad: Pad) -> tuple[Send, Send]:
    """How its lamp may be lit: as it speaks itself, or the other way."""
    return ("control", "note") if pad.send == "control" else ("note", "control")


def draft(pads: dict[str, Pad], levels: LampLevels) -> dict[str, object]:
    """The tree of a layout, from the pad taken for each lamp and word."""
    if not pads:
        raise LiveaidError("no pad was heard; is it the right port?")
    ways = {pad.send for pad in pads.values()}
    if len(ways) > 1:
        raise LiveaidError(
            "some pads send notes and some control changes; pads of one kind would do"
        )
    channels = [pad.channel for pad in pads.values()]
    channel = max(set(channels), key=channels.count)
    lamps: dict[str, object] = {}
    words: dict[str, object] = {}
    for name, pad in pads.items():
        own = pad.channel != channel
        place: object = {"number": pad.number, "channel": pad.channel} if own else pad.number
        row, _, index = name.partition(".")
        if name.startswith("word "):
            words[name.removeprefix("word ")] = place
        elif index:
            listed = lamps.setdefault(row, [])
            assert isinstance(listed, list)
            listed.append(place)
        else:
            lamps[name] = place
    send = ways.pop()
    tree: dict[str, object] = {"title": "Learned", "send": levels.send or send, "channel": channel}
    if levels.send:
        tree["levels"] = {"off": 0, "dim": levels.dim, "on": ON}
        tree["off_by"] = levels.off_by
    tree["lamps"] = lamps
    if words:
        tree["pads"] = {"send": send, "words": words}
    return tree
