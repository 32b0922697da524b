"""A take's figures rounded and in milliseconds, as they are kept and shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypedDict

from liveaid.practice import shift
from liveaid.practice.act_score import ActScore, WindScore
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import HandCuts, bias_s, fader_sentences
from liveaid.practice.score import PieceScore, TakeScore
from liveaid.practice.stroke_figures import openings_of, strokes_of, strokes_sentences
from liveaid.practice.take_report import (
    ActReport,
    CutReport,
    FaderReport,
    KindReport,
    PieceReport,
    ShiftReport,
    TakeReport,
    WindReport,
)
from liveaid.practice.timing import Timing, TimingJudged


def score_report(score: TakeScore) -> TakeReport:
    """A whole take, set pieces by their place in the routine it was scored against."""
    pieces = tuple(_piece(piece) for piece in score.pieces)
    return TakeReport(
        verdict=score.verdict,
        run_through=score.run_through,
        skipped_pieces=score.skipped_pieces,
        repeated_pieces=score.repeated_pieces,
        missed=score.missed,
        added=score.added,
        skipped=score.skipped,
        **_timing(score.timing),
        shifts=tuple(_shift(one) for one in score.shifts),
        shift="" if score.delays.measured else shift.says(score.shifts),
        delays=score.delays,
        faders=fader_sentences(cuts for piece in score.pieces for cuts in piece.cuts),
        strokes=strokes_sentences(one for piece in pieces for one in piece.strokes),
        pieces=pieces,
    )


def _piece(piece: PieceScore) -> PieceReport:
    cuts = {one.side: one.scores or () for one in piece.cuts}
    acts = tuple(_act(act, cuts.get(act.side, ())) for act in piece.acts)
    return PieceReport(
        index=piece.piece,
        name=piece.name,
        verdict=piece.verdict,
        why=piece.why,
        whole=piece.whole,
        missed=piece.missed,
        added=piece.added,
        skipped=piece.skipped,
        **_timing(piece.timing),
        kinds=tuple(_kind(one) for one in piece.judged),
        tempo_bpm=_rounded(piece.tempo_bpm, 2),
        tempo_percent=_rounded(piece.tempo_percent, 2),
        drift_percent=_rounded(piece.drift_percent, 2),
        acts=acts,
        strokes=strokes_of(acts),
        faders=tuple(_fader(cuts) for cuts in piece.cuts),
        winds=tuple(_wind(one) for one in piece.winds),
    )


def _wind(one: WindScore) -> WindReport:
    return WindReport(
        side=one.side,
        turns=round(one.turns, 3),
        due_s=round(one.due_s, 4),
        ready_s=_rounded(one.ready_s),
        spare_beats=_rounded(one.spare_beats),
    )


def _shift(one: shift.PairShift) -> ShiftReport:
    return ShiftReport(
        deck=one.clock, against=one.by, late_ms=round(1000 * one.late_s, 2), acts=one.acts,
        named=one.named,
    )  # fmt: skip


def _kind(one: TimingJudged) -> KindReport:
    return KindReport(
        kind=one.kind,
        acts=one.acts,
        bias_beats=_rounded(one.bias_beats),
        spread_beats=_rounded(one.spread_beats),
        worst_beats=_rounded(one.worst_beats),
    )


def _act(act: ActScore, cuts: Sequence[CutScore]) -> ActReport:
    return ActReport(
        kind=act.kind,
        side=act.side,
        beat=round(act.beat, 4),
        outcome=act.outcome,
        error_ms=_ms(act.error_s),
        error_beats=_rounded(act.error_beats),
        heard_s=_rounded(act.heard_s),
        due_s=_rounded(act.due_s),
        by=act.by,
        turns_off=act.turns_off,
        turn_ms=_ms(act.ends_off_s),
        way_turns=_rounded(act.way_turns),
        longer_percent=_percent(act.way_off_turns, act.way_turns),
        openings=openings_of(act, cuts) if cuts else (),
    )


def _percent(part: float | None, whole: float | None) -> float | None:
    return round(100.0 * part / whole, 1) if part is not None and whole else None


def _fader(cuts: HandCuts) -> FaderReport:
    scores = cuts.scores or ()
    return FaderReport(
        side=cuts.side,
        heard=cuts.scores is not None,
        bias_ms=_ms(bias_s(scores)),
        missed=cuts.missed,
        added=cuts.added,
        cuts=tuple(_cut(one) for one in scores),
    )


def _cut(one: CutScore) -> CutReport:
    return CutReport(
        opens=one.opens,
        beat=_rounded(one.beat),
        at_s=_rounded(one.at_s),
        off_ms=_ms(one.off_s),
        room_beats=round(one.room_beats, 4),
    )


class _TimingFigures(TypedDict):
    heard: int
    bias_ms: float | None
    spread_ms: float | None
    bias_beats: float | None
    spread_beats: float | None
    worst_beats: float | None


def _timing(errors: Timing) -> _TimingFigures:
    return {
        "heard": errors.heard,
        "bias_ms": _ms(errors.bias_s),
        "spread_ms": _ms(errors.spread_s),
        "bias_beats": _rounded(errors.bias_beats),
        "spread_beats": _rounded(errors.spread_beats),
        "worst_beats": _rounded(errors.worst_beats),
    }


def _ms(seconds: float | None) -> float | None:
    return _rounded(None if seconds is None else seconds * 1000.0, 2)


def _rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)
