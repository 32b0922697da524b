"""A take's score as it is kept and shown: plain records, times in milliseconds, and their JSON.

`from_json` reads what any version wrote: a word that came later has a default, one that is not
known is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, ClassVar, Protocol, TypeVar

from liveaid.practice.act_score import Outcome
from liveaid.practice.delays import NO_DELAYS, Clock, Delays, delays_from
from liveaid.practice.delays import says as delays_say
from liveaid.practice.planned_acts import EventKind
from liveaid.practice.score import Verdict
from liveaid.routine import Side


class _Report(Protocol):
    """A dataclass."""

    __dataclass_fields__: ClassVar[dict[str, Any]]


_R = TypeVar("_R", bound=_Report)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningReport:
    """One opening of the fader within an act, as written and as made."""

    from_beat: float
    to_beat: float
    opens_ms: float | None
    closes_ms: float | None
    """How late each end was; None where it was missed, or the fader stays as it is."""
    longer_ms: float | None
    """How much longer it was open than written, below 0 shorter."""
    missed: bool = False
    """Whether an end of it was written and not made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ActReport:
    """One act of a hand."""

    kind: EventKind
    side: Side
    beat: float
    """Beats from the set piece's start."""
    outcome: Outcome
    error_ms: float | None
    """Above 0 late; None where it was not heard, or its beat is not known."""
    error_beats: float | None
    heard_s: float | None
    due_s: float | None
    """When it was heard and when its beat was, in the trace's seconds."""
    by: Clock | None = None
    """What told its beat; see `ActScore`."""
    turns_off: int = 0
    """Turns of its record beyond its cue."""
    turn_ms: float | None = None
    """How late a stroke turned or came to rest."""
    way_turns: float | None = None
    """How far a stroke was to go, in turns of the record."""
    longer_percent: float | None = None
    """How much further it went than that, below 0 less far, in per cent of it."""
    openings: tuple[OpeningReport, ...] = ()
    """Where a mixer was heard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokesReport:
    """One hand's strokes in a set piece together, by their medians."""

    side: Side
    strokes: int
    starts_ms: float | None
    turns_ms: float | None
    longer_percent: float | None
    openings: int
    open_longer_ms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KindReport:
    """All acts of one kind together: what the verdict rests on. In parts of a beat."""

    kind: EventKind
    acts: int
    bias_beats: float | None
    spread_beats: float | None
    worst_beats: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CutReport:
    """One opening or closing of a deck by a fader."""

    opens: bool
    beat: float | None
    """Where it is written; None: added."""
    at_s: float | None
    """When it was made, in the trace's seconds; None: missed."""
    off_ms: float | None
    room_beats: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FaderReport:
    """One deck's openings and closings in a set piece."""

    side: Side
    heard: bool
    """False where no mixer was."""
    bias_ms: float | None
    missed: int
    added: int
    cuts: tuple[CutReport, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WindReport:
    """A record that a hand had to bring to its cue."""

    side: Side
    turns: float
    """How far, + forward, - back."""
    due_s: float
    ready_s: float | None
    """When it had to be there and from when it was, in the trace's seconds; None: never."""
    spare_beats: float | None
    """Beats it stood there before it was due, below 0 late."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftReport:
    """What one clock is late by against another, all through the take."""

    deck: Clock
    against: Clock
    late_ms: float
    acts: int
    named: bool
    """Whether it is large and sure enough to be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Timed:
    """What a take and each of its set pieces tell alike."""

    verdict: Verdict
    heard: int
    missed: int
    added: int
    skipped: int
    bias_ms: float | None
    spread_ms: float | None
    bias_beats: float | None = None
    spread_beats: float | None = None
    worst_beats: float | None = None

    @property
    def clean(self) -> bool:
        """Judged, and found clean."""
        return self.verdict == "clean"

    @property
    def judged(self) -> bool:
        """Whether there was anything to judge it by."""
        return self.verdict != "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceReport(_Timed):
    """One set piece of a take."""

    index: int
    """Its place in the whole routine, from 0."""
    name: str
    why: tuple[str, ...]
    """What kept it from being clean, or from being judged, in words."""
    whole: bool
    """Played from its first beat to its last."""
    tempo_bpm: float | None = None
    tempo_percent: float | None
    drift_percent: float | None
    kinds: tuple[KindReport, ...] = ()
    acts: tuple[ActReport, ...] = field(default=(), repr=False)
    faders: tuple[FaderReport, ...] = field(default=(), repr=False)
    strokes: tuple[StrokesReport, ...] = ()
    winds: tuple[WindReport, ...] = ()
    bars_before: int = 0
    """Bars of the set piece that lie before what was practised of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport(_Timed):
    """A whole take."""

    run_through: bool
    """Whether it went from the routine's first beat to its last."""
    skipped_pieces: tuple[int, ...] = ()
    repeated_pieces: tuple[int, ...] = ()
    """Set pieces left out between others, and begun more than once; places in the routine."""
    shifts: tuple[ShiftReport, ...] = ()
    shift: str = ""
    """The named ones in words; empty where delays were measured."""
    delays: Delays = NO_DELAYS
    """What was known of them and taken out."""
    faders: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a deck."""
    strokes: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a hand that makes strokes."""
    advice: Mapping[Side, str] = field(default_factory=dict)
    """A sentence a hand."""
    pieces: tuple[PieceReport, ...]

    @property
    def why(self) -> tuple[str, ...]:
        """What made the verdict of its set pieces its own, by their names where it has several."""
        told = [piece for piece in self.pieces if piece.verdict == self.verdict and piece.why]
        named = len(self.pieces) > 1 and self.verdict == "not clean"
        said = (f"{each.name}: " * named + ", ".join(each.why) for each in told)
        return tuple(dict.fromkeys(said))

    @property
    def acts(self) -> list[ActReport]:
        """Every act of every set piece."""
        return [act for piece in self.pieces for act in piece.acts]

    def to_json(self) -> dict[str, Any]:
        """As it is kept, written by --json and sent to the pages."""
        return {
            **asdict(self),
            "clean": self.clean,
            "delays": {**self.delays.to_json(), "says": delays_say(self.delays)},
            "pieces": [_piece_json(piece) for piece in self.pieces],
        }

    @classmethod
    def from_json(cls, found: Mapping[str, Any]) -> TakeReport:
        """What `to_json` wrote, in this version or an earlier one.

        KeyError, TypeError or AttributeError when it is no score.
        """
        return _made(
            cls, found, verdict=_verdict(found),
            skipped_pieces=tuple(found.get("skipped_pieces", ())),
            repeated_pieces=tuple(found.get("repeated_pieces", ())),
            shifts=_all(ShiftReport, found.get("shifts", ())),
            delays=delays_from(found.get("delays")),
            pieces=tuple(_piece(piece) for piece in found["pieces"]),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
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
    report: TakeReport

    def to_json(self) -> dict[str, Any]:
        """As it is written by --json and sent to the pages: the score's words beside its own."""
        return {
            "number": self.number, "ended": self.ended, "start_s": round(self.start_s, 4),
            "tempo_part": round(self.tempo_part, 4), "counted_in": self.counted_in,
            "said": self.said or None, **self.report.to_json(),
        }  # fmt: skip


def _piece_json(piece: PieceReport) -> dict[str, Any]:
    found = {**asdict(piece), "clean": piece.clean}
    return {_WRITTEN.get(name, name): value for name, value in found.items()}


_WRITTEN = {"tempo_bpm": "tempo", "acts": "events", "kinds": "judged"}
"""What a set piece's figures are called where they are written, and always were."""


def _piece(found: Mapping[str, Any]) -> PieceReport:
    return _made(
        PieceReport, found, verdict=_verdict(found), why=tuple(found.get("why", ())),
        tempo_bpm=found.get("tempo"), kinds=_all(KindReport, found.get("judged", ())),
        acts=tuple(
            _made(ActReport, one, openings=_all(OpeningReport, one.get("openings", ())))
            for one in found.get("events", ())
        ),
        strokes=_all(StrokesReport, found.get("strokes", ())),
        faders=tuple(
            _made(FaderReport, one, cuts=_all(CutReport, one["cuts"]))
            for one in found.get("faders", ())
        ),
        winds=_all(WindReport, found.get("winds", ())),
    )  # fmt: skip


def _verdict(found: Mapping[str, Any]) -> Verdict:
    """Takes from before anything could be not judged say only whether they were clean."""
    verdict: Verdict = found.get("verdict") or ("clean" if found["clean"] else "not clean")
    return verdict


def _all(kind: type[_R], found: Sequence[Mapping[str, Any]]) -> tuple[_R, ...]:
    return tuple(_made(kind, one) for one in found)


def _made(kind: type[_R], found: Mapping[str, Any], **ready: Any) -> _R:
    """A record from plain values by its own names, but for those that are made already."""
    names = kind.__dataclass_fields__.keys() - ready.keys()
    return kind(**{name: found[name] for name in names if name in found}, **ready)
