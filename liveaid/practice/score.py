"""A take's figures: early or late, spread, missed, added, skipped, tempo held, clean or not."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from liveaid.practice.assess import Act, Outcome, Played
from liveaid.routine import Routine


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What still counts as clean; times as parts of a beat, so that fast music asks for more.

    Friberg and Sundberg, "Time discrimination in a monotonic, isochronous sequence" (JASA 98,
    1995): a displacement of 2.5 % of the beat is just noticed at beats over 240 ms. Repp,
    "Sensorimotor synchronization: a review of the tapping literature" (Psychon Bull Rev 12,
    2005): trained tappers spread by about 2 % of the beat (from memory). So: a steady shift no
    one notices, twice a trained tapper's spread, and no act beyond four times the noticeable.
    """

    bias_beats: float = 0.025
    spread_beats: float = 0.04
    worst_beats: float = 0.10
    missed: int = 0
    added: int = 0
    tempo_percent: float = 3.0
    """Of the tempo asked for (common practice, no source)."""

    def __post_init__(self) -> None:
        if min(asdict(self).values()) < 0:
            raise ValueError("tolerances of 0 or more would do")


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Errors of many acts; above 0 is late. None where there were too few acts to say."""

    heard: int
    bias_s: float | None
    """Mean error."""
    spread_s: float | None
    """Standard deviation about that mean, n - 1 in the denominator."""
    bias_beats: float | None
    spread_beats: float | None
    worst_beats: float | None
    """Largest error either way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceScore:
    """One set piece of a take."""

    piece: int
    name: str
    timing: Timing
    missed: int
    added: int
    skipped: int
    whole: bool
    """Played from its first beat to its last."""
    tempo_bpm: float | None
    tempo_percent: float | None
    """Against the tempo asked for."""
    drift_percent: float | None
    """Change of tempo from its start to its end."""
    clean: bool
    why: tuple[str, ...]
    """What kept it from being clean, in words."""
    acts: tuple[Act, ...] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeScore:
    """A whole take."""

    pieces: tuple[PieceScore, ...]
    skipped_pieces: tuple[int, ...]
    """Set pieces between the first and last played that were left out."""
    timing: Timing
    missed: int
    added: int
    skipped: int
    run_through: bool
    """Whether it went from the routine's first beat to its last."""
    clean: bool

    def to_json(self) -> dict[str, Any]:
        """Plain values for JSON, times in milliseconds."""
        return {
            "clean": self.clean,
            "run_through": self.run_through,
            "skipped_pieces": list(self.skipped_pieces),
            **_counts(self),
            **_timing(self.timing),
            "pieces": [_piece(piece) for piece in self.pieces],
        }


def timing(acts: Iterable[Act]) -> Timing:
    """The errors of those acts that were heard against a known beat."""
    off = [
        (act.anchored, act.error_s, act.error_s / act.beat_s)
        for act in acts
        if act.error_s is not None
    ]
    told, loose = ([row[1:] for row in off if row[0] == anchored] for anchored in (True, False))
    return Timing(
        heard=len(off),
        bias_s=statistics.fmean(s for s, _ in told) if told else None,
        spread_s=_pooled([s for s, _ in told], [s for s, _ in loose]),
        bias_beats=statistics.fmean(b for _, b in told) if told else None,
        spread_beats=_pooled([b for _, b in told], [b for _, b in loose]),
        worst_beats=max((abs(b) for _, _, b in off), default=None),
    )


def _pooled(*groups: Sequence[float]) -> float | None:
    """Standard deviation within groups that each have a mean of their own."""
    squares = sum(
        statistics.variance(group) * (len(group) - 1) for group in groups if len(group) > 1
    )
    free = sum(max(len(group) - 1, 0) for group in groups)
    return math.sqrt(squares / free) if free else None


def score_take(
    routine: Routine,
    played: Sequence[Played],
    *,
    tolerance: Tolerance | None = None,
    tempo_part: float = 1.0,
) -> TakeScore:
    """The figures of a take, `tempo_part` being the part of full tempo it was meant for."""
    tolerance = tolerance or Tolerance()
    pieces = tuple(_score_piece(routine, one, tolerance, tempo_part) for one in played)
    acts = [act for piece in pieces for act in piece.acts]
    gone = [piece.piece for piece in pieces]
    left_out = tuple(sorted(set(range(min(gone), max(gone) + 1)) - set(gone))) if gone else ()
    through = bool(gone) and gone[0] == 0 and gone[-1] == len(routine.pieces) - 1
    through = through and pieces[0].whole and pieces[-1].whole
    return TakeScore(
        pieces=pieces,
        skipped_pieces=left_out,
        timing=timing(acts),
        missed=_count(acts, "missed"),
        added=_count(acts, "added"),
        skipped=_count(acts, "skipped"),
        run_through=through,
        clean=bool(pieces) and not left_out and all(piece.clean for piece in pieces),
    )


