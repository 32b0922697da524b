"""How one sender writes what its decks do: addresses, arguments, units. From `configs/osc-*.yaml`.

`OscMap` is the file; `Table` is what the map comes to for one routine: for each exact address, what
each argument means and the factor and offset that make it seconds of the deck file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal, TypeAlias

from pydantic import Field, model_validator

from liveaid.errors import LiveaidError
from liveaid.record.platter import LP_RPM, turn_s
from liveaid.routine import SIDES, Side
from liveaid.routine.config_file import ConfigRecord, fault

What: TypeAlias = Literal["position", "speed", "pitch", "crossfader", "level"]
Unit: TypeAlias = Literal["seconds", "milliseconds", "samples", "fraction", "turns"]

RANGES: dict[What, tuple[float, float]] = {
    "position": (-3600.0, 86400.0),
    "speed": (-100.0, 100.0),
    "pitch": (-100.0, 1000.0),
    "crossfader": (-0.01, 1.01),
    "level": (-0.01, 1.01),
}
"""What each value may be once it is in our unit: seconds of deck file, ratio, per cent, 0 to 1."""

Address = Annotated[str, Field(max_length=200)]
Count = Annotated[int, Field(ge=0, lt=64)]


class Value(ConfigRecord):
    """Where one value stands in the sender's messages. `{deck}` in the address, or an argument."""

    address: Address
    argument: Count = 0
    """Which argument, from 0."""
    deck_argument: Count | None = None
    """Which argument names the deck, where the address does not."""
    scale: float = 1.0
    """What the sent number is multiplied by, before its unit is taken into account."""
    offset: float = 0.0
    """Added after that: for a position, seconds of the deck file."""

    @model_validator(mode="after")
    def _judge(self) -> Value:
        if self.scale == 0:
            raise fault("scale", "a factor that is not 0 would do")
        if self.deck_argument == self.argument:
            raise fault("deck_argument", "another argument than the value's would do")
        plain = self.address.replace("{deck}", "", 1)
        if not plain.startswith("/") or not set(" #*,?[]{}").isdisjoint(plain):
            raise fault("address", "an address such as /deck/{deck}/position would do")
        return self


class Position(Value):
    """Where the record is: the one value a sender must give."""

    unit: Unit = "seconds"
    sample_rate: Annotated[float, Field(gt=0, le=1e6)] | None = None
    """Samples a second, for the unit samples."""
    file_s: Annotated[float, Field(gt=0, le=86400)] | None = None
    """Length of the deck file, for the unit fraction; left out: read from the deck file."""
    rpm: Annotated[float, Field(ge=16, le=100)] | None = None
    """Turns a minute, for the unit turns; left out: the routine's turntable."""

    @model_validator(mode="after")
    def _needs(self) -> Position:
        if self.unit == "samples" and self.sample_rate is None:
            raise fault("sample_rate", "samples a second, such as 44100, would do")
        return self


class DeckNames(ConfigRecord):
    """What the sender calls the two decks."""

    left: Annotated[str, Field(min_length=1, max_length=100)] = "left"
    right: Annotated[str, Field(min_length=1, max_length=100)] = "right"

    @model_validator(mode="after")
    def _differ(self) -> DeckNames:
        if self.left == self.right:
            raise fault("right", "another name than the left deck's would do")
        return self

    def of(self, side: Side) -> str:
        """The sender's name for one side."""
        return self.left if side == "left" else self.right


class OscMap(ConfigRecord):
    """A sender's map, as written in the file."""

    title: str = ""
    sends: Literal["always", "on_change"] = "always"
    """`on_change`: a record that stands still sends nothing, and is not lost."""
    decks: DeckNames = DeckNames()
    position: Position
    speed: Value | None = None
    """1.0 is nominal."""
    pitch: Value | None = None
    """Per cent."""
    crossfader: Value | None = None
    """0 left, 1 right."""
    level: Value | None = None
    """0 silent, 1 full."""

    @model_validator(mode="after")
    def _decks_told_apart(self) -> OscMap:
        for what in ("position", "speed", "pitch", "level"):
            value: Value | None = getattr(self, what)
            if value is None:
                continue
            if ("{deck}" in value.address) == (value.deck_argument is not None):
                raise fault((what, "address"), "{deck} in it, or a deck_argument, would do")
        if self.crossfader and "{deck}" in self.crossfader.address:
            raise fault(("crossfader", "address"), "an address without {deck} would do")
        return self


