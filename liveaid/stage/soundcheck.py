"""Is everything there that the evening needs? A guided list, item by item. Pure, told the time.

Each item is `ok`, `missing` (with what to do), `wrong` (with what is wrong and what would do) or
`not asked for`. Ready: none is missing or wrong.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

from liveaid.follow.senders import PITCH_OFF
from liveaid.routine import SIDES, Side
from liveaid.stage.osc import Heard

Standing = Literal["ok", "missing", "wrong", "not asked for"]

SOUNDCHECK_WINDOW_S = 1.0
"""Positions looked back on for speed: long enough for a slope, short enough for a start."""
SOUNDCHECK_LEAST = 10
STEADY_PART = 0.12
"""A record at pitch 0 turns within this of nominal: the fader's 8 % and a drive's slack."""
SOUNDCHECK_STILL = 0.05
STARTED_S = 0.01
"""A record this far from where it stood has been let go: ten milliseconds at nominal speed."""
PITCH_LEAST = 1.0
"""Per cent a fader has to be moved before its sign can be told."""
STICKER_OFF_DEG = 20.0
"""A sticker this near to where it ought to be is found at a glance; common practice, no source."""
LATE_MS = 60.0
"""A delay above this is felt when beats are matched by hand; common practice, no source."""
GAP_MS = 120.0
"""Positions farther apart than this lose a scratch's turn."""
_UNITS = (
    (1000.0, "milliseconds"), (44100.0, "samples"), (48000.0, "samples"), (96000.0, "samples"),
    (1 / 1.8, "turns"),
)  # fmt: skip
"""How fast a position grows at nominal speed in other units (33 1/3: a turn lasts 1.8 s)."""


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One line of the list."""

    name: str
    standing: Standing
    says: str


@dataclass(slots=True)
class _DeckHeard:
    """What one deck said of late."""

    positions: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=2000))
    pitch: float | None = None
    found: dict[str, CheckItem] = field(default_factory=dict)
    """What was found out so far, by the item's name."""
    delay_s: list[float] = field(default_factory=list)
    started_s: float | None = None
    rest: float | None = None
    """Where the record stands; None while it moves."""

    def note(self, *items: CheckItem) -> None:
        self.found |= {item.name: item for item in items}

    def since(self, now: float) -> list[tuple[float, float]]:
        return [(at, value) for at, value in self.positions if now - at <= SOUNDCHECK_WINDOW_S]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What the stage knows beside the decks."""

    ports: Mapping[str, str] = field(default_factory=dict)
    """MIDI ports asked for and not open, with what is the matter."""
    controller: bool = False
    """Whether a controller was asked for."""
    has_pads: bool = False
    pages: int = 0
    map_says: tuple[str, ...] = ()
    """What is the matter with the map and its deck files; nothing when all is as rendered."""
    rendered: bool = True
    """Whether the map was rendered; else its deck files were made elsewhere."""


class SoundCheck:
    """Told what is heard; says how every item stands."""

    def __init__(self) -> None:
        self._decks = {side: _DeckHeard() for side in SIDES}
        self._pad_word: str | None = None
        self._marked_s: float | None = None

    def hear(self, heard: Heard) -> None:
        """One thing a sender told."""
        if heard.side is None:
            return
        deck = self._decks[heard.side]
        if heard.what == "pitch":
            deck.pitch = heard.value
        elif heard.what == "position":
            deck.positions.append((heard.now_s, heard.value))
            self._judge(deck, heard.now_s)

    def hear_word(self, word: str, now: float, turn_s: float) -> None:
        """A pad, page or key said something. `mark` goes with letting a record go, `hold` with a
        record held so that its sticker is where it stands at the file's start."""
        self._pad_word = word
        if word == "mark":
            self._marked_s = now
            for deck in self._decks.values():
                if deck.started_s is not None and abs(now - deck.started_s) < 1.0:
                    deck.delay_s.append(deck.started_s - now)
        elif word == "hold":
            for deck in self._decks.values():
                _judge_sticker(deck, now, turn_s)

    def items(self, around: Around, now: float) -> list[CheckItem]:
        """The whole list."""
        found = [_map(around)]
        for side, deck in self._decks.items():
            found += self._deck_items(side, deck, now)
        return [*found, *self._controller(around), _page(around)]

    def _judge(self, deck: _DeckHeard, now: float) -> None:
        position = deck.positions[-1][1]
        if deck.rest is not None and abs(position - deck.rest) > STARTED_S:
            deck.rest, deck.started_s = None, now
            if self._marked_s is not None and now - self._marked_s < 1.0:
                deck.delay_s.append(now - self._marked_s)
        slope = _slope(deck.since(now))
        if slope is None:
            return
        near = (abs(value - position) <= STARTED_S / 2 for _, value in deck.since(now))
        if deck.rest is None and all(near):
            deck.rest = position
        if not _steady(deck.since(now)) or abs(slope) < SOUNDCHECK_STILL:
            return
        if abs(abs(slope) - 1.0) <= STEADY_PART:
            deck.note(_unit(deck, abs(slope)), _direction(slope))
            if deck.pitch is not None and abs(deck.pitch) >= PITCH_LEAST:
                deck.note(_pitch_sign(deck.pitch, abs(slope)))
        else:
            deck.note(CheckItem("unit", "wrong", _other_unit(abs(slope))))

    def _deck_items(self, side: Side, deck: _DeckHeard, now: float) -> list[CheckItem]:
        recent = deck.since(now)
        if len(recent) < SOUNDCHECK_LEAST:
            says = f"turn the {side} record: nothing is heard from it"
            return [CheckItem(f"{side} heard", "missing", says)]
        turn = f"let the {side} record run at pitch 0"
        up = f"move the {side} pitch fader up by 2 % or more"
        told = deck.pitch is not None
        still_to_do = (
            CheckItem("direction", "missing", turn),
            CheckItem("unit", "missing", turn),
            CheckItem("pitch sign", "missing", up)
            if told
            else CheckItem("pitch sign", "not asked for", "the sender tells no pitch"),
            _delay(side, deck),
            CheckItem(
                "sticker", "not asked for", f"hold the {side} sticker up and say `hold` to check it"
            ),
        )
        found = [_heard(recent), *(deck.found.get(item.name, item) for item in still_to_do)]
        return [replace(item, name=f"{side} {item.name}") for item in found]

    def _controller(self, around: Around) -> list[CheckItem]:
        if not around.controller:
            return [CheckItem("lamps", "not asked for", "--midi NAME lights a controller")]
        if around.ports:
            says = "; ".join(f"{name}: {why}" for name, why in around.ports.items())
            return [CheckItem("lamps", "wrong", f"{says}; `liveaid ports` lists what is there")]
        found = [CheckItem("lamps", "ok", "the port is open; one lamp changes every second")]
        if around.has_pads and self._pad_word is None:
            found.append(CheckItem("pads", "missing", "press any pad that says a word"))
        elif around.has_pads:
            found.append(CheckItem("pads", "ok", f"heard: {self._pad_word}"))
        return found


