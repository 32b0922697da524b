"""How a controller's lamps are lit, how its pads speak, and what each means.

From `configs/lamps-*.yaml`.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from liveaid.routine.config_file import ConfigRecord, fault
from liveaid.stage.pads import Pad
from liveaid.stage.words import Word

Level: TypeAlias = Literal["off", "dim", "on"]
Send: TypeAlias = Literal["note", "control"]
"""How a pad speaks, or a lamp is lit: by notes, or by control changes."""
Lamp: TypeAlias = str
"""What a lamp shows, with its place in a row from 0: `bars.0`, `beats.3`, `ready_left`."""

Data = Annotated[int, Field(ge=0, le=127)]
"""A MIDI data byte: 0 to 127 (MIDI 1.0, "Data Bytes")."""


class Levels(ConfigRecord):
    """What is sent to light a lamp: a note's velocity, or a controller's value."""

    off: Data = 0
    dim: Data = 32
    on: Data = 127


class LampPlace(ConfigRecord):
    """One lamp: its note or controller number, and what differs from the layout's own settings."""

    number: Data
    channel: Annotated[int, Field(ge=1, le=16)] | None = None
    off: Data | None = None
    dim: Data | None = None
    on: Data | None = None


def _place(written: Any) -> Any:
    """A bare number is a lamp that differs in nothing."""
    return written if isinstance(written, dict | LampPlace) else {"number": written}


OneLamp = Annotated[LampPlace, BeforeValidator(_place)]
Row = Annotated[tuple[OneLamp, ...], Field(max_length=128)]


class Lamps(ConfigRecord):
    """Which lamp shows what; what is left out is not shown."""

    bars: Row = ()
    """Bars left, the last bar first: the row goes out towards its first lamp."""
    beats: Row = ()
    """The beat of the bar: one lamp a beat, one lit at a time."""
    pulse: OneLamp | None = None
    """Bright on odd beats, dim on even ones: for controllers with no lamps to spare."""
    next_left: OneLamp | None = None
    """The left deck has the next cue."""
    next_right: OneLamp | None = None
    ready_left: OneLamp | None = None
    """The left record stands at its cue."""
    ready_right: OneLamp | None = None
    heard_left: OneLamp | None = None
    """The left deck has said something just now; dark when its signal is lost."""
    heard_right: OneLamp | None = None
    following: OneLamp | None = None
    unsure: OneLamp | None = None
    silent: OneLamp | None = None
    before: OneLamp | None = None
    """Records are heard, and not let go yet."""
    over: OneLamp | None = None
    """The routine is over."""
    state: OneLamp | None = None
    """For controllers with no lamps to spare: on following, dim by the clock, off anything else
    (which the bars' row then tells). Left out with the five before it, that row tells all."""
    last: OneLamp | None = None
    """Dim in the last bar but one of a set piece, on in the last."""
    limit: OneLamp | None = None
    """Dim when the time limit is near, on when it is passed."""
    alive: OneLamp | None = None
    """Changes once a second for as long as liveaid runs; still when it does not. Without a lamp for
    the limit it goes out in between when that is passed, and is dim in between near it."""
    wind_left: Row = ()
    """How far the left record is from its cue, by length; from the first lamp on forwards, from the
    last one on back; all of them: the needle has to be lifted. Without `ready_left` the middle one
    alone says it, of two both dim."""
    wind_right: Row = ()

    @property
    def told_by_bars(self) -> bool:
        """Whether the row of bars has to tell the state: no lamp of its own does."""
        states = (self.following, self.unsure, self.silent, self.state)
        return len(self.bars) >= 3 and all(lamp is None for lamp in states)

    @cached_property
    def places(self) -> dict[Lamp, LampPlace]:
        """Every lamp of the layout by its name."""
        found: dict[Lamp, LampPlace] = {}
        for name in type(self).model_fields:
            value = getattr(self, name)
            if isinstance(value, tuple):
                found |= {f"{name}.{index}": place for index, place in enumerate(value)}
            elif value is not None:
                found[name] = value
        return found


def _row(written: Any) -> Any:
    """One pad is a row of one."""
    return written if isinstance(written, list | tuple) else (written,)