DEFAULT_MAP = OscMap(
    title="liveaid's own addresses",
    position=Position(address="/deck/{deck}/position"),
    speed=Value(address="/deck/{deck}/speed"),
    pitch=Value(address="/deck/{deck}/pitch"),
    crossfader=Value(address="/mixer/crossfader"),
    level=Value(address="/mixer/{deck}/level"),
)
"""What is listened to when no map is given."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one argument of an address means."""

    what: What
    argument: int
    side: Side | None
    """The side the address names; None for the crossfader, or where an argument names it."""
    deck_argument: int | None
    names: Mapping[str, Side]
    """The sides by the names the sender gives them in that argument."""
    factor: Mapping[Side | None, float]
    """Our unit for one of the sender's, by side: two deck files may differ in length."""
    offset: float


@dataclass(frozen=True, slots=True)
class Table:
    """A map worked out: meanings by exact address, and the shapes that only lack a known deck."""

    meanings: dict[str, tuple[Meaning, ...]]
    deck_shapes: tuple[tuple[str, str], ...] = ()
    """What stands before and after `{deck}`, to tell an unknown deck from an unknown address."""


@dataclass(frozen=True, slots=True)
class DeckFacts:
    """What a map may need to know of the routine's records."""

    rpm: float = LP_RPM
    file_s: dict[Side, float] = field(default_factory=dict)
    """Seconds of each deck file, where they can be read."""


def table_for(osc_map: OscMap, facts: DeckFacts | None = None) -> Table:
    """Work a map out for one routine. LiveaidError when a deck file's length is needed but unknown.

    Position in seconds = sent * scale * (seconds per unit) + offset, the unit being a second, a
    millisecond, a sample, the whole file, or a turn of the platter (60 / rpm seconds).
    """
    facts = facts or DeckFacts()
    meanings: dict[str, list[Meaning]] = {}
    shapes: set[tuple[str, str]] = set()
    for what in RANGES:
        value: Value | None = getattr(osc_map, what)
        if value is None:
            continue
        by_argument = value.deck_argument is not None
        names: dict[str, Side] = {osc_map.decks.of(side): side for side in SIDES}
        for address, side in _addresses(value, osc_map.decks, what):
            meaning = Meaning(
                what=what,
                argument=value.argument,
                side=side,
                deck_argument=value.deck_argument,
                names=names if by_argument else {},
                factor=_factors(value, facts),
                offset=value.offset,
            )
            meanings.setdefault(address, []).append(meaning)
        before, mark, after = value.address.partition("{deck}")
        if mark:
            shapes.add((before, after))
    fixed = {address: tuple(found) for address, found in meanings.items()}
    return Table(fixed, tuple(sorted(shapes)))


def _addresses(value: Value, decks: DeckNames, what: What) -> list[tuple[str, Side | None]]:
    if what == "crossfader" or value.deck_argument is not None:
        return [(value.address, None)]
    return [(value.address.replace("{deck}", decks.of(side)), side) for side in SIDES]


def _factors(value: Value, facts: DeckFacts) -> dict[Side | None, float]:
    if not isinstance(value, Position):
        return dict.fromkeys((*SIDES, None), value.scale)
    return {side: value.scale * _unit_s(value, facts, side) for side in SIDES}


def _unit_s(position: Position, facts: DeckFacts, side: Side) -> float:
    """Seconds of deck file in one of the sender's units."""
    match position.unit:
        case "seconds":
            return 1.0
        case "milliseconds":
            return 0.001
        case "samples":
            assert position.sample_rate is not None  # the record's own check
            return 1.0 / position.sample_rate
        case "turns":
            return turn_s(position.rpm or facts.rpm)
        case "fraction":
            return _file_s(position, facts, side)


def _file_s(position: Position, facts: DeckFacts, side: Side) -> float:
    length_s = position.file_s or facts.file_s.get(side)
    if not length_s:
        raise LiveaidError(
            f"the sender's map gives positions as a fraction of the file, and the {side} deck's "
            "file is not there, or holds no sound; `position: {file_s: ...}` in the map would do"
        )
    return length_s
