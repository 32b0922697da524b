"""How long it takes to bring a record so many turns to its cue, by hand and by the needle.

By hand: the way at the winding speed, then settling. Settling depends on the way: the farther, the
more has to be corrected to hit the same few degrees. It grows with the index of difficulty
log2(way / width + 1) (Fitts, J Exp Psychol 47 (1954); this form MacKenzie, J Motor Behav 21 (1989),
both from memory) and reaches the performer's settling time at a whole turn, from where the eye on
the sticker takes over and it is no harder. So a quarter turn's back-cue takes 0.08 s of way and
0.27 s of settling by the table's figures: a beat at 120 BPM is 0.5 s.

By the needle: lifting and setting down, then from where it lands by hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

from liveaid.record.figures import figure

ByMeans: TypeAlias = Literal["by hand", "needle"]


class HandPace(Protocol):
    """What must be known of a performer's hands; the section map's `performer:` has it."""

    @property
    def wind_turns_per_s(self) -> float:
        """Turns a second when winding by hand."""

    @property
    def settle_s(self) -> float:
        """Seconds to set a record that was wound a turn or more on its cue."""

    @property
    def needle_s(self) -> float:
        """Seconds to lift the needle and set it down."""

    @property
    def needle_turns(self) -> float:
        """Turns from where the needle lands to the cue."""


@dataclass(frozen=True, slots=True)
class Bringing:
    """How long each means takes for one way."""

    by_hand_s: float
    by_needle_s: float

    @property
    def means(self) -> ByMeans:
        """The quicker of the two; the hand where they are alike."""
        return "by hand" if self.by_hand_s <= self.by_needle_s else "needle"

    @property
    def needed_s(self) -> float:
        """Seconds the quicker one takes."""
        return min(self.by_hand_s, self.by_needle_s)


def bring(turns: float, hands: HandPace) -> Bringing:
    """The time to bring a record so many turns of the platter, either way."""
    return Bringing(
        by_hand_s=by_hand_s(turns, hands),
        by_needle_s=hands.needle_s + by_hand_s(hands.needle_turns, hands),
    )


def by_hand_s(turns: float, hands: HandPace) -> float:
    """Seconds to wind so many turns by hand and settle; 0 where there is no way to go."""
    return abs(turns) / hands.wind_turns_per_s + settle_s(turns, hands)


def settle_s(turns: float, hands: HandPace) -> float:
    """Seconds to set a record on its cue that was brought so many turns."""
    width = figure("settle_width_turns")
    return hands.settle_s * math.log2(min(abs(turns), 1.0) / width + 1.0) / math.log2(1 / width + 1)


def turns_in(seconds: float, hands: HandPace) -> float:
    """The most turns a hand can bring a record in so many seconds, settling included."""
    low, high = 0.0, max(0.0, seconds) * hands.wind_turns_per_s
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if by_hand_s(middle, hands) <= seconds else (low, middle)
    return low
