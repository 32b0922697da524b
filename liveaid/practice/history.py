"""Which kept takes belong to the set pieces as they are written now.

A set piece is known by what is played in it: renamed it keeps its history, changed it starts a new
one. Takes from before that was written down are known by the name.
"""

from __future__ import annotations

from collections.abc import Iterable

from liveaid.practice.records import PieceRow
from liveaid.routine import Routine
from liveaid.routine.digest import piece_digest


def of_this_map(rows: Iterable[PieceRow], routine: Routine) -> list[PieceRow]:
    """The rows that tell of this map's set pieces, under the names these have now."""
    digests = {piece_digest(routine, i): piece.name for i, piece in enumerate(routine.pieces)}
    names = {piece.name for piece in routine.pieces}
    found = []
    for row in rows:
        name = digests.get(row.digest) if row.digest else row.name if row.name in names else None
        if name is not None:
            aim = name if row.aim == row.name else row.aim
            found.append(row if row.name == name else row._replace(name=name, aim=aim))
    return found
