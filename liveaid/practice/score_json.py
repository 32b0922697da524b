"""A take's figures as plain values: times in milliseconds, as they are kept and shown."""

from __future__ import annotations

import math
from typing import Any

from liveaid.practice import delays, shift
from liveaid.practice.act_score import ActScore, WindScore
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import HandCuts, bias_s, fader_sentences
from liveaid.practice.score import PieceScore, TakeScore
from liveaid.practice.timing import Timing, TimingJudged


def score_json(score: TakeScore) -> dict[str, Any]:
    """A whole take."""
    return {
        "clean": score.clean,
        "verdict": score.verdict,
        "run_through": score.run_through,
        "skipped_pieces": list(score.skipped_pieces),
        "repeated_pieces": list(score.repeated_pieces),
        **_counts(score),
        **_timing(score.timing),
        "shifts": [one.to_json() for one in score.shifts],
        "shift": "" if score.delays.measured else shift.says(score.shifts),
        "delays": {**score.delays.to_json(), "says": delays.says(score.delays)},
        "faders": fader_sentences(cuts for piece in score.pieces for cuts in piece.cuts),
        "pieces": [_piece(piece) for piece in score.pieces],
    }


def _piece(piece: PieceScore) -> dict[str, Any]:
    return {
        "index": piece.piece,
        "name": piece.name,
        "clean": piece.clean,
        "verdict": piece.verdict,
        "why": list(piece.why),
        "whole": piece.whole,
        **_counts(piece),
        **_timing(piece.timing),
        "judged": [_judged(one) for one in piece.judged],
        "tempo": _rounded(piece.tempo_bpm, 2),
        "tempo_percent": _rounded(piece.tempo_percent, 2),
        "drift_percent": _rounded(piece.drift_percent, 2),
        "events": [_act(act) for act in piece.acts],
        "faders": [_fader(cuts) for cuts in piece.cuts],
        "winds": [_wind(one) for one in piece.winds],
    }


def _wind(one: WindScore) -> dict[str, Any]:
    return {
        "side": one.side,
        "turns": _rounded(one.turns, 3),
        "due_s": _rounded(one.due_s),
        "ready_s": _rounded(one.ready_s),
        "spare_beats": _rounded(one.spare_beats),
    }


def _judged(one: TimingJudged) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "acts": one.acts,
        "bias_beats": _rounded(one.bias_beats),
        "spread_beats": _rounded(one.spread_beats),
        "worst_beats": _rounded(one.worst_beats),
    }


def _act(act: ActScore) -> dict[str, Any]:
    return {
        "kind": act.kind,
        "side": act.side,
        "beat": _rounded(act.beat),
        "outcome": act.outcome,
        "error_ms": _ms(act.error_s),
        "error_beats": _rounded(act.error_beats),
        "heard_s": _rounded(act.heard_s),
        "due_s": _rounded(act.due_s),
        "by": act.by,
        "turns_off": act.turns_off,
    }


def _fader(cuts: HandCuts) -> dict[str, Any]:
    """One deck's openings and closings; `heard` false where no mixer was."""
    scores = cuts.scores or ()
    return {
        "side": cuts.side,
        "heard": cuts.scores is not None,
        "bias_ms": _ms(bias_s(scores)),
        "missed": cuts.missed,
        "added": cuts.added,
        "cuts": [_cut(one) for one in scores],
    }


def _cut(one: CutScore) -> dict[str, Any]:
    return {
        "opens": one.opens,
        "beat": _rounded(one.beat),
        "at_s": _rounded(one.at_s),
        "off_ms": _ms(one.off_s),
        "room_beats": _rounded(one.room_beats),
    }


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
