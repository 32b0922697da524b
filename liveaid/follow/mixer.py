"""What the faders tell: a deck that stays closed is seldom the one that sounds.

Optional and soft. How often a deck is closed while it runs, is worked or rests is counted as the
performance goes, whenever the place is sure, from a start that common practice suggests (no
source): a mixer wired the other way round, or never touched, soon says nothing or the opposite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from liveaid.follow.plan import Hand
from liveaid.routine import SIDES, Side

OPEN, CLOSED = range(2)
SHUT = 0.03
"""A level below this, or a crossfader this near to the far end, lets nothing through."""
MIXER_STAYS_S = 0.5
"""A cut is shorter than this; a deck out of the mix is closed for longer."""
FADER_WITNESS_S = 2.0
"""Readings of a fader closer together than this are one witness."""
KEEP_S = 60.0
"""What was counted longer ago counts less."""


def _usual() -> dict[Hand, list[float]]:
    """Seconds open and closed."""
    return {"runs": [18.0, 2.0], "works": [15.0, 5.0], "rests": [6.0, 14.0]}


@dataclass(slots=True)
class Mixer:
    """Crossfader and levels as heard so far."""

    hamster: bool
    crossfader: float | None = None
    levels: dict[Side, float] = field(default_factory=dict)
    _shut_s: dict[Side, float | None] = field(default_factory=lambda: dict.fromkeys(SIDES))
    _seconds: dict[Hand, list[float]] = field(default_factory=_usual)

    @property
    def heard(self) -> bool:
        """Whether any fader was ever told."""
        return self.crossfader is not None or bool(self.levels)

    def hear_crossfader(self, value: float, now_s: float) -> None:
        """The crossfader, 0 left to 1 right."""
        self.crossfader = value
        self._note(now_s)

    def hear_level(self, side: Side, level: float, now_s: float) -> None:
        """One deck's level, 0 to 1."""
        self.levels[side] = level
        self._note(now_s)

    def nats(self, side: Side, now_s: float, seconds: float) -> dict[Hand, float]:
        """How well a deck's fader fits each thing a hand may do, over so many seconds."""
        told, share = self._told(side, now_s), min(seconds / FADER_WITNESS_S, 1.0)
        return {
            hand: share * math.log(counted[told] / sum(counted))
            for hand, counted in self._seconds.items()
        }

    def learn(self, side: Side, hand: Hand, now_s: float, seconds: float) -> None:
        """Count so many seconds of a deck whose hand is known."""
        counted = self._seconds[hand]
        counted[self._told(side, now_s)] += min(seconds, 1.0)
        keep = min(KEEP_S / sum(counted), 1.0)
        counted[:] = [value * keep for value in counted]

    def _told(self, side: Side, now_s: float) -> int:
        since_s = self._shut_s[side]
        return CLOSED if since_s is not None and now_s - since_s >= MIXER_STAYS_S else OPEN

    def _note(self, now_s: float) -> None:
        for side in SIDES:
            if not self._shut(side):
                self._shut_s[side] = None
            elif self._shut_s[side] is None:
                self._shut_s[side] = now_s

    def _shut(self, side: Side) -> bool:
        if self.levels.get(side, 1.0) < SHUT:
            return True
        if self.crossfader is None:
            return False
        value = 1.0 - self.crossfader if self.hamster else self.crossfader
        return value > 1.0 - SHUT if side == "left" else value < SHUT
