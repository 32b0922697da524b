"""What `review` and its page tell: takes, set pieces, what is next, care."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from liveaid.practice.care import DayOfHands
from liveaid.practice.history import of_this_map
from liveaid.practice.next import Outlook, outlook
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import NoteRow, PieceRow, TakeRow
from liveaid.practice.stretch import transition_name
from liveaid.practice.take_score import TakeScore
from liveaid.practice.weeks import Day, WeeksOf, plan_back, plateau, weeks
from liveaid.routine import Routine


def look(routine: Routine, reader: TakeReader, *, now: float, ready_at: float) -> Outlook:
    """How the set pieces stand by all that was kept."""
    rows = of_this_map(reader.pieces(), routine)
    return outlook(routine, rows, reader.takes(), now=now, ready_at=ready_at)


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """All that is told of what was kept."""

    title: str
    takes: tuple[tuple[TakeRow, TakeScore], ...]
    """The latest, latest first."""
    spoiled: tuple[int, ...]
    """Those of the latest whose score can't be read."""
    outlook: Outlook
    weeks: tuple[WeeksOf, ...]
    notes: tuple[NoteRow, ...]
    plan: tuple[Day, ...]
    """Back from the day on stage; none without one."""
    today: DayOfHands


def review(
    routine: Routine,
    reader: TakeReader,
    *,
    now: float,
    ready_at: float,
    booth_dba: float | None = None,
    last: int = 20,
    stage: date | None = None,
    rows: Sequence[PieceRow] | None = None,
) -> Review:
    """Everything at a unix time; with the day of the `stage` a plan back from it.

    `rows`: what `of_this_map` has of `reader.pieces()`, where that is known.
    """
    rows = of_this_map(reader.pieces(), routine) if rows is None else rows
    takes = reader.takes()
    scores = reader.scores(take.id for take in takes[:last])
    found = outlook(routine, rows, takes, now=now, ready_at=ready_at)
    day = date.fromtimestamp(now)
    return Review(
        title=routine.title,
        takes=tuple((take, scores[take.id]) for take in takes[:last] if take.id in scores),
        spoiled=tuple(sorted({take.id for take in takes[:last]} - scores.keys())),
        outlook=found,
        weeks=tuple(_weeks(routine, rows)),
        notes=tuple(reader.notes(limit=last)),
        plan=() if stage is None else plan_back(found, today=day, stage=stage),
        today=DayOfHands(reader.hands_on_s(day.isoformat()), booth_dba),
    )


def _weeks(routine: Routine, rows: Sequence[PieceRow]) -> Iterator[WeeksOf]:
    """Each set piece and practised transition that was played."""
    ways = [transition_name(routine, k) for k in range(len(routine.pieces) - 1)]
    by: dict[str, list[PieceRow]] = {}
    for row in rows:
        by.setdefault(row.aim if row.aim in ways else row.name, []).append(row)
    for name in [*(piece.name for piece in routine.pieces), *ways]:
        if found := weeks(by.get(name, ())):
            yield WeeksOf(name=name, weeks=found, plateau=plateau(found))
