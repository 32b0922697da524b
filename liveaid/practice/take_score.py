"""A take's score as it is worked out, kept and shown: one record, with how it is written and read.

`from_json` reads what any version wrote: a word that came later has a default, one that is not
known is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    TypeAdapter,
    computed_field,
    model_validator,
)

from liveaid.practice.act_score import ActScore, WindScore
from liveaid.practice.delays import NO_DELAYS, Delays, delays_from
from liveaid.practice.delays import says as delays_say
from liveaid.practice.hand_cuts import FaderScore
from liveaid.practice.records import Kept
from liveaid.practice.shift import Shift
from liveaid.practice.stroke_figures import StrokesScore
from liveaid.practice.timing import KindScore, Timing
from liveaid.practice.written import Percent
from liveaid.routine import Side

Verdict: TypeAlias = Literal["clean", "not clean", "not judged"]

DelaysWritten: TypeAlias = Annotated[
    Delays,
    BeforeValidator(lambda found: found if isinstance(found, Delays) else delays_from(found)),
    PlainSerializer(lambda delays: {**delays.to_json(), "says": delays_say(delays)}),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged(Timing):
    """What a take and each of its set pieces tell alike."""

    verdict: Verdict
    missed: int
    added: int
    skipped: int

    @model_validator(mode="before")
    @classmethod
    def _by_clean(cls, found: Any) -> Any:
        """Takes from before anything could be not judged say only whether they were clean."""
        if isinstance(found, dict) and not found.get("verdict"):
            return {**found, "verdict": "clean" if found["clean"] else "not clean"}
        return found

    @computed_field
    @property
    def clean(self) -> bool:
        """Judged, and found clean."""
        return self.verdict == "clean"

    @property
    def judged(self) -> bool:
        """Whether there was anything to judge it by."""
        return self.verdict != "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceScore(_Judged):
    """One set piece of a take."""

    index: int
    """Its place in the whole routine, from 0."""
    name: str
    why: tuple[str, ...] = ()
    """What kept it from being clean, or from being judged, in words."""
    whole: bool
    """Played from its first beat to its last."""
    tempo_bpm: Annotated[Percent | None, Field(alias="tempo")] = None
    tempo_percent: Percent | None
    """Against the tempo asked for."""
    drift_percent: Percent | None
    """Change of tempo from its start to its end."""
    kinds: Annotated[tuple[KindScore, ...], Field(alias="judged")] = ()
    """What the verdict rests on, a kind of act each."""
    acts: Annotated[tuple[ActScore, ...], Field(alias="events")] = field(default=(), repr=False)
    faders: tuple[FaderScore, ...] = field(default=(), repr=False)
    """Told, never judged: how late a mixer's messages come is not known."""
    strokes: tuple[StrokesScore, ...] = ()
    winds: tuple[WindScore, ...] = ()
    bars_before: int = 0
    """Bars of the set piece that lie before what was practised of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeScore(_Judged):
    """A whole take."""

    run_through: bool
    """Whether it went from the routine's first beat to its last, each set piece once."""
    skipped_pieces: tuple[int, ...] = ()
    repeated_pieces: tuple[int, ...] = ()
    """Set pieces left out between others, and begun more than once; places in the routine."""
    shifts: tuple[Shift, ...] = ()
    """What the take is late by on the whole."""
    shift: str = ""
    """The named ones in words; empty where delays were measured."""
    delays: DelaysWritten = NO_DELAYS
    """What was known of them and taken out."""
    faders: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a deck."""
    strokes: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a hand that makes strokes."""
    advice: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a hand."""
    pieces: tuple[PieceScore, ...]

    @property
    def why(self) -> tuple[str, ...]:
        """What made the verdict of its set pieces its own, by their names where it has several."""
        told = [piece for piece in self.pieces if piece.verdict == self.verdict and piece.why]
        named = len(self.pieces) > 1 and self.verdict == "not clean"
        said = (f"{each.name}: " * named + ", ".join(each.why) for each in told)
        return tuple(dict.fromkeys(said))

    @property
    def acts(self) -> list[ActScore]:
        """Every act of every set piece."""
        return [act for piece in self.pieces for act in piece.acts]

    def to_json(self) -> dict[str, Any]:
        """As it is kept, written by --json and sent to the pages."""
        plain: dict[str, Any] = _WRITTEN.dump_python(self, mode="json", by_alias=True)
        return plain

    @classmethod
    def from_json(cls, found: Mapping[str, Any]) -> TakeScore:
        """What `to_json` wrote, in this version or an earlier one.

        ValueError, KeyError or TypeError when it is no score.
        """
        return _WRITTEN.validate_python(found)


_WRITTEN = TypeAdapter(TakeScore)


@dataclass(frozen=True, kw_only=True)
class ScoredTake:
    """A take just scored, as the rehearsal tells it."""

    number: int | None = None
    """Under which it is kept; None where it is not."""
    ended: str
    start_s: float
    """Its first beat, in the trace's seconds."""
    tempo_part: float
    counted_in: bool
    said: str = ""
    """The performer's own word on it: keep, drop, or none."""
    score: TakeScore

    def to_json(self) -> dict[str, Any]:
        """As it is written by --json and sent to the pages: the score's words beside its own."""
        return self._json

    @cached_property
    def _json(self) -> dict[str, Any]:
        # A rehearsal tells the same take with every push, many times a second.
        return {
            "number": self.number, "ended": self.ended, "start_s": round(self.start_s, 4),
            "tempo_part": round(self.tempo_part, 4), "counted_in": self.counted_in,
            "said": self.said or None, **self.score.to_json(),
        }  # fmt: skip


def scored_take(kept: Kept, score: TakeScore, number: int | None = None) -> ScoredTake:
    """A kept take with its score, to be told."""
    return ScoredTake(
        number=number, ended=kept.ended, start_s=kept.start_s, tempo_part=kept.tempo_part,
        counted_in=kept.counted_in_s is not None, score=score,
    )  # fmt: skip