def ready(items: list[CheckItem]) -> bool:
    """Whether nothing is missing or wrong."""
    return all(item.standing in ("ok", "not asked for") for item in items)


def _heard(recent: Sequence[tuple[float, float]]) -> CheckItem:
    """How often a deck says where it is."""
    gap_ms = 1000 * max(b - a for (a, _), (b, _) in pairwise(recent))
    rate = len(recent) / SOUNDCHECK_WINDOW_S
    says = f"{rate:.0f} positions a second, at most {gap_ms:.0f} ms apart"
    if gap_ms > GAP_MS:
        return CheckItem("heard", "wrong", f"{says}; a sender that says more would do")
    return CheckItem("heard", "ok", says)


def _slope(points: list[tuple[float, float]]) -> float | None:
    """Units a second of the line through the points (least squares)."""
    if len(points) < SOUNDCHECK_LEAST or points[-1][0] - points[0][0] < SOUNDCHECK_WINDOW_S / 4:
        return None
    return statistics.linear_regression(
        [at for at, _ in points], [value for _, value in points]
    ).slope


def _steady(points: list[tuple[float, float]]) -> bool:
    """Whether both halves turn alike: neither starting nor in a hand."""
    middle = len(points) // 2
    one, other = _ends_slope(points[:middle]), _ends_slope(points[middle:])
    if one is None or other is None or points[-1][0] - points[0][0] < 0.8 * SOUNDCHECK_WINDOW_S:
        return False
    return abs(one - other) <= 0.02 * max(abs(one), abs(other), 1e-9)


