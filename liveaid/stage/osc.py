"""What a datagram tells of the decks, by a sender's map; and, counted by reason, what is no use.

Nothing a stranger sends raises here, costs more than its length, or reaches the follower unless it
is a finite number within the range of what it claims to be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from liveaid.routine import Side
from liveaid.stage.osc_map import RANGES, Meaning, Table, What
from liveaid.stage.osc_packet import Argument, OscMessage, Refused, read_packet
from liveaid.stage.words import WORD_ADDRESS

REASONS: Final = (
    "too large",
    "not OSC",
    "cut short or garbled",
    "nested too deep",
    "too many messages",
    "too many arguments",
    "unknown type",
    "wildcard in address",
    "unknown address",
    "unknown deck",
    "argument missing",
    "not a number",
    "not finite",
    "out of range",
    "too late",
    "no such word",
)
"""Every reason a datagram, or one of its messages, is not used. `too late`: it lay in the socket's
queue for longer than a moment, so what it says is no longer so."""

_WILDCARDS: Final = frozenset("?*[]{}")  # OSC 1.0, "OSC Message Dispatching and Pattern Matching"


@dataclass(frozen=True, slots=True)
class Heard:
    """One thing a sender told, after its OSC map."""

    what: What
    side: Side | None
    """None for the crossfader."""
    value: float
    """position: deck-file seconds, below 0 before the file starts; speed: 1.0 nominal; pitch: per
    cent; crossfader: 0 left to 1 right; level: 0 to 1. Finite and within osc_map.RANGES."""
    now_s: float
    """Monotonic seconds at arrival, never the sender's time tag."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one datagram said, in its order, and why what it said was refused."""

    heard: tuple[Heard, ...] = ()
    refused: tuple[str, ...] = ()
    words: tuple[tuple[object, object], ...] = ()
    """(word, set piece from 0 or None) as sent to words.WORD_ADDRESS; not looked at yet."""


def read_positions(data: bytes, table: Table, now: float) -> Reading:
    """What a datagram tells of the decks at monotonic second `now`. Never raises."""
    heard: list[Heard] = []
    refused: list[str] = []
    words: list[tuple[object, object]] = []
    try:
        messages = read_packet(data)
    except Refused as error:
        return Reading(refused=(error.reason,))
    for message in messages:
        meanings = table.meanings.get(message.address)
        if meanings is None and message.address == WORD_ADDRESS:
            words.append(_word(message.arguments))
            continue
        if meanings is None:
            refused.append(_why_unknown(message.address, table))
            continue
        for meaning in meanings:
            try:
                heard.append(_heard(message, meaning, now))
            except Refused as error:
                refused.append(error.reason)
    return Reading(tuple(heard), tuple(refused), tuple(words))


def _word(arguments: tuple[Argument, ...]) -> tuple[object, object]:
    """A word and the set piece it names: musicians count from 1, we from 0."""
    word = arguments[0] if arguments else None
    piece = arguments[1] if len(arguments) > 1 else None
    if isinstance(piece, float) and piece.is_integer():
        piece = int(piece)
    return word, piece - 1 if type(piece) is int else piece


def _heard(message: OscMessage, meaning: Meaning, now: float) -> Heard:
    side = _side(message.arguments, meaning)
    sent = _number(_argument(message.arguments, meaning.argument))
    value = sent * meaning.factor[side] + meaning.offset
    low, high = RANGES[meaning.what]
    if not low <= value <= high:
        raise Refused("out of range" if math.isfinite(sent) else "not finite")
    if high < 2:
        value = min(max(value, 0.0), 1.0)
    return Heard(meaning.what, side, value, now)


def _side(arguments: tuple[Argument, ...], meaning: Meaning) -> Side | None:
    if meaning.deck_argument is None:
        return meaning.side
    name = _argument(arguments, meaning.deck_argument)
    if isinstance(name, float) and name.is_integer():
        name = int(name)
    side = meaning.names.get(str(name))
    if side is None:
        raise Refused("unknown deck")
    return side


def _argument(arguments: tuple[Argument, ...], index: int) -> Argument:
    if index >= len(arguments):
        raise Refused("argument missing")
    return arguments[index]


def _number(argument: Argument) -> float:
    if isinstance(argument, bool) or not isinstance(argument, int | float):
        raise Refused("not a number")
    if not math.isfinite(argument):
        raise Refused("not finite")
    return float(argument)


def _why_unknown(address: str, table: Table) -> str:
    if not _WILDCARDS.isdisjoint(address):
        return "wildcard in address"
    for before, after in table.deck_shapes:
        between = len(address) - len(before) - len(after)
        if between > 0 and address.startswith(before) and address.endswith(after):
            return "unknown deck"
    return "unknown address"