class Pads(ConfigRecord):
    """Which pad says which word, and how pads speak."""

    send: Send | None = None
    """Left out: as the lamps are lit."""
    channel: Annotated[int, Field(ge=1, le=16)] | None = None
    words: dict[Word, Annotated[Row, BeforeValidator(_row)]] = Field(default_factory=dict)
    pieces: Row = ()
    """Pads that say `here` of a set piece each: the first pad of the first set piece."""


class LampLayout(ConfigRecord):
    """A controller's lamps, as written in the file."""

    title: str = ""
    send: Send = "note"
    """Lamps are lit by note-on messages, or by control changes."""
    channel: Annotated[int, Field(ge=1, le=16)] = 1
    levels: Levels = Levels()
    off_by: Literal["level", "note-off"] = "level"
    """A lamp goes out by its `off` level (note-on with velocity 0), or by a note-off message."""
    most_per_s: Annotated[int, Field(ge=10, le=3000)] = 500
    """Messages a second the controller can take (a MIDI cable carries some 1000 notes a second)."""
    lamps: Lamps
    pads: Pads = Pads()

    @model_validator(mode="after")
    def _judge(self) -> LampLayout:
        if self.off_by == "note-off" and self.send == "control":
            raise fault("off_by", "level would do: a control change has no note-off")
        taken: dict[tuple[int, int], Lamp] = {}
        for lamp, place in self.lamps.places.items():
            key = (place.channel or self.channel, place.number)
            if key in taken:
                name, _, index = lamp.partition(".")
                path = ("lamps", name, *((int(index),) if index else ()))
                raise fault(path, f"a number of its own would do: {taken[key]} has this one")
            taken[key] = lamp
        self._judge_pads()
        return self

    def _judge_pads(self) -> None:
        taken: dict[tuple[int, int], str] = {}
        for path, pad in self._pads_written():
            key = (self._pad_channel(pad), pad.number)
            if key in taken:
                raise fault(path, f"a number of its own would do: {taken[key]} has this one")
            taken[key] = str(path[2])

    def _pads_written(self) -> Iterator[tuple[tuple[str | int, ...], LampPlace]]:
        for word, row in self.pads.words.items():
            yield from ((("pads", "words", word), pad) for pad in row)
        for index, pad in enumerate(self.pads.pieces):
            yield ("pads", "pieces", index), pad

    def _pad_channel(self, pad: LampPlace) -> int:
        return pad.channel or self.pads.channel or self.channel

    def pad_words(self) -> dict[Pad, tuple[Word, int | None]]:
        """What each pad says: a word, and for the pads of set pieces which one, from 0."""
        send = self.pads.send or self.send
        found: dict[Pad, tuple[Word, int | None]] = {}
        for word, row in self.pads.words.items():
            found |= {Pad(send, self._pad_channel(pad), pad.number): (word, None) for pad in row}
        for index, pad in enumerate(self.pads.pieces):
            found[Pad(send, self._pad_channel(pad), pad.number)] = ("here", index)
        return found

    def message(self, lamp: Lamp, level: Level) -> bytes:
        """The three MIDI bytes that bring one lamp to one level."""
        place = self.lamps.places[lamp]
        own: int | None = getattr(place, level)
        value: int = getattr(self.levels, level) if own is None else own
        note_off = level == "off" and self.off_by == "note-off"
        return lamp_message(
            self.send, place.channel or self.channel, place.number, value, note_off=note_off
        )


def lamp_message(send: Send, channel: int, number: int, value: int, *, note_off: bool) -> bytes:
    """Note-on 0x9n, note-off 0x8n, control change 0xBn, n the channel from 0 (MIDI 1.0, table 1).

    `channel` from 1.
    """
    kind = 0xB0 if send == "control" else 0x80 if note_off else 0x90
    return bytes((kind | channel - 1, number, value))


NO_LAMPS = LampLayout(lamps=Lamps())
"""Without a controller nothing is lit."""


def message_table(layout: LampLayout) -> dict[tuple[Lamp, Level], bytes]:
    """All messages of a layout, made once."""
    levels: tuple[Level, ...] = ("off", "dim", "on")
    return {
        (lamp, level): layout.message(lamp, level)
        for lamp in layout.lamps.places
        for level in levels
    }