def _ends_slope(points: list[tuple[float, float]]) -> float | None:
    if len(points) < 2 or points[-1][0] <= points[0][0]:
        return None
    return (points[-1][1] - points[0][1]) / (points[-1][0] - points[0][0])


def _direction(slope: float) -> CheckItem:
    if slope > 0:
        return CheckItem("direction", "ok", "forwards is forwards")
    return CheckItem(
        "direction", "wrong", "runs backwards; `scale: -1` in the sender's map would do"
    )


def _unit(deck: _DeckHeard, speed: float) -> CheckItem:
    """Seconds, and as many as there are, once heard at pitch 0: later the fader may be moved."""
    says = f"{speed:.3f} s of file a second"
    proven = "unit" in deck.found and deck.found["unit"].standing == "ok"
    pitched = deck.pitch is not None and abs(deck.pitch) >= PITCH_LEAST
    if proven or pitched or abs(speed - 1.0) <= PITCH_OFF:
        return CheckItem("unit", "ok", says)
    return CheckItem(
        "unit",
        "wrong",
        f"{says} instead of 1; the fader at 0, the record's rpm or a `scale` would do",
    )


def _other_unit(rate: float) -> str:
    for nominal, unit in _UNITS:
        if abs(rate / nominal - 1) <= STEADY_PART:
            return f"grows by {rate:g} a second, as {unit} do; `unit: {unit}` in its map would do"
    return f"grows by {rate:g} a second instead of 1; `liveaid learn osc` finds the unit"


def _pitch_sign(pitch: float, speed: float) -> CheckItem:
    off = 100 * (speed - 1)
    if abs(off - pitch) <= 1.0:
        return CheckItem(
            "pitch sign", "ok", f"the fader says {pitch:+.1f} %, the record {off:+.1f} %"
        )
    if abs(off + pitch) <= 1.0:
        return CheckItem(
            "pitch sign", "wrong", "the other way round; `scale: -1` for pitch would do"
        )
    return CheckItem(
        "pitch sign", "wrong", f"the fader says {pitch:+.1f} %, the record turns at {off:+.1f} %"
    )


def _delay(side: Side, deck: _DeckHeard) -> CheckItem:
    if not deck.delay_s:
        says = f"let the {side} record go and say `mark` at the same moment, to check it"
        return CheckItem("delay", "not asked for", says)
    late_ms = 1000 * statistics.median(deck.delay_s)
    says = f"heard {late_ms:+.0f} ms after the word ({len(deck.delay_s)} tries)"
    return CheckItem("delay", "ok" if abs(late_ms) <= LATE_MS else "wrong", says)


def _judge_sticker(deck: _DeckHeard, now: float, turn_s: float) -> None:
    slope = _slope(deck.since(now))
    if slope is None or abs(slope) > SOUNDCHECK_STILL:
        return
    turns = deck.positions[-1][1] / turn_s
    off_deg = (turns - round(turns)) * 360
    says = f"{off_deg:+.0f} degrees from where it stands at the file's start"
    wrong = abs(off_deg) > STICKER_OFF_DEG
    advice = f"; move the sticker, or `offset: {-off_deg / 360 * turn_s:+.3f}` in the map would do"
    standing: Standing = "wrong" if wrong else "ok"
    deck.note(CheckItem("sticker", standing, says + (advice if wrong else "")))


def _map(around: Around) -> CheckItem:
    if around.map_says:
        return CheckItem("map", "wrong", "; ".join(around.map_says))
    if not around.rendered:
        return CheckItem(
            "map", "not asked for", "its deck files were made elsewhere: hear a cue on each"
        )
    return CheckItem("map", "ok", "the deck files are the ones this map was rendered to")


def _page(around: Around) -> CheckItem:
    if around.pages:
        return CheckItem("page", "ok", f"open on {around.pages} device{'s' * (around.pages > 1)}")
    return CheckItem("page", "missing", "open the page's address on the device that will show it")
