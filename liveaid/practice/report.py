"""What `review` and its page tell: takes, set pieces, what is next, care; and their pictures."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path

from liveaid.practice.care import DayOfHands
from liveaid.practice.history import of_this_map
from liveaid.practice.journal import Journal
from liveaid.practice.limits import Limits
from liveaid.practice.next import Outlook, outlook
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept, NoteRow, PieceRow, TakeRow
from liveaid.practice.schema import StoreError
from liveaid.practice.session import Aim, aim_of, played_in, score_of
from liveaid.practice.slower import slower_folder
from liveaid.practice.store import TakeStore
from liveaid.practice.stretch import transition_name
from liveaid.practice.take_score import TakeScore
from liveaid.practice.weeks import Day, WeeksOf, plan_back, plateau, weeks
from liveaid.routine import SIDES, Routine, Works, load_routine
from liveaid.routine.scene import MAP, database_files, own, scene_folder

Pictures = dict[str, Callable[[], bytes]]
"""File name and how to draw it. What draws is loaded with the first picture: it takes half a second
that a rehearsal's start need not wait."""

_LOSSES_OF = 50
"""The latest takes, of which it is shown where time is lost."""


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
            aim = aim_of_kept(routine, kept, file.parent, limits)
            if aim and _can_be_judged_by(aim, kept):
                store.score(number, score_of(aim, kept)).result()
                count += 1
    finally:
        store.close()
    return count


def aim_of_kept(
    routine: Routine, kept: Kept, scene: Path, limits: Limits | None = None
) -> Aim | None:
    """What was practised in a take, on the deck files it was played on; None where they or it are
    gone."""
    aim = aim_of(routine, kept.aim, limits)
    if aim is None or kept.decks_part == 1.0:
        return aim
    file = scene / slower_folder(kept.aim, kept.decks_part) / MAP
    if not file.is_file():
        return None
    decks = {1.0: aim.routine, kept.decks_part: load_routine(file)}
    return replace(aim, decks=decks).on_decks(kept.decks_part)


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

    `rows` as `reader.pieces()`, where they were read already.
    """
    rows, takes = reader.pieces() if rows is None else rows, reader.takes()
    latest = {take: _score(reader, take.id) for take in takes[:last]}
    found = outlook(routine, rows, takes, now=now, ready_at=ready_at)
    day = date.fromtimestamp(now)
    return Review(
        title=routine.title,
        takes=tuple((take, score) for take, score in latest.items() if score is not None),
        spoiled=tuple(sorted(take.id for take, score in latest.items() if score is None)),
        outlook=found,
        weeks=tuple(_weeks(routine, rows)),
        notes=tuple(reader.notes(limit=last)),
        plan=() if stage is None else plan_back(found, today=day, stage=stage),
        today=DayOfHands(reader.hands_on_s(day.isoformat()), booth_dba),
    )


def _score(reader: TakeReader, number: int) -> TakeScore | None:
    """A scored take's score; None when it is spoiled."""
    with contextlib.suppress(StoreError):
        return reader.score(number)
    return None


def _weeks(routine: Routine, rows: Sequence[PieceRow]) -> Iterator[WeeksOf]:
    """Each set piece and practised transition that was played."""
    ways = [transition_name(routine, k) for k in range(len(routine.pieces) - 1)]
    by: dict[str, list[PieceRow]] = {}
    for row in rows:
        by.setdefault(row.aim if row.aim in ways else row.name, []).append(row)
    for name in [*(piece.name for piece in routine.pieces), *ways]:
        if found := weeks(by.get(name, ())):
            yield WeeksOf(name=name, weeks=found, plateau=plateau(found))


def today(now: float) -> str:
    """The local day of a unix time, ISO 8601."""
    return date.fromtimestamp(now).isoformat()


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
    rows = reader.takes(limit=max(takes, _LOSSES_OF))
    pieces = of_this_map(reader.pieces() if pieces is None else pieces, routine)
    found: Pictures = {"losses.png": partial(_draw_losses, routine, reader, rows[:_LOSSES_OF])}
    for take in rows[:takes]:
        found[f"take-{take.id}.png"] = partial(draw_take, routine, reader, take)
    for take in rows[:1]:
        for place in _worked(routine, reader, take):
            name = f"take-{take.id}-bars-{place + 1}.png"
            found[name] = partial(_draw_bars, routine, reader, take, place)
    for index, piece in enumerate(routine.pieces):
        if any(row.name == piece.name for row in pieces):
            found[f"piece-{index + 1}.png"] = partial(_draw_history, pieces, piece.name)
    return found


def draw_take(routine: Routine, reader: TakeReader, take: TakeRow) -> bytes:
    """One take's picture. ValueError when the section map no longer has its set piece."""
    from liveaid.practice.take_picture import take_picture

    asked, kept, score = _drawn(routine, reader, take)
    return take_picture(asked, kept, score)


def _draw_bars(routine: Routine, reader: TakeReader, take: TakeRow, place: int) -> bytes:
    from liveaid.practice.bars_picture import bars_picture

    asked, kept, score = _drawn(routine, reader, take)
    return bars_picture(asked, kept, place, score.pieces[place])


def _draw_history(pieces: Sequence[PieceRow], name: str) -> bytes:
    from liveaid.practice.history_picture import history_picture

    return history_picture(pieces, name)


def _draw_losses(routine: Routine, reader: TakeReader, rows: Sequence[TakeRow]) -> bytes:
    from liveaid.practice.losses import losses_picture

    scores = [_score(reader, row.id) for row in rows]
    return losses_picture(routine, [one for one in scores if one is not None])


def _worked(routine: Routine, reader: TakeReader, take: TakeRow) -> list[int]:
    """The places of a take's set pieces in which a hand worked a record."""
    with contextlib.suppress(StoreError, ValueError):
        asked, kept, _ = _drawn(routine, reader, take)
        pieces = [asked.pieces[visit.piece] for visit in kept.visits]
        return [
            place
            for place, piece in enumerate(pieces)
            if any(isinstance(piece.plan(side), Works) for side in SIDES)
        ]
    return []


def _drawn(routine: Routine, reader: TakeReader, take: TakeRow) -> tuple[Routine, Kept, TakeScore]:
    """What was asked for in a take, the take, and its score. ValueError where they do not agree."""
    kept = reader.kept(take.id)
    aim = aim_of_kept(routine, kept, reader.file.parent)
    if aim is None or any(visit.piece >= len(aim.routine.pieces) for visit in kept.visits):
        raise ValueError(f"take {take.id} was of another section map")
    score = reader.score(take.id)
    if score is None or len(score.pieces) != len(kept.visits):
        raise ValueError(f"take {take.id} has no score yet")
    return aim.routine, kept, score
