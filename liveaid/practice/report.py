"""What `review` and its page tell: takes, set pieces, what is next, care; as plain data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from liveaid.practice.care import EARS_CAUTION, HANDS_CAUTION, dose_percent, noise_line
from liveaid.practice.history import of_this_map
from liveaid.practice.journal import Journal
from liveaid.practice.limits import Limits
from liveaid.practice.next import Outlook, Standing, outlook
from liveaid.practice.pictures import history_picture, losses_picture, take_picture
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept, NoteRow, PieceRow, TakeRow
from liveaid.practice.schema import StoreError
from liveaid.practice.session import Aim, aim_of, played_in, score_of, to_json
from liveaid.practice.store import TakeStore
from liveaid.practice.stretch import transition_name
from liveaid.practice.weeks import plan_back, plateau, weeks
from liveaid.practice.wilson import Rate
from liveaid.routine import Routine
from liveaid.routine.scene import database_files, own, scene_folder

Pictures = dict[str, Callable[[], bytes]]
"""File name and how to draw it."""

RULE = (
    "A rule of thumb: practice in turns (Shea and Morgan 1979) and spread over days "
    "(Cepeda et al. 2006) is kept better. The first is about knocking over barriers, the second "
    "about word lists; for hands your own weeks go first."
)


def takes_file(map_file: Path) -> Path:
    """Where a scene's takes are kept: beside its section map. Leads if that is a way out."""
    scene = scene_folder(map_file)
    for name in database_files("takes.sqlite"):
        own(scene, name)
    own(scene, "takes.sqlite.waiting", folder=True)
    return scene / "takes.sqlite"


def score_unscored(file: Path, routine: Routine, limits: Limits | None = None) -> int:
    """Score the takes that a stopped process kept and did not come to score; how many."""
    if Journal(file).waiting():
        TakeStore(file).close()  # what waits goes in now
    if not file.is_file():
        return 0
    with TakeReader(file) as reader:
        waiting = [found for number in reader.unscored() if (found := _kept(reader, number))]
    if not waiting:
        return 0
    store, count = TakeStore(file), 0
    try:
        for number, kept in waiting:
            aim = aim_of(routine, kept.aim, limits)
            if aim and _can_be_judged_by(aim, kept):
                store.score(number, to_json(aim, score_of(aim, kept))).result()
                count += 1
    finally:
        store.close()
    return count


def _kept(reader: TakeReader, number: int) -> tuple[int, Kept] | None:
    """A take that waits for its score; None when it is spoiled."""
    try:
        return number, reader.kept(number)
    except StoreError:
        return None


def _can_be_judged_by(aim: Aim, kept: Kept) -> bool:
    """Whether the map still asks for what was asked for when the take was played."""
    asked = played_in(aim)
    return all(
        visit.piece < len(aim.routine.pieces)
        and kept.played.get(number := str(aim.first + visit.piece), asked[number]) == asked[number]
        for visit in kept.visits
    )


def look(routine: Routine, reader: TakeReader, *, now: float, ready_at: float) -> Outlook:
    """How the set pieces stand by all that was kept."""
    rows = of_this_map(reader.pieces(), routine)
    return outlook(routine, rows, reader.takes(), now=now, ready_at=ready_at)


def report(
    routine: Routine,
    reader: TakeReader,
    *,
    now: float,
    ready_at: float,
    booth_dba: float | None = None,
    last: int = 20,
    stage: date | None = None,
    rows: Sequence[PieceRow] | None = None,
) -> dict[str, Any]:
    """Everything, for JSON; with the day of the `stage` a plan back from it.

    `rows` as `reader.pieces()`, where they were read already.
    """
    rows = reader.pieces() if rows is None else rows
    found = outlook(routine, rows, reader.takes(), now=now, ready_at=ready_at)
    takes = reader.takes(limit=last)
    return {
        "title": routine.title,
        "takes": [take_json(take, reader.score(take.id)) for take in takes],
        "spoiled": reader.spoiled(),
        "pieces": [standing_json(one) for one in found.standings],
        "next": next_json(found),
        "stage_ready": {
            "ready": found.stage_ready,
            "level": found.ready_at,
            "run_throughs": rate_json(found.run_throughs),
            "missing": list(found.missing),
        },
        "weeks": weeks_json(routine, rows),
        "notes": [note_json(note) for note in reader.notes(limit=last)],
        "plan": [] if stage is None else plan_json(found, date.fromtimestamp(now), stage),
        "care": care_json(reader.hands_on_s(today(now)), booth_dba),
    }


