"""Which of a sender's numbers are the decks' positions: a draft of its map. Pure."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from liveaid.errors import LiveaidError
from liveaid.stage.learn_streams import NEAR, WINDOW_S, Stream, steady_rate, streams_of, wraps
from liveaid.stage.learn_unit import sends_of, unit_of, unit_words
from liveaid.stage.osc_packet import OscMessage

_ORDERS = (("left", "right"), ("l", "r"), ("a", "b"), ("0", "1"), ("1", "2"))


class NothingLearned(LiveaidError):
    """No position was found among what was heard, or only one deck's."""


@dataclass(frozen=True, slots=True)
class Learned:
    """A draft of a sender's map: the tree of the file, and what it rests on."""

    tree: dict[str, object]
    notes: tuple[str, ...]


def learn_map(heard: Iterable[tuple[float, OscMessage]]) -> Learned:
    """The map of a sender from (monotonic second, message) pairs in the order of arrival.

    The left record is to be turned first, at pitch 0; then the right; one of them stopped once.
    NothingLearned when no two decks' positions are among the numbers.
    """
    streams = streams_of(heard)
    moving = [(stream, rate) for stream in streams if (rate := steady_rate(stream)) is not None]
    positions = [(stream, rate) for stream, rate in moving if not wraps(stream)]
    if not positions:
        raise NothingLearned(_nothing(streams, [stream for stream, _ in moving]))
    left, right = _decks(positions)
    rate = statistics.median(rate for stream, rate in positions if stream in (left, right))
    unit = unit_of(rate, [*left.values, *right.values])
    sends, why = sends_of([left, right])
    notes = [
        f"{left.name} and {right.name} grow by {rate:.6g} a second: {unit_words(unit)}",
        *([unit.doubt] if unit.doubt else []),
        why,
    ]
    address, names = _deck_names(left, right)
    position: dict[str, object] = {"address": address, **_places(left), **unit.fields}
    tree: dict[str, object] = {"title": "Learned", "sends": sends, "decks": names}
    tree["position"] = position
    speed = _speed(streams, left, right, unit.nominal)
    if speed is not None:
        speed_address, _ = _deck_names(*speed)
        tree["speed"] = {"address": speed_address, **_places(speed[0])}
        notes.append(f"{speed[0].name} follows the record's speed, 1 being nominal")
    notes += _left_over(streams, [left, right, *(speed or ())])
    return Learned(tree, tuple(notes))


def _decks(positions: Sequence[tuple[Stream, float]]) -> tuple[Stream, Stream]:
    """The two decks: streams alike in place and rate; left by its name, else the first to move."""
    for first, rate in positions:
        alike = [
            stream
            for stream, other in positions
            if stream.argument == first.argument
            and abs(math.log(other / rate)) < NEAR
            and _shape(stream, first) is not None
        ]
        if alike:
            return _in_order(first, min(alike, key=_started_s))
    name = positions[0][0].name
    raise NothingLearned(
        f"only one deck's position was heard ({name}); turning both records would do"
    )


def _in_order(one: Stream, other: Stream) -> tuple[Stream, Stream]:
    shape = _shape(one, other)
    assert shape is not None
    names = (shape[1].lower(), shape[2].lower())
    if names in _ORDERS:
        return one, other
    if names[::-1] in _ORDERS:
        return other, one
    return (one, other) if _started_s(one) <= _started_s(other) else (other, one)


def _started_s(stream: Stream) -> float:
    """When the number first grew."""
    return next((when for when, rate in stream.rates() if rate > 0), math.inf)


def _shape(one: Stream, other: Stream) -> tuple[str, str, str] | None:
    """(address with {deck}, name of one, name of other) when only the deck's name differs."""
    if one is other:
        return None
    if one.deck_argument is not None:
        same = one.address == other.address and one.deck != other.deck
        return (one.address, str(one.deck), str(other.deck)) if same else None
    parts, others = one.address.split("/"), other.address.split("/")
    if len(parts) != len(others):
        return None
    differing = [index for index, part in enumerate(parts) if part != others[index]]
    if len(differing) != 1:
        return None
    index = differing[0]
    start, end = _common(parts[index], others[index])
    names = [part[start : len(part) - end] for part in (parts[index], others[index])]
    tail = parts[index][len(parts[index]) - end :]
    parts[index] = parts[index][:start] + "{deck}" + tail
    return "/".join(parts), names[0], names[1]


def _common(a: str, b: str) -> tuple[int, int]:
    """How many letters two words share in front and, from a joint such as `_` on, behind."""
    shorter = min(len(a), len(b))
    start = next((at for at in range(shorter) if a[at] != b[at]), shorter)
    start = min(start, shorter - 1)
    end = 0
    for length in range(1, shorter - start):
        if a[-length:] != b[-length:]:
            break
        if not a[-length].isalnum():
            end = length
    return start, end


def _deck_names(left: Stream, right: Stream) -> tuple[str, dict[str, str]]:
    shape = _shape(left, right)
    assert shape is not None
    return shape[0], {"left": shape[1], "right": shape[2]}


def _places(stream: Stream) -> dict[str, object]:
    places: dict[str, object] = {"argument": stream.argument}
    if stream.deck_argument is not None:
        places["deck_argument"] = stream.deck_argument
    return places


def _speed(
    streams: Sequence[Stream], left: Stream, right: Stream, nominal: float
) -> tuple[Stream, Stream] | None:
    """The two streams that follow the records' speeds, starts and stops included."""
    wanted = tuple(_deck_names(left, right)[1].values())
    for one in streams:
        if one in (left, right):
            continue
        for other in streams:
            shape = _shape(one, other)
            if shape is None or one.argument != other.argument or shape[1:] != wanted:
                continue
            if _follows(one, left, nominal) and _follows(other, right, nominal):
                return one, other
    return None


def _follows(speed: Stream, position: Stream, nominal: float) -> bool:
    """Whether one stream is the other's rate of change over nominal; it must have varied."""
    rates = [(when, rate / nominal) for when, rate in position.rates()]
    if len(rates) < 4 or max(r for _, r in rates) - min(r for _, r in rates) < 0.5:
        return False
    errors = []
    for when, ratio in rates:
        near = [
            value
            for at, value in zip(speed.times_s, speed.values, strict=True)
            if abs(at - when) <= WINDOW_S / 2
        ]
        if near:
            errors.append(abs(statistics.fmean(near) - ratio))
    return len(errors) >= 4 and statistics.median(errors) < 0.1 and _quantile(errors, 0.8) < 0.3


def _quantile(values: Sequence[float], part: float) -> float:
    return sorted(values)[int(part * (len(values) - 1))]


def _left_over(streams: Sequence[Stream], used: Sequence[Stream]) -> list[str]:
    """A line for each number that found no place in the map."""
    return [
        f"not used: {stream.name}, from {min(stream.values):g} to {max(stream.values):g}"
        + (" (falls back again and again: an angle?)" if wraps(stream) else "")
        for stream in streams
        if not any(stream is taken for taken in used)
    ][:40]


def _nothing(streams: Sequence[Stream], wrapping: Sequence[Stream]) -> str:
    if not streams:
        return "no numbers were heard; is the sender on, and sending to this address?"
    if wrapping:
        return (
            f"{wrapping[0].name} falls back each turn: an angle, which does not say where in the "
            "file the record is; a sender that gives positions would do"
        )
    names = ", ".join(stream.name for stream in streams[:8])
    return f"none of the numbers heard grew steadily ({names}); turning both records would do"
