"""Both decks as heard together: which of them still tells, when silence begins, and the tempo."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from liveaid.follow.deck_line import Deck
from liveaid.routine import SIDES, Side

Sends: TypeAlias = Literal["always", "on_change"]

STILL = 0.3
"""A record slower than this stands: it is in the hand."""
QUIET_S = 2.0
"""Without a word for so long, a record that was turning is lost and not held."""


@dataclass(slots=True)
class Hearing:
    """Two decks, and how their sender sends."""

    sends: Sends
    usual_ratio: float = 1.0
    """Speed a record turns at as far as is known before any was heard."""
    decks: dict[Side, Deck] = field(default_factory=lambda: {side: Deck() for side in SIDES})

    def _timeout_s(self, side: Side) -> float:
        """How long after a deck's last message it is still taken to move as it did."""
        usual = self.decks[side].interval_s
        if self.sends == "on_change":
            return min(max(0.15, 4.0 * usual), 0.3)
        return max(0.3, 8.0 * usual)

    def fresh(self, side: Side, now: float) -> bool:
        """Whether a deck was heard lately enough to be taken to move as it did."""
        heard_s = self.decks[side].heard_s
        return heard_s is not None and now - heard_s < self._timeout_s(side)

    def quiet_s(self) -> float | None:
        """When both decks will have been silent for too long; None when that means nothing.

        On change, a record that was held may be silent for ever; one that was turning may not.
        """
        ends = []
        for side, deck in self.decks.items():
            if deck.heard_s is None:
                continue
            if self.sends == "always":
                ends.append(deck.heard_s + self._timeout_s(side))
            elif abs(deck.line.slope or 0.0) > STILL:
                ends.append(deck.heard_s + QUIET_S)
        return max(ends, default=None)

    def is_quiet(self, now: float) -> bool:
        """Whether both decks are silent."""
        quiet_s = self.quiet_s()
        return quiet_s is not None and now >= quiet_s

    def ratio(self) -> float:
        """Speed against the map's tempo, by the deck last heard turning by itself."""
        decks = [deck for deck in self.decks.values() if deck.ratio is not None]
        latest = max(decks, key=lambda deck: deck.ratio_s, default=None)
        return self.usual_ratio if latest is None or latest.ratio is None else latest.ratio
