"""One act held against its beat, and a set piece's acts together: plain records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.delays import Clock
from liveaid.practice.hand_cuts import HandCuts
from liveaid.practice.planned_acts import EventKind
from liveaid.practice.visits import Visit
from liveaid.routine import Side

Outcome: TypeAlias = Literal["heard", "missed", "added", "skipped", "unheard"]
"""skipped: left out with what it belongs to, as a return whose release was missed already.
unheard: the recording does not tell whether it was done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ActScore:
    """One act of a hand: planned, heard, or both."""

    kind: EventKind
    side: Side
    piece: int
    beat: float
    """Beats from the set piece's start where it was planned, or where it fell when added."""
    outcome: Outcome
    heard_s: float | None = None
    due_s: float | None = None
    """When its beat was; None where nothing told."""
    by: Clock | None
    """What told its beat. None when the beat was only fitted to what the hands did: then an error
    is only one act against the others."""
    beat_s: float = 0.0
    turns_off: int = 0
    """Turns of the record it was let go from beyond its cue, above 0 further into the file."""
    ends_off_s: float | None = None
    """How late a stroke turned or came to rest; None where that was not heard, or is none."""
    way_turns: float | None = None
    """How far a stroke was to go, in turns of the record."""
    way_off_turns: float | None = None
    """How much further it went, below 0 less far."""
    open: tuple[tuple[float, float], ...] = ()
    """Beats between which the map has the fader open in it."""

    @property
    def anchored(self) -> bool:
        """Whether early and late can be told apart."""
        return self.by is not None

    @property
    def error_s(self) -> float | None:
        """Heard less due, above 0 late."""
        if self.outcome != "heard" or self.heard_s is None or self.due_s is None:
            return None
        return self.heard_s - self.due_s

    @property
    def error_beats(self) -> float | None:
        """The same in beats."""
        return None if self.error_s is None else self.error_s / self.beat_s


@dataclass(frozen=True, slots=True, kw_only=True)
class WindScore:
    """A record that a hand had to bring to its cue."""

    side: Side
    piece: int
    """The set piece it was for."""
    turns: float
    """How far it was, + forward, - back."""
    due_s: float
    ready_s: float | None
    """From when it was there; None when it never was."""
    beat_s: float

    @property
    def spare_beats(self) -> float | None:
        """Beats it stood there before it was due, below 0 late."""
        return None if self.ready_s is None else (self.due_s - self.ready_s) / self.beat_s


@dataclass(frozen=True, slots=True)
class Played:
    """One visit with its acts."""

    visit: Visit
    acts: tuple[ActScore, ...]
    count: BeatTimes | None
    cuts: tuple[HandCuts, ...] = ()
    """Of each deck whose acts need the fader; none without a count."""
    winds: tuple[WindScore, ...] = ()
    """Of each deck that a hand had to bring to its cue for this."""
