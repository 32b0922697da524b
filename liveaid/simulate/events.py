"""What the performer meant to do at a beat, and when it was done: a score is held against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.routine import Side

EventKind: TypeAlias = Literal["start", "release", "return", "stroke", "pull", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One act of a hand.

    start: the record, or the first juggled one, let go on a set piece's first beat.
    release: a juggled record let go on a later beat.
    return: a juggled record taken by the hand, to be brought back to its cue.
    stroke: a push forward at a beat of the map's `strokes:`, or of its acts.
    pull: a pull of the map's acts.
    stop: a record held on the routine's last beat.
    """

    kind: EventKind
    side: Side
    piece: int
    beat: float
    """Beats from the set piece's start at which it was planned; where it fell, when added."""
    planned_s: float | None
    """That beat on the performer's own count, for a start the one before it; None: added."""
    actual_s: float | None
    """None: missed. For a start or release the time at which the record, read back along its line
    at speed, was at its cue; for a stroke the onset of its push; for a return or stop the moment
    the hand takes the record, so that it begins to slow."""
    onset_s: float | None
    """When the record began to move (start, release, stroke), or to slow (return, stop)."""
    cue_s: float | None = None
    """Deck-file second the act begins from or comes back to."""

    @property
    def error_s(self) -> float | None:
        """Actual less planned, above 0 late; None for one missed or added."""
        if self.actual_s is None or self.planned_s is None:
            return None
        return self.actual_s - self.planned_s

    @property
    def missed(self) -> bool:
        """Whether it was planned and left out."""
        return self.actual_s is None

    @property
    def added(self) -> bool:
        """Whether it was done without being planned."""
        return self.planned_s is None
