"""What the lamps show for a prompt, and when a lamp may change. Pure, told the time.

Safety: a flash is a pair of opposing changes; more than three in any one second can bring on a
seizure (WCAG 2.2, SC 2.3.1). `Gate` keeps every lamp to two and a half, whatever is asked of it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection
from dataclasses import dataclass, field

from liveaid.follow.prompt import Prompt
from liveaid.routine import SIDES, Side
from liveaid.stage.lamp_layout import Lamp, LampLayout, Lamps, Level

HOLD_S = 0.2
"""A lamp keeps its level at least this long: at most 6 changes, 3 flashes, in any one second."""
STEADY_HOLD_S = 0.5
"""And these, which say how things stand, this long: they are read, not counted."""
STEADY = (
    "following", "unsure", "silent", "ready_left", "ready_right", "next_left", "next_right",
    "heard_left", "heard_right",
)  # fmt: skip
HEARD_MS = 500.0
"""A deck is heard when its last message is no older."""


def lamps_for(
    prompt: Prompt, layout: LampLayout, next_cue: Collection[Side] = ()
) -> dict[Lamp, Level]:
    """The level of every lamp of the layout for one prompt; `next_cue`: who has the next cue.

    Waiting shows a dim `following` and nothing else. Where the follower is unsure, bars and beats
    are dim: they may be wrong.
    """
    shown = _levels(prompt, layout.lamps, next_cue)
    return {lamp: shown.get(lamp, "off") for lamp in layout.lamps.places}


def _levels(prompt: Prompt, lamps: Lamps, next_cue: Collection[Side]) -> dict[Lamp, Level]:
    heard: dict[Lamp, Level] = {
        f"heard_{side}": "on"
        for side, deck in prompt.decks.items()
        if deck.age_ms is not None and deck.age_ms < HEARD_MS
    }
    if prompt.state == "waiting":
        return {"following": "dim", **heard}
    sure: Level = "dim" if prompt.state == "unsure" else "on"
    shown: dict[Lamp, Level] = {prompt.state: "on", **heard}
    for index in range(min(prompt.bars_left or 0, len(lamps.bars))):
        shown[f"bars.{index}"] = sure
    if prompt.beat is not None:
        if lamps.beats:
            shown[f"beats.{(prompt.beat - 1) % len(lamps.beats)}"] = sure
        shown["pulse"] = "on" if _beats_so_far(prompt) % 2 == 0 and sure == "on" else "dim"
    for side in SIDES:
        if side in next_cue:
            shown[f"next_{side}"] = sure
        if side in prompt.decks and prompt.decks[side].ready:
            shown[f"ready_{side}"] = "on"
    return shown


def _beats_so_far(prompt: Prompt) -> int:
    return int(prompt.beat_position or 0.0)


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
        return changed_s + (STEADY_HOLD_S if lamp in STEADY else HOLD_S)


def all_off(layout: LampLayout) -> dict[Lamp, Level]:
    """Every lamp out: how the controller is left."""
    return dict.fromkeys(layout.lamps.places, "off")
