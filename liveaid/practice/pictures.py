"""Which pictures there are of what was kept, each drawn when it is asked for."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from functools import partial

from liveaid.practice.history import of_this_map
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept, PieceRow, TakeRow
from liveaid.practice.schema import StoreError
from liveaid.practice.slower import aim_of_kept
from liveaid.practice.take_score import TakeScore
from liveaid.routine import SIDES, Routine, Works

Pictures = dict[str, Callable[[], bytes]]
"""File name and how to draw it. What draws is loaded with the first picture: it takes half a second
that a rehearsal's start need not wait."""

_DRAWN = 3
"""The latest takes, of which each has a picture."""
_LOSSES_OF = 50
"""The latest takes, of which it is shown where time is lost."""


def pictures(
    routine: Routine, reader: TakeReader, *, pieces: Sequence[PieceRow] | None = None
) -> Pictures:
    """The latest takes, every set piece that was played, and the routine's losses.

    `pieces`: what `of_this_map` has of `reader.pieces()`, where that is known.
    """
    rows = reader.takes(limit=_LOSSES_OF)
    pieces = of_this_map(reader.pieces(), routine) if pieces is None else pieces
    found: Pictures = {"losses.png": partial(_draw_losses, routine, reader, rows)}
    for take in rows[:_DRAWN]:
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

    return losses_picture(routine, list(reader.scores(row.id for row in rows).values()))


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