def _score_piece(
    routine: Routine, played: Played, tolerance: Tolerance, tempo_part: float
) -> PieceScore:
    visit, acts = played.visit, played.acts
    piece, beats = routine.pieces[visit.piece], routine.beats(visit.piece)
    tempo = drift = None
    if played.grid is not None and visit.to_beat - visit.from_beat >= 2:
        middle = (visit.from_beat + visit.to_beat) / 2
        tempo = played.grid.tempo_bpm(visit.from_beat, visit.to_beat)
        halves = [
            played.grid.tempo_bpm(low, high)
            for low, high in ((visit.from_beat, middle), (middle, visit.to_beat))
        ]
        # Two halves' means are half of an even change apart.
        drift = 200.0 * (halves[1] / halves[0] - 1.0)
    asked = piece.tempo_bpm * tempo_part
    off = None if tempo is None else 100.0 * (tempo / asked - 1.0)
    whole = visit.from_beat < 1.0 and beats - visit.to_beat < 1.0
    errors = timing(acts)
    missed, added = _count(acts, "missed"), _count(acts, "added")
    why = tuple(_faults(errors, tolerance, missed, added, off, whole=whole))
    return PieceScore(
        piece=visit.piece, name=piece.name, timing=errors, missed=missed, added=added,
        skipped=_count(acts, "skipped"), whole=whole, tempo_bpm=tempo, tempo_percent=off,
        drift_percent=drift, clean=not why, why=why, acts=acts,
    )  # fmt: skip


def _faults(
    errors: Timing, allowed: Tolerance, missed: int, added: int, tempo: float | None, *, whole: bool
) -> Iterable[str]:
    """What kept a set piece from being clean."""
    if not whole:
        yield "not played to its end"
    if missed > allowed.missed:
        yield f"{missed} missed"
    if added > allowed.added:
        yield f"{added} added"
    if errors.bias_beats is not None and abs(errors.bias_beats) > allowed.bias_beats:
        yield "late" if errors.bias_beats > 0 else "early"
    if errors.spread_beats is not None and errors.spread_beats > allowed.spread_beats:
        yield "uneven"
    if errors.worst_beats is not None and errors.worst_beats > allowed.worst_beats:
        yield "one far off"
    if tempo is not None and abs(tempo) > allowed.tempo_percent:
        yield "too fast" if tempo > 0 else "too slow"


def _count(acts: Iterable[Act], outcome: Outcome) -> int:
    return sum(act.outcome == outcome for act in acts)


def _ms(seconds: float | None) -> float | None:
    return _rounded(None if seconds is None else seconds * 1000.0, 2)


def _rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _timing(errors: Timing) -> dict[str, Any]:
    return {
        "heard": errors.heard,
        "bias_ms": _ms(errors.bias_s),
        "spread_ms": _ms(errors.spread_s),
        "bias_beats": _rounded(errors.bias_beats),
        "spread_beats": _rounded(errors.spread_beats),
        "worst_beats": _rounded(errors.worst_beats),
    }


def _counts(score: PieceScore | TakeScore) -> dict[str, Any]:
    return {"missed": score.missed, "added": score.added, "skipped": score.skipped}


def _piece(piece: PieceScore) -> dict[str, Any]:
    return {
        "index": piece.piece,
        "name": piece.name,
        "clean": piece.clean,
        "why": list(piece.why),
        "whole": piece.whole,
        **_counts(piece),
        **_timing(piece.timing),
        "tempo": _rounded(piece.tempo_bpm, 2),
        "tempo_percent": _rounded(piece.tempo_percent, 2),
        "drift_percent": _rounded(piece.drift_percent, 2),
        "events": [_event(act) for act in piece.acts],
    }


def _event(act: Act) -> dict[str, Any]:
    return {
        "kind": act.kind,
        "side": act.side,
        "beat": _rounded(act.beat),
        "outcome": act.outcome,
        "error_ms": _ms(act.error_s),
        "error_beats": _rounded(act.error_beats),
        "heard_s": _rounded(act.heard_s),
        "due_s": _rounded(act.due_s),
    }
