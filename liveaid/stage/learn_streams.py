"""What a sender sent, as streams of numbers, and which of them grow steadily. Pure."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from liveaid.stage.osc_packet import Argument, OscMessage

WINDOW_S = 0.4
"""Speed is taken over this long: arrival jitter of 20 ms is then 5 %."""
NEAR = 0.12
"""How far from nominal a record may turn while learning: a pitch fader at 8 %, and some."""


@dataclass(slots=True)
class Stream:
    """One number of one address (and, where an argument names the deck, of one deck)."""

    address: str
    argument: int
    deck_argument: int | None = None
    deck: str | None = None
    times_s: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)

    def rates(self) -> list[tuple[float, float]]:
        """(middle of the window, change a second) over windows of WINDOW_S, end to end."""
        found, start = [], 0
        for end in range(1, len(self.times_s)):
            seconds = self.times_s[end] - self.times_s[start]
            if seconds > 3 * WINDOW_S:
                start = end  # a gap: nothing is known of what happened in it
            elif seconds >= WINDOW_S:
                change = self.values[end] - self.values[start]
                found.append((self.times_s[start] + seconds / 2, change / seconds))
                start = end
        return found

    @property
    def name(self) -> str:
        """How the stream is called in notes."""
        deck = "" if self.deck is None else f", deck {self.deck}"
        return f"{self.address} argument {self.argument}{deck}"


def streams_of(heard: Iterable[tuple[float, OscMessage]]) -> list[Stream]:
    """Every number that was sent, by address and place, apart by deck where an argument says."""
    by_address: dict[str, list[tuple[float, tuple[Argument, ...]]]] = defaultdict(list)
    for now_s, message in heard:
        by_address[message.address].append((now_s, message.arguments))
    found = []
    for address, sent in by_address.items():
        naming = _naming_argument([arguments for _, arguments in sent])
        found += _streams_at(address, sent, naming)
    return found


def _streams_at(
    address: str, sent: Sequence[tuple[float, tuple[Argument, ...]]], naming: int | None
) -> list[Stream]:
    streams: dict[tuple[int, str | None], Stream] = {}
    for now_s, arguments in sent:
        deck = None
        if naming is not None:
            deck = _name(arguments[naming])
        for index, value in enumerate(arguments):
            if index == naming or isinstance(value, bool) or not isinstance(value, int | float):
                continue
            if math.isfinite(value):
                stream = streams.setdefault((index, deck), Stream(address, index, naming, deck))
                stream.times_s.append(now_s)
                stream.values.append(float(value))
    return list(streams.values())


def _naming_argument(sent: Sequence[tuple[Argument, ...]]) -> int | None:
    """The argument that names the deck: a few values, to and fro, beside something that changes."""
    shortest = min(len(arguments) for arguments in sent)
    if shortest < 2:
        return None
    for index in range(shortest):
        names = [_name(arguments[index]) for arguments in sent]
        known = set(names)
        turns = sum(a != b for a, b in pairwise(names))
        if None not in known and 2 <= len(known) <= 8 and turns >= 3 * len(known):
            return index
    return None


def _name(argument: Argument) -> str | None:
    if isinstance(argument, float):
        return str(int(argument)) if argument.is_integer() else None
    return str(argument) if isinstance(argument, int | str) else None


def steady_rate(stream: Stream) -> float | None:
    """Change a second of a number that grows steadily while its record turns; None for others.

    Steady: most of the windows in which it grows agree with their median within NEAR.
    """
    growing = [rate for _, rate in stream.rates() if rate > 0]
    if len(growing) < 4:
        return None
    middle = statistics.median(growing)
    agreeing = [rate for rate in growing if abs(rate / middle - 1) < NEAR]
    return statistics.median(agreeing) if len(agreeing) >= 0.6 * len(growing) else None


def wraps(stream: Stream) -> bool:
    """Whether it falls back again and again from one height: an angle, not a position."""
    span = max(stream.values) - min(stream.values)
    falls = [before - after for before, after in pairwise(stream.values)]
    return sum(fall > 0.8 * span for fall in falls) >= 2
