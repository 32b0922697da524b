"""A review as plain data: what --json writes and the page /review shows."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from liveaid.practice.care import EARS_CAUTION, HANDS_CAUTION, DayOfHands
from liveaid.practice.next import Outlook, Standing
from liveaid.practice.records import NoteRow, TakeRow
from liveaid.practice.report import Review
from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.practice.weeks import Day, Week, WeeksOf
from liveaid.practice.wilson import Rate

RULE = (
    "A rule of thumb: practice in turns (Shea and Morgan 1979) and spread over days "
    "(Cepeda et al. 2006) is kept better. The first is about knocking over barriers, the second "
    "about word lists; for hands your own weeks go first."
)


def review_json(found: Review) -> dict[str, Any]:
    """Everything."""
    outlook = found.outlook
    return {
        "title": found.title,
        "takes": [take_json(take, score) for take, score in found.takes],
        "spoiled": list(found.spoiled),
        "pieces": [_standing(one) for one in outlook.standings],
        "next": next_json(outlook),
        "stage_ready": {
            "ready": outlook.stage_ready,
            "level": outlook.ready_at,
            "run_throughs": rate_json(outlook.run_throughs),
            "missing": list(outlook.missing),
        },
        "weeks": [_weeks(one) for one in found.weeks],
        "notes": [_note(note) for note in found.notes],
        "plan": [_day(one) for one in found.plan],
        "care": care_json(found.today),
    }


def take_json(take: TakeRow, score: TakeScore) -> dict[str, Any]:
    """One take's line, without its acts."""
    return {
        "number": take.id,
        "at": _second(take.at),
        "piece": take.aim or None,
        "ended": take.ended,
        "duration_s": round(take.duration_s, 2),
        "tempo_part": round(take.tempo_part, 4),
        "run_through": take.run_through,
        "clean": take.clean,
        "verdict": score.verdict,
        "shift": score.shift,
        "said": take.said or None,
        "faders": dict(score.faders),
        "strokes": dict(score.strokes),
        "heard": score.heard,
        "bias_ms": score.bias_ms,
        "spread_ms": score.spread_ms,
        "missed": score.missed,
        "added": score.added,
        "skipped": score.skipped,
        "why": [f"{piece.name}: {', '.join(piece.why)}" for piece in score.pieces if piece.why],
        "pieces": [_played(piece) for piece in score.pieces],
    }


def _played(piece: PieceScore) -> dict[str, Any]:
    """How one set piece of a take went, for the map."""
    return {
        "index": piece.index, "name": piece.name, "verdict": piece.verdict,
        "bias_ms": _round(piece.bias_ms), "missed": piece.missed, "added": piece.added,
    }  # fmt: skip


def strokes_json(score: TakeScore) -> dict[str, Any]:
    """Every stroke of a take, set piece by set piece, and what is told of them together."""
    return {
        "says": dict(score.strokes),
        "pieces": [
            {
                "index": piece["index"],
                "name": piece["name"],
                "hands": piece["strokes"],
                "strokes": [act for act in piece["events"] if act["way_turns"] is not None],
            }
            for piece in score.to_json()["pieces"]
        ],
    }


def next_json(found: Outlook) -> dict[str, Any]:
    """What to practise next, and the two after."""
    return {
        "order": [{"name": s.name, "index": s.piece, "why": s.why} for s in found.order[:3]],
        "rule": RULE,
    }


def rate_json(rate: Rate) -> dict[str, Any]:
    """A clean rate with its interval."""
    return {
        "clean": rate.clean,
        "of": rate.takes,
        "low": round(rate.low, 3),
        "high": round(rate.high, 3),
    }


def care_json(today: DayOfHands) -> dict[str, Any]:
    """Hands-on time today, and the noise it was in."""
    found: dict[str, Any] = {"hands_on_s": round(today.hands_on_s), "hands": HANDS_CAUTION}
    if today.booth_dba is not None:
        found["dose_percent"] = _round(today.dose_percent)
        found["noise"] = today.noise
        found["ears"] = EARS_CAUTION
    return found


def _standing(one: Standing) -> dict[str, Any]:
    """How one set piece stands."""
    return {
        "index": one.piece,
        "name": one.name,
        "takes": one.takes,
        **rate_json(one.rate),
        "bias_ms": _round(one.bias_ms),
        "spread_ms": _round(one.spread_ms),
        "missed_a_take": round(one.missed, 2),
        "days_since": _round(one.days_since),
        "timed": one.timed,
        "ready": one.ready,
        "gain": round(one.gain, 3),
        "why": one.why,
    }


def _weeks(one: WeeksOf) -> dict[str, Any]:
    return {
        "name": one.name,
        "weeks": [_week(week) for week in one.weeks],
        "plateau": one.plateau,
    }


def _week(week: Week) -> dict[str, Any]:
    return {
        "monday": week.monday.isoformat(), "takes": week.takes, **rate_json(week.rate),
        "bias_ms": _round(week.bias_ms), "spread_ms": _round(week.spread_ms),
        "tempo_part": _round(week.tempo_part),
    }  # fmt: skip


def _note(note: NoteRow) -> dict[str, Any]:
    return {"at": _second(note.at), "take": note.take, "aim": note.aim, "text": note.text}


def _day(one: Day) -> dict[str, Any]:
    return {"day": one.day.isoformat(), "what": list(one.what), "takes": one.takes, "why": one.why}


def _second(at: float) -> str:
    """A unix time, local, to the second (ISO 8601)."""
    return datetime.fromtimestamp(at).isoformat(timespec="seconds")


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
