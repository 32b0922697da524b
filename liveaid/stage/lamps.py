"""What the lamps show for a prompt, and when a lamp may change. Pure, told the time.

Safety: a flash is a pair of opposing changes; more than three in any one second can bring on a
seizure (WCAG 2.2, SC 2.3.1). `Gate` keeps every lamp to two and a half, whatever is asked of it.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from liveaid.follow.prompt import Prompt
from liveaid.routine import SIDES, Side
from liveaid.stage.lamp_layout import Lamp, LampLayout, Lamps, Level

LAMP_HOLD_S = 0.2
"""A lamp keeps its level at least this long: at most 6 changes, 3 flashes, in any one second."""
STEADY_HOLD_S = 0.5
"""And these, which say how things stand, this long: they are read, not counted."""
STEADY_LAMPS = (
    "following", "unsure", "silent", "before", "over", "state", "last", "limit", "alive",
    "ready_left", "ready_right", "next_left", "next_right", "heard_left", "heard_right",
)  # fmt: skip
HEARD_MS = 500.0
"""A deck is heard when its last message is no older."""
FAR_BARS = 16
"""A row too short for the bars left tells of so many more: phrases are counted in eights and
sixteens (common practice, no source)."""
LIMIT_NEAR_S = 15.0
"""The time limit is near: some eight bars at 120 BPM, time to leave something out."""
LIVES_S = 1.0
"""The lamp that lives changes this often: read at a glance, and far below a flash."""
PLAYED = ("following", "unsure", "silent")
"""States in which a set piece is being played."""
HALVES = 3
"""A wind row no longer than this counts in half lamps: dim is a half."""
_STATE: dict[str, Level] = {"following": "on", "silent": "dim"}


def lamps_for(
    prompt: Prompt, layout: LampLayout, next_cue: Collection[Side] = ()
) -> dict[Lamp, Level]:
    """The level of every lamp of the layout for one prompt; `next_cue`: who has the next cue.

    Waiting shows a dim `following` and nothing else. Where the follower is unsure, bars, beats and
    wind are dim: they may be wrong. What a layout has no lamp for, another tells: the state the row
    of bars, a record at its cue its wind row, the limit the lamp that lives.
    """
    shown = _levels(prompt, layout.lamps, next_cue)
    return {lamp: shown.get(lamp, "off") for lamp in layout.lamps.places}


def living(levels: Mapping[Lamp, Level], now_s: float) -> dict[Lamp, Level]:
    """The levels with one lamp that changes once a second: `alive`, or, where a layout has none,
    the pulse while it has no beat to show. When it is still, liveaid is not running.

    Asked to be dim or on, `alive` tells the limit too (`_limit`): it goes out in between.
    """
    first = bool(int(now_s / LIVES_S) % 2)
    if "alive" in levels:
        high: Level = "dim" if levels["alive"] == "dim" else "on"
        low: Level = "dim" if levels["alive"] == "off" else "off"
        return {**levels, "alive": high if first else low}
    lives: Level = "on" if first else "dim"
    return {**levels, "pulse": lives} if levels.get("pulse") == "off" else dict(levels)


def _levels(prompt: Prompt, lamps: Lamps, next_cue: Collection[Side]) -> dict[Lamp, Level]:
    shown: dict[Lamp, Level] = {
        f"heard_{side}": "on"
        for side, deck in prompt.decks.items()
        if deck.age_ms is not None and deck.age_ms < HEARD_MS
    }
    if prompt.state == "waiting":
        return {"following": "dim", **shown}
    shown |= {prompt.state: "on", "state": _STATE.get(prompt.state, "off")}
    shown["alive" if lamps.limit is None else "limit"] = _limit(prompt)
    sure: Level = "dim" if prompt.state == "unsure" else "on"
    shown |= _count(prompt, lamps, sure) if prompt.state in PLAYED else _ends(prompt, lamps)
    for side in SIDES:
        shown |= _deck(prompt, lamps, side, sure)
        if side in next_cue and prompt.state != "over":
            shown[f"next_{side}"] = sure
    return shown


def _count(prompt: Prompt, lamps: Lamps, sure: Level) -> dict[Lamp, Level]:
    """Bars and beat while a set piece is played."""
    left = prompt.bars_left or 0
    shown = _bars(prompt, lamps, left, sure)
    if left in (1, 2):
        shown["last"] = sure if left == 1 else "dim"
    if prompt.beat is not None:
        if lamps.beats:
            shown[f"beats.{(prompt.beat - 1) % len(lamps.beats)}"] = sure
        shown["pulse"] = (
            "on" if int(prompt.beat_position or 0.0) % 2 == 0 and sure == "on" else "dim"
        )
    return shown


def _bars(prompt: Prompt, lamps: Lamps, left: int, sure: Level) -> dict[Lamp, Level]:
    length = len(lamps.bars)
    dim: dict[Lamp, Level] = {f"bars.{n}": "dim" for n in range(min(max(left, 1), length))}
    if not lamps.told_by_bars:
        return dim if sure == "dim" else bars_row(left, length)
    if prompt.state == "unsure":
        return {f"bars.{length // 2}": "dim"}
    return dim if prompt.state == "silent" else {**bars_row(left, length), "bars.0": "on"}


def bars_row(left: int, length: int) -> dict[Lamp, Level]:
    """The row of bars left: it goes out towards its first lamp.

    More bars than lamps: all are lit, and from the far end so many are dim as stand for the rest,
    FAR_BARS for the whole row.
    """
    if left <= length:
        return {f"bars.{index}": "on" for index in range(left)}
    a_lamp = max(1, math.ceil(FAR_BARS / max(length, 1)))
    bright = max(0, length - math.ceil((left - length) / a_lamp))
    return {f"bars.{index}": "on" if index < bright else "dim" for index in range(length)}


def _ends(prompt: Prompt, lamps: Lamps) -> dict[Lamp, Level]:
    """Before the start the bars' far lamp is dim, after the end both its ends: a controller without
    lamps for these states tells them all the same."""
    last = len(lamps.bars) - 1
    if last < 2:
        return {}
    far: dict[Lamp, Level] = {f"bars.{last}": "dim"}
    return {**far, "bars.0": "dim"} if prompt.state == "over" else far


def _limit(prompt: Prompt) -> Level:
    if prompt.limit_kept is False:
        return "on"
    if prompt.limit_s is None or prompt.elapsed_s is None or prompt.state not in PLAYED:
        return "off"
    left_s = prompt.limit_s - prompt.elapsed_s
    return "on" if left_s < 0 else "dim" if left_s < LIMIT_NEAR_S else "off"


def _deck(prompt: Prompt, lamps: Lamps, side: Side, sure: Level) -> dict[Lamp, Level]:
    deck = prompt.decks.get(side)
    if deck is None or prompt.state == "over":
        return {}
    length = len(getattr(lamps, f"wind_{side}"))
    if deck.ready:
        own = getattr(lamps, f"ready_{side}") is not None
        return {f"ready_{side}": "on"} if own else ready_row(side, length)
    if length <= HALVES and sure == "dim":
        return {}  # dim is half a lamp there
    if deck.way == "needle":
        return {f"wind_{side}.{index}": sure for index in range(length)}
    return {} if deck.wind is None else wind_row(deck.wind, side, length, sure)


def ready_row(side: Side, length: int) -> dict[Lamp, Level]:
    """A record at its cue by its wind row alone: the middle lamp, or of two both dim."""
    if length == 2:
        return {f"wind_{side}.0": "dim", f"wind_{side}.1": "dim"}
    return {f"wind_{side}.{length // 2}": "on"} if length >= HALVES else {}


def wind_row(turns: float, side: Side, length: int, sure: Level) -> dict[Lamp, Level]:
    """How far a record is from its cue: one lamp within a turn, one more each time that doubles; in
    a row of three or two half a lamp each.

    Forwards from the first lamp on, back from the last one; never all, that is the needle's.
    """
    if length == 0 or turns == 0:
        return {}
    if length == 1:
        return {f"wind_{side}.0": "on" if turns > 0 else "dim"}
    doubled = max(0, math.ceil(math.log2(abs(turns))))
    levels: list[Level] = [sure] * min(1 + doubled, length - 1)
    if length <= HALVES:
        halves = min(1 + doubled, 2 * length - 1)
        whole: list[Level] = ["on"] * (halves // 2)
        levels = [*whole, "dim"] if halves % 2 else whole
    return {
        f"wind_{side}.{index if turns > 0 else length - 1 - index}": level
        for index, level in enumerate(levels)
    }


@dataclass(slots=True)
class Gate:
    """Lets lamps change no faster than is safe, and no more of them than the controller can take.

    The first change after a rest goes out at once; of changes asked for while a lamp holds, only
    the latest is kept. Several lamps: each has its own hold.
    """

    most_per_s: int = 500
    _shown: dict[Lamp, Level] = field(default_factory=dict)
    _changed_s: dict[Lamp, float] = field(default_factory=dict)
    _wanted: dict[Lamp, Level] = field(default_factory=dict)
    _sent_s: deque[float] = field(default_factory=deque)
    _renewed: int = 0

    def ask(self, wanted: dict[Lamp, Level], now: float) -> list[tuple[Lamp, Level]]:
        """The changes to send now to bring the lamps to `wanted`; the rest is kept for later."""
        self._wanted = wanted
        return self.due(now)

    def due(self, now: float) -> list[tuple[Lamp, Level]]:
        """The changes asked for earlier that may be sent now."""
        while self._sent_s and self._sent_s[0] <= now - 1.0:
            self._sent_s.popleft()
        changes = []
        for lamp, level in self._pending():
            if len(self._sent_s) >= self.most_per_s:
                break
            if self._free_s(lamp) <= now:
                changes.append((lamp, level))
                self._shown[lamp] = level
                self._changed_s[lamp] = now
                self._sent_s.append(now)
        return changes

    def renew(self, count: int, now: float) -> list[tuple[Lamp, Level]]:
        """So many lamps, in turn, as they ought to be lit already: a lost message is put right.

        No change of a lamp, so no hold; what the controller can take is kept to.
        """
        lamps = list(self._shown)
        count = min(count, len(lamps), self.most_per_s - len(self._sent_s))
        found = []
        for _ in range(max(count, 0)):
            lamp = lamps[self._renewed % len(lamps)]
            self._renewed += 1
            found.append((lamp, self._shown[lamp]))
            self._sent_s.append(now)
        return found

    def wake_at(self) -> float | None:
        """When a change that is kept back may be sent; None when nothing is."""
        pending = self._pending()
        if not pending:
            return None
        earliest = min(self._free_s(lamp) for lamp, _ in pending)
        if len(self._sent_s) >= self.most_per_s:
            earliest = max(earliest, self._sent_s[0] + 1.0)
        return earliest

    def forget(self) -> None:
        """The controller was away and shows who knows what: send every lamp again, and hold on.

        The holds stay, so that a cable that comes and goes cannot make a lamp flash either.
        """
        self._shown.clear()

    def _pending(self) -> list[tuple[Lamp, Level]]:
        shown = self._shown
        return [(lamp, level) for lamp, level in self._wanted.items() if shown.get(lamp) != level]

    def _free_s(self, lamp: Lamp) -> float:
        changed_s = self._changed_s.get(lamp)
        if changed_s is None:
            return float("-inf")
        return changed_s + (STEADY_HOLD_S if lamp in STEADY_LAMPS else LAMP_HOLD_S)


def all_off(layout: LampLayout) -> dict[Lamp, Level]:
    """Every lamp out: how the controller is left."""
    return dict.fromkeys(layout.lamps.places, "off")
