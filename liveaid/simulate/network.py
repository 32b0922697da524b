"""From tracks to the messages that arrive: a sender's pace, and what the network makes of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from liveaid.routine import SIDES, Side
from liveaid.simulate.line import Array
from liveaid.simulate.track import Track

_GROOVE_MM = 100.0
"""Radius of the groove in the middle of a 12 inch side, 146 to 60 mm (IEC 60098, from memory)."""
_TURN_S = 1.8
"""A turn at 33 1/3."""


class Message(NamedTuple):
    """One deck's position as it arrives."""

    now_s: float
    """Arrival."""
    sent_s: float
    """When the position was read and sent."""
    side: Side
    position_s: float
    speed: float


@dataclass(frozen=True, slots=True)
class Dead:
    """Nothing is heard of one deck from one time to another."""

    side: Side
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """How positions are sent, and how they arrive."""

    rate_hz: float = 200.0
    """Readings a second and deck, 20 to 1000 being usual."""
    sends: Literal["always", "on_change"] = "always"
    """on_change: a reading like the last one sent is not sent."""
    delay_s: float = 0.001
    """Least time under way."""
    left_delay_s: float = 0.0
    """Of the left deck on top of it: a sender may read and send each deck in its own time."""
    right_delay_s: float = 0.0
    jitter_s: float = 0.001
    """Mean of the exponential time on top of it."""
    loss: float = 0.0
    """Share of messages that never arrive, 0 to below 1."""
    duplicates: float = 0.0
    """Share that arrive twice."""
    reorder: float = 0.0
    """Share overtaken by the next of their deck; 0 keeps each deck's order whatever the jitter."""
    off_centre_mm: float = 0.0
    """How far the record's hole is off its centre: read speed swings once a turn by this part of
    the groove's radius. IEC 60098 allows 0.2 mm (from memory)."""
    resolution_s: float = 0.0005
    """A reading is a whole multiple of this, in seconds of record."""
    dead: tuple[Dead, ...] = field(default=())

    def __post_init__(self) -> None:
        if not 0.0 < self.rate_hz <= 10000.0:
            raise ValueError(f"rate_hz: found {self.rate_hz:g}; above 0 to 10000 would do")
        least = min(self.delay_s, self.left_delay_s, self.right_delay_s, self.jitter_s)
        if min(least, self.resolution_s, self.off_centre_mm) < 0.0:
            raise ValueError(
                "delay_s, left_delay_s, right_delay_s, jitter_s, resolution_s and off_centre_mm: "
                "0 or more would do"
            )
        for name in ("loss", "duplicates", "reorder"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name}: found {getattr(self, name):g}; 0 to 1 would do")


@dataclass(frozen=True, slots=True)
class Messages:
    """Messages in the order they arrive, as columns; iterates as `Message`s."""

    now_s: Array
    sent_s: Array
    side: NDArray[np.int8]
    """0 left, 1 right."""
    position_s: Array
    speed: Array

    def __len__(self) -> int:
        return len(self.now_s)

    @property
    def columns(self) -> tuple[NDArray[Any], ...]:
        """All five, in the order of a `Message`."""
        return self.now_s, self.sent_s, self.side, self.position_s, self.speed

    def __getitem__(self, index: int) -> Message:
        return next(iter(self.where(np.array([index]))))

    def __iter__(self) -> Iterator[Message]:
        for now, sent, side, position, speed in zip(
            *(c.tolist() for c in self.columns), strict=True
        ):
            yield Message(now, sent, SIDES[side], position, speed)

    def of(self, side: Side) -> Messages:
        """One deck's messages."""
        return self.where(self.side == SIDES.index(side))

    def where(self, kept: NDArray[np.bool_] | NDArray[np.int64]) -> Messages:
        """The messages that a mask keeps, or in the order that indices list."""
        return Messages(*(column[kept] for column in self.columns))


def transmit(
    tracks: dict[Side, Track], network: Network, *, until_s: float, rng: Generator
) -> Messages:
    """What arrives of both decks between time 0 and `until_s`, in order of arrival."""
    decks = [
        _deck(index, tracks[side], network, until_s=until_s, rng=rng)
        for index, side in enumerate(SIDES)
    ]
    both = _joined(decks)
    return both.where(np.argsort(both.now_s, kind="stable"))


def _deck(
    index: int, track: Track, network: Network, *, until_s: float, rng: Generator
) -> Messages:
    read = _read(index, track, network, until_s=until_s, rng=rng)
    read = read.where(~_lost(read, index, network, rng))
    own_s = network.left_delay_s if index == 0 else network.right_delay_s
    jitter_s = network.jitter_s * rng.standard_exponential(len(read))
    now = read.sent_s + network.delay_s + own_s + jitter_s
    arrived = replace(read, now_s=_ordered(now, network.reorder, rng))
    again = arrived.where(rng.random(len(arrived)) < network.duplicates)
    later = again.now_s + 1e-4 + network.jitter_s * rng.standard_exponential(len(again))
    return _joined([arrived, replace(again, now_s=later)])


def _read(
    index: int, track: Track, network: Network, *, until_s: float, rng: Generator
) -> Messages:
    """The readings a sender takes and sends."""
    first = float(rng.uniform(0.0, 1.0 / network.rate_hz))
    times = np.arange(first, until_s, 1.0 / network.rate_hz)
    position, speed = track.position_s(times), track.speed_at(times)
    if network.off_centre_mm:
        position, speed = _swung(position, speed, network.off_centre_mm, rng)
    if network.resolution_s:
        position = np.round(position / network.resolution_s) * network.resolution_s
    side = np.full(len(times), index, dtype=np.int8)
    read = Messages(times, times, side, position, speed)
    if network.sends == "on_change":
        return read.where(np.concatenate([[True], np.diff(position) != 0.0])[: len(times)])
    return read


def _swung(
    position: Array, speed: Array, off_centre_mm: float, rng: Generator
) -> tuple[Array, Array]:
    """Position and speed as an off-centre record gives them: e / r cos over each turn of it."""
    part, turns = off_centre_mm / _GROOVE_MM, 2.0 * np.pi * position / _TURN_S
    begins = float(rng.uniform(0.0, 2.0 * np.pi))
    swung = position + part * _TURN_S / (2.0 * np.pi) * np.sin(turns + begins)
    return swung, speed * (1.0 + part * np.cos(turns + begins))


def _lost(read: Messages, index: int, network: Network, rng: Generator) -> NDArray[np.bool_]:
    lost: NDArray[np.bool_] = rng.random(len(read)) < network.loss
    for dead in network.dead:
        if SIDES.index(dead.side) == index:
            lost |= (read.sent_s >= dead.from_s) & (read.sent_s < dead.to_s)
    return lost


def _ordered(now: Array, reorder: float, rng: Generator) -> Array:
    """Arrivals in sending order, but for the share that the next message overtakes."""
    now = np.maximum.accumulate(now) if len(now) else now
    slow = np.flatnonzero(rng.random(len(now)) < reorder)
    slow = slow[slow + 1 < len(now)]
    now = now.copy()
    now[slow] = now[slow + 1] + 1e-5
    return now


def _joined(parts: Iterable[Messages]) -> Messages:
    columns = zip(*(part.columns for part in parts), strict=True)
    return Messages(*map(np.concatenate, columns))
