"""How long it takes to bring a record so many turns to its cue, by hand and by the needle.

Within reach the hand stays on the record, and bringing it is one aimed movement: its time grows
with the index of difficulty log2(way / width + 1) (Fitts, J Exp Psychol 47 (1954); this form
MacKenzie, J Motor Behav 21 (1989), both from memory), and that is the time of the whole movement,
its way included: a quarter turn's back-cue takes 0.27 s by the table's figures (common practice: a
quarter to a third of a second), and the record can be let go that moment. Never less than the
fastest stroke over that way, whatever a performer's own settling time is.

Beyond reach the record has to be taken anew and wound: the way at the winding speed, then settling
by the same law, which reaches the performer's settling time at a whole turn, from where the eye on
the sticker takes over and it is no harder.

By the needle: lifting and setting down, then from where it lands by hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

from liveaid.record.figures import figure
from liveaid.record.strokes import stroke_s

ByMeans: TypeAlias = Literal["by hand", "needle"]

_SAME_WAY = 1e-9


class HandPace(Protocol):
    """What must be known of a performer's hands; the section map's `performer:` has it."""

    @property
    def wind_turns_per_s(self) -> float:
        """Turns a second when winding by hand."""

    @property
    def settle_s(self) -> float:
        """Seconds to set a record that was wound a turn or more on its cue."""

    @property
    def reach_turns(self) -> float:
        """Turns a hand moves a record without leaving it."""

    @property
    def hand_turns_per_s(self) -> float:
        """Fastest a hand moves a record it stays on."""

    @property
    def needle_s(self) -> float:
        """Seconds to lift the needle and set it down."""

    @property
    def needle_turns(self) -> float:
        """Turns from where the needle lands to the cue."""


@dataclass(frozen=True, slots=True)
class Bringing:
    """Seconds to bring a record to its cue, by hand and by the needle."""

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
    """Seconds to bring a record so many turns by hand; 0 where there is no way to go."""
    way = abs(turns)
    wound_s = way / hands.wind_turns_per_s if way > hands.reach_turns + _SAME_WAY else 0.0
    return max(wound_s + settle_s(way, hands), least_s(min(way, hands.reach_turns), hands))


def least_s(turns: float, hands: HandPace) -> float:
    """The least seconds for one stroke of a hand over so many turns."""
    hardest = figure("hand_turns_per_s2")
    return stroke_s(turns, turns_per_s=hands.hand_turns_per_s, turns_per_s2=hardest)


def settle_s(turns: float, hands: HandPace) -> float:
    """Seconds to set a record on its cue so many turns away; within reach its way included."""
    width = figure("settle_width_turns")
    return hands.settle_s * math.log2(min(abs(turns), 1.0) / width + 1.0) / math.log2(1 / width + 1)


def turns_in(seconds: float, hands: HandPace) -> float:
    """The most turns a hand can bring a record in so many seconds, settling included."""
    low, high = 0.0, max(hands.reach_turns, seconds * hands.wind_turns_per_s)
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if by_hand_s(middle, hands) <= seconds else (low, middle)
    return low
