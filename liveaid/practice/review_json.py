"""A review as plain data: what --json writes and the page /review shows."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from liveaid.practice.care import EARS_CAUTION, HANDS_CAUTION, DayOfHands
from liveaid.practice.next import Outlook, Standing
from liveaid.practice.records import NoteRow, TakeRow, local_second
from liveaid.practice.report import Review
from liveaid.practice.take_score import TakeScore
from liveaid.practice.weeks import Day, WeeksOf
from liveaid.practice.wilson import Rate

RULE = (
    "A rule of thumb: practice in turns (Shea and Morgan 1979) and spread over days "
    "(Cepeda et al. 2006) is kept better. The first is about knocking over barriers, the second "
    "about word lists; for hands your own weeks go first."
)


_OF_A_TAKE = (
    "verdict", "shift", "faders", "strokes", "heard", "bias_ms", "spread_ms", "missed", "added",
    "skipped",
)  # fmt: skip
_OF_A_PIECE = ("index", "name", "verdict", "bias_ms", "missed", "added")
"""What is told of a take, and of each of its set pieces for the map."""


def review_json(found: Review) -> dict[str, Any]:
    """Everything."""
    outlook = found.outlook
    return {
        "title": found.title,
        "takes": [take_json(take, score) for take, score in found.takes],
        "spoiled": list(found.spoiled),
        "pieces": [plain_json(one) for one in outlook.standings],
        "next": next_json(outlook),
        "stage_ready": {
            "ready": outlook.stage_ready,
            "level": outlook.ready_at,
            "run_throughs": plain_json(outlook.run_throughs),
            "missing": list(outlook.missing),
        },
        "weeks": [plain_json(one) for one in found.weeks],
        "notes": [plain_json(note) for note in found.notes],
        "plan": [plain_json(day) for day in found.plan],
        "care": care_json(found.today),
    }


def take_json(take: TakeRow, score: TakeScore) -> dict[str, Any]:
    """One take's line, without its acts."""
    return {
        "number": take.id,
        "at": local_second(take.at),
        "piece": take.aim or None,
        "ended": take.ended,
        "duration_s": round(take.duration_s, 2),
        "tempo_part": round(take.tempo_part, 4),
        "run_through": take.run_through,
        "clean": take.clean,
        "said": take.said or None,
        **{name: getattr(score, name) for name in _OF_A_TAKE},
        "why": [f"{piece.name}: {', '.join(piece.why)}" for piece in score.pieces if piece.why],
        "pieces": [{name: getattr(piece, name) for name in _OF_A_PIECE} for piece in score.pieces],
    }


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


def care_json(today: DayOfHands) -> dict[str, Any]:
    """Hands-on time today, and the noise it was in."""
    found: dict[str, Any] = {"hands_on_s": round(today.hands_on_s), "hands": HANDS_CAUTION}
    if today.dose_percent is not None:
        found["dose_percent"] = round(today.dose_percent, 2)
        found["noise"] = today.noise
        found["ears"] = EARS_CAUTION
    return found


_WRITTEN: dict[type, TypeAdapter[Any]] = {
    kind: TypeAdapter(kind) for kind in (Standing, Rate, WeeksOf, NoteRow, Day)
}


def plain_json(record: Standing | Rate | WeeksOf | NoteRow | Day) -> dict[str, Any]:
    """A record as it is written."""
    return dict(_WRITTEN[type(record)].dump_python(record, mode="json", by_alias=True))
