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

Send = Literal["note", "control"]


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
    _trial: int = -1
    _question: str = ""
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
        return self._question or f"Press the pad for {self.wanted[self._at]}."

    def sends(self) -> list[bytes]:
        """What is to be sent to the controller now; each once."""
        sending, self._to_send = self._to_send, []
        return sending

    def press(self, pad: Pad) -> None:
        """A pad was pressed."""
        if self.done:
            return
        if self._question:
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
            self._try("light", 0)
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
        elif self._question and word in ("y", "n"):
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
        if self._question:
            self._question = ""
        if not self.done:
            self.says = f"{self.wanted[self._at]} is left out."
            self._at += 1

    def _back(self) -> None:
        """One step back: what was last taken, or left out, is asked for again."""
        self._question = ""
        if self._at > 0:
            self._at -= 1
        pad = self.pads.pop(self.wanted[self._at], None)
        if pad is not None and self.levels.send:
            self._to_send.append(self._message(pad, 0))
        self.says = f"Back to {self.wanted[self._at]}."

    def _try(self, what: str, trial: int) -> None:
        """Ask whether the first pad's lamp does what was just sent."""
        pad, self._trial = self._first, trial
        if what == "light":
            ways: tuple[Send, ...] = ("note", "control")
            if pad.send == "control":
                ways = ("control", "note")
            if trial >= len(ways):
                self._no_light()
                return
            self.levels.send = ways[trial]
            self._to_send.append(self._message(pad, ON))
            self._question = f"Is it lit? ({_SAY})"
        elif what == "dark":
            self.levels.off_by = "note-off" if trial else "level"
            self._to_send.append(self._message(pad, 0))
            self._question = f"Is it dark now? ({_SAY})"
        else:
            self.levels.dim = DIMS[trial]
            self._to_send += [self._message(pad, ON), self._message(pad, DIMS[trial])]
            self._question = f"Is it lit, and dimmer than before? ({_SAY})"

    def _judge(self, *, yes: bool) -> None:
        trial = self._trial
        if self._question.startswith("Is it lit?"):
            self._try(*(("dark", 0) if yes else ("light", trial + 1)))
        elif self._question.startswith("Is it dark"):
            more = not yes and trial == 0 and self.levels.send == "note"
            self._try(*(("dark", 1) if more else ("dim", 0)))
        elif yes or trial + 1 >= len(DIMS):
            self.levels.dim = DIMS[trial] if yes else ON
            self._question = ""
            self._show(self._first)
            self._at += 1
        else:
            self._try("dim", trial + 1)

    def _no_light(self) -> None:
        self.levels, self.lights, self._question = LampLevels(), False, ""
        self.says = "Its lamps cannot be lit this way; the layout says the commonest."
        self._at += 1

    def _show(self, pad: Pad) -> None:
        if self.lights and self.levels.send:
            self._to_send.append(self._message(pad, ON))

    def _message(self, pad: Pad, level: int) -> bytes:
        """Note-on 0x9n, note-off 0x8n, control change 0xBn (MIDI 1.0, table 1)."""
        kind = 0xB0 if self.levels.send == "control" else 0x90
        if level == 0 and self.levels.off_by == "note-off":
            kind = 0x80
        return bytes((kind | pad.channel - 1, pad.number, level))


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