def weeks_json(routine: Routine, rows: Sequence[PieceRow]) -> list[dict[str, Any]]:
    """Each set piece's and practised transition's weeks, with a word where it stands still."""
    ways = [transition_name(routine, k) for k in range(len(routine.pieces) - 1)]
    by: dict[str, list[PieceRow]] = {}
    for row in rows:
        by.setdefault(row.aim if row.aim in ways else row.name, []).append(row)
    told = []
    for name in [*(piece.name for piece in routine.pieces), *ways]:
        found = weeks(by.get(name, ()))
        if found:
            lines = [
                {
                    "monday": week.monday.isoformat(), "takes": week.takes,
                    **rate_json(week.rate), "bias_ms": _round(week.bias_ms),
                    "spread_ms": _round(week.spread_ms), "tempo_part": _round(week.tempo_part),
                }
                for week in found
            ]  # fmt: skip
            told.append({"name": name, "weeks": lines, "plateau": plateau(found)})
    return told


def note_json(note: NoteRow) -> dict[str, Any]:
    """What was noted, and when."""
    at = datetime.fromtimestamp(note.at).isoformat(timespec="seconds")
    return {"at": at, "take": note.take, "aim": note.aim, "text": note.text}


def plan_json(found: Outlook, day: date, stage: date) -> list[dict[str, Any]]:
    """What each day up to the stage is for."""
    return [
        {"day": one.day.isoformat(), "what": list(one.what), "takes": one.takes, "why": one.why}
        for one in plan_back(found, today=day, stage=stage)
    ]


def today(now: float) -> str:
    """The local day of a unix time, ISO 8601."""
    return date.fromtimestamp(now).isoformat()


def take_json(take: TakeRow, score: dict[str, Any]) -> dict[str, Any]:
    """One take's line."""
    return {
        "number": take.id,
        "at": datetime.fromtimestamp(take.at).isoformat(timespec="seconds"),
        "piece": take.aim or None,
        "ended": take.ended,
        "duration_s": round(take.duration_s, 2),
        "tempo_part": round(take.tempo_part, 4),
        "run_through": take.run_through,
        "clean": take.clean,
        "verdict": score.get("verdict", "clean" if take.clean else "not clean"),
        "shift": score.get("shift", ""),
        "said": take.said or None,
        "faders": dict(score.get("faders", {})),
        **{name: score[name] for name in _LINE},
        "why": [f"{p['name']}: {', '.join(p['why'])}" for p in score["pieces"] if p["why"]],
    }


_LINE = ("heard", "bias_ms", "spread_ms", "missed", "added", "skipped")


def standing_json(one: Standing) -> dict[str, Any]:
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


def care_json(hands_on_s: float, booth_dba: float | None) -> dict[str, Any]:
    """Hands-on time today, and the noise it was in."""
    found: dict[str, Any] = {"hands_on_s": round(hands_on_s), "hands": HANDS_CAUTION}
    if booth_dba is not None:
        hours = hands_on_s / 3600.0
        found["dose_percent"] = _round(dose_percent([(booth_dba, hours)]))
        found["noise"] = noise_line(booth_dba, hours)
        found["ears"] = EARS_CAUTION
    return found


def pictures(
    routine: Routine,
    reader: TakeReader,
    *,
    takes: int = 3,
    pieces: Sequence[PieceRow] | None = None,
) -> Pictures:
    """The latest takes, every set piece that was played, and the routine's losses.

    `pieces` as `reader.pieces()`, where they were read already.
    """
    rows = reader.takes(limit=max(takes, 50))
    pieces = of_this_map(reader.pieces() if pieces is None else pieces, routine)

    def scores() -> list[dict[str, Any]]:
        return [reader.score(row.id) for row in rows[:50]]

    found: Pictures = {
        "losses.png": lambda: losses_picture(routine, [reader.score(r.id) for r in rows[:50]])
    }
    for take in rows[:takes]:
        found[f"take-{take.id}.png"] = _take_drawer(routine, reader, take)
    for index, piece in enumerate(routine.pieces):
        if any(row.name == piece.name for row in pieces):
            found[f"piece-{index + 1}.png"] = _history_drawer(pieces, piece.name)
    return found


def draw_take(routine: Routine, reader: TakeReader, take: TakeRow) -> bytes:
    """One take's picture. ValueError when the section map no longer has its set piece."""
    aim = aim_of(routine, take.aim)
    kept = reader.kept(take.id)
    if aim is None or any(visit.piece >= len(aim.routine.pieces) for visit in kept.visits):
        raise ValueError(f"take {take.id} was of another section map")
    return take_picture(aim.routine, aim.first, kept, reader.score(take.id))


def _take_drawer(routine: Routine, reader: TakeReader, take: TakeRow) -> Callable[[], bytes]:
    return lambda: draw_take(routine, reader, take)


def _history_drawer(pieces: Sequence[PieceRow], name: str) -> Callable[[], bytes]:
    return lambda: history_picture(pieces, name)


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
