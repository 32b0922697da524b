"""Both decks as heard together: which of them still tells, when silence begins, and the tempo."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from liveaid.follow.axis import RUNS, Axis, Floats
from liveaid.follow.deck import Deck
from liveaid.routine import SIDES, Side

Sends: TypeAlias = Literal["always", "on_change"]

STILL = 0.3
"""A record slower than this stands: it is in the hand."""
STEADY_S, MOST_S = 0.3, 0.25
"""A step this short in which a record came no further than this is one of its movement."""
QUIET_S = 2.0
"""Without a word for so long, a record that was turning is lost and not held."""


@dataclass(slots=True)
class Hearing:
    """Two decks, and how their sender sends."""

    axis: Axis
    sends: Sends
    decks: dict[Side, Deck] = field(default_factory=lambda: {side: Deck() for side in SIDES})
    _last_s: dict[Side, float | None] = field(default_factory=lambda: dict.fromkeys(SIDES))

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
        return 1.0 if latest is None or latest.ratio is None else latest.ratio

    def rates(self, now: float) -> Floats:
        """Beats a second in every stretch."""
        ratio = np.full(len(self.axis.beats), self.ratio())
        for side in SIDES:
            if not self.fresh(side, now):
                continue
            speed = self.decks[side].speed(now)
            if speed is None or self.decks[side].line.span_s < 0.1:
                continue
            runs = self.axis.decks[side].hand == RUNS
            ratio[runs] = min(max(speed[0], -2.0), 3.0)
        return np.where(self.axis.beats > 0, ratio / self.axis.beat_s, 0.0)

    def moved_bps(self, now: float, seconds: float) -> Floats:
        """Beats a second in every stretch over the step that ends now; a step moves on by this.

        Where a deck runs, by how far its record has come since the last step: that makes up for
        what was missed while a record just let go was still taken for held.
        """
        rates = self.rates(now)
        for side, deck in self.decks.items():
            position_s = deck.place(now) if self.fresh(side, now) else None
            last_s, self._last_s[side] = self._last_s[side], position_s
            if position_s is None or last_s is None or not 0.0 < seconds < STEADY_S:
                continue
            if abs(position_s - last_s) < MOST_S:
                runs = self.axis.decks[side].hand == RUNS
                rates[runs] = (position_s - last_s) / seconds / self.axis.beat_s[runs]
        return rates

    def jumps(self) -> int:
        """How many decks were somewhere else all at once since the last step."""
        jumps = 0
        for deck in self.decks.values():
            jumps += deck.jumped
            deck.jumped = False
        return jumps
