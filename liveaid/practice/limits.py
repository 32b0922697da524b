"""What still counts as clean: limits in parts of a beat, widened by how few acts are in view.

Sources. Friberg and Sundberg, "Time discrimination in a monotonic, isochronous sequence" (JASA 98,
1995): a displacement of 2.5 % of the beat is just noticed at beats over 240 ms. Repp,
"Sensorimotor synchronization: a review of the tapping literature" (Psychon Bull Rev 12, 2005):
trained tappers spread by about 2 % of the beat, others by about 4 % and more (from memory). Both
are about listening to and tapping with plain clicks, not about records; how far they carry to
hands on records is not known, so every limit can be set.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal, TypeAlias

from liveaid.practice.planned_acts import EventKind

LevelName: TypeAlias = Literal["beginner", "performer", "competitor"]

SLACK: Mapping[EventKind, float] = {
    "start": 1.0, "release": 1.0, "stroke": 1.0, "pull": 1.0, "return": 1.5, "stop": 2.0,
}  # fmt: skip
"""How much wider a kind's limits are: a record taken away under the other one's entry is heard
less than an entry, and the last beat's stop least (common practice, no source)."""
DOUBT = 0.05
"""A fault is called one when hands within the limit would show it this seldom."""
_DOUBT_Z = 1.645
"""The normal quantile of 1 - DOUBT."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What still counts as clean; times as parts of a beat, so that fast music asks for more.

    The defaults are a performer's: a steady shift no one notices, twice a trained tapper's spread,
    and no act beyond four times the noticeable.
    """

    bias_beats: float = 0.025
    """Early or late on the whole."""
    spread_beats: float = 0.04
    worst_beats: float = 0.10
    """One act by itself."""
    missed: int = 0
    added: int = 0
    wind_beats: float = 0.0
    """How long before it is due a record that was wound has to stand at its cue, to be let go from
    there: not at all, or the beat before it (common practice, no source)."""
    tempo_percent: float = 3.0
    """Of the tempo asked for (common practice, no source)."""

    def __post_init__(self) -> None:
        if min(asdict(self).values()) < 0:
            raise ValueError("limits of 0 or more would do")

    @property
    def usual_beats(self) -> float:
        """The spread of hands that are well within the limits: half of what is allowed."""
        return 0.5 * self.spread_beats

    def bias_of(self, acts: int, spread_beats: float | None) -> float:
        """Largest mean of so many acts that says nothing against the bias limit.

        bias + z s / sqrt(n), s the acts' own spread between the usual and the allowed one.
        """
        own = spread_beats if spread_beats is not None and acts >= 3 else self.usual_beats
        own = min(max(own, self.usual_beats), max(self.spread_beats, self.usual_beats))
        return self.bias_beats + _DOUBT_Z * own / math.sqrt(acts)

    def spread_of(self, free: int) -> float:
        """Largest spread with so many degrees of freedom that says nothing against the limit.

        limit sqrt(chi2(1 - DOUBT; free) / free).
        """
        from scipy.special import chdtri  # half a second to load, and only takes are judged by it

        return self.spread_beats * math.sqrt(float(chdtri(free, DOUBT)) / free)


LEVELS: Mapping[LevelName, Limits] = {
    "beginner": Limits(
        bias_beats=0.05, spread_beats=0.08, worst_beats=0.20, missed=1, added=1, tempo_percent=5.0
    ),
    "performer": Limits(),
    "competitor": Limits(
        bias_beats=0.0125,
        spread_beats=0.025,
        worst_beats=0.0625,
        tempo_percent=2.0,
        wind_beats=1.0,
    ),
}
"""The beginner's are twice a performer's, which is where untrained tappers lie (Repp 2005, from
memory); the competitor's about what the best trained hands do, half of what is noticed."""
