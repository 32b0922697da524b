"""One act held against its beat, and a set piece's acts together: plain records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, computed_field, model_validator

from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.delays import Clock
from liveaid.practice.hand_cuts import FaderScore, OpeningScore
from liveaid.practice.planned_acts import EventKind
from liveaid.practice.visits import Visit
from liveaid.practice.written import Fine, Ms, rounded
from liveaid.routine import Side

Outcome: TypeAlias = Literal["heard", "missed", "added", "skipped", "unheard"]
"""skipped: left out with what it belongs to, as a return whose release was missed already.
unheard: the recording does not tell whether it was done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ActScore:
    """One act of a hand: planned, heard, or both."""

    kind: EventKind
    side: Side
    beat: Fine
    """Beats from the set piece's start where it was planned, or where it fell when added."""
    outcome: Outcome
    heard_s: Fine | None = None
    due_s: Fine | None = None
    """When it was heard and when its beat was, in the trace's seconds; None where nothing told."""
    by: Clock | None = None
    """What told its beat. None when the beat was only fitted to what the hands did: then an error
    is only one act against the others."""
    beat_s: Annotated[float, rounded(6)] = 0.0
    """Seconds of a beat there."""
    turns_off: int = 0
    """Turns of the record it was let go from beyond its cue, above 0 further into the file."""
    turn_ms: Ms | None = None
    """How late a stroke turned or came to rest; None where that was not heard, or is none."""
    way_turns: Fine | None = None
    """How far a stroke was to go, in turns of the record."""
    longer_percent: Annotated[float, rounded(1)] | None = None
    """How much further it went than that, below 0 less far, in per cent of it."""
    open: Annotated[tuple[tuple[float, float], ...], Field(exclude=True)] = ()
    """Beats between which the map has the fader open in it."""
    openings: tuple[OpeningScore, ...] = ()
    """The same as made, where a mixer was heard."""

    @model_validator(mode="before")
    @classmethod
    def _as_exact_as_its_error(cls, found: Any) -> Any:
        """Its error is written finer than the two times it lies between; a beat's length came
        later."""
        if not isinstance(found, dict) or found.get("error_ms") is None:
            return found
        error_s, beats = found["error_ms"] / 1000.0, found.get("error_beats")
        beat_s = error_s / beats if beats else 1.0
        heard_s = round(found["due_s"] + error_s, 6)
        return {"beat_s": beat_s, **found, "heard_s": heard_s}

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

    @computed_field
    @property
    def error_ms(self) -> Ms | None:
        """The same in milliseconds."""
        return None if self.error_s is None else 1000.0 * self.error_s

    @computed_field
    @property
    def error_beats(self) -> Fine | None:
        """The same in beats."""
        return None if self.error_s is None else self.error_s / self.beat_s


@dataclass(frozen=True, slots=True, kw_only=True)
class WindScore:
    """A record that a hand had to bring to its cue."""

    side: Side
    turns: Fine
    """How far it was, + forward, - back."""
    due_s: Fine
    ready_s: Fine | None
    """When it had to be there and from when it was, in the trace's seconds; None: never."""
    spare_beats: Fine | None
    """Beats it stood there before it was due, below 0 late."""


@dataclass(frozen=True, slots=True)
class Played:
    """One visit with its acts."""

    visit: Visit
    acts: tuple[ActScore, ...]
    count: BeatTimes | None
    faders: tuple[FaderScore, ...] = ()
    """Of each deck whose acts need the fader; none without a count."""
    winds: tuple[WindScore, ...] = ()
    """Of each deck that a hand had to bring to its cue for this."""
