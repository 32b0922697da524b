"""Takes read back from their file, also while another process writes."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

from liveaid.practice.delays import MEASURED, Delays
from liveaid.practice.mixer_trace import unpack_mixer
from liveaid.practice.records import Kept, NoteRow, PieceRow, TakeRow, WholeRow
from liveaid.practice.schema import AS_JSON, StoreError, as_store_error, open_to_read
from liveaid.practice.take_score import TakeScore
from liveaid.practice.trace import TraceError, unpack
from liveaid.practice.visits import Visit

_IN_PIECE = frozenset(PieceRow._fields) - {"take", "at", "aim", "tempo_part"}
_PIECE = ["take.id" if name == "take" else f"piece.{name}" if name in _IN_PIECE else name
          for name in PieceRow._fields]  # fmt: skip


class TakeReader:
    """Reads takes. StoreError when there is no such file."""

    def __init__(self, file: Path) -> None:
        self.file = file
        try:
            self._db = open_to_read(file)
        except sqlite3.Error as error:
            raise as_store_error(file, error) from error

    def __enter__(self) -> TakeReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._db.close()

    def takes(self, *, limit: int = 1000) -> list[TakeRow]:
        """The latest scored takes, latest first."""
        rows = self._rows(
            f"SELECT {', '.join(TakeRow._fields)} FROM take WHERE score IS NOT NULL"
            " ORDER BY at DESC, id DESC LIMIT ?",
            (limit,),
        )
        return [
            row._replace(clean=bool(row.clean), run_through=bool(row.run_through))
            for row in map(TakeRow._make, rows)
        ]

    def pieces(self, *, limit: int = 20000) -> list[PieceRow]:
        """Every set piece of every take, latest first; takes the performer dropped left out.

        Yes and no are 1 and 0 in it.
        """
        # Takes as the index has them, each with its set pieces: nothing is left to be sorted.
        rows = self._rows(
            f"SELECT {', '.join(_PIECE)}"
            " FROM take INDEXED BY take_scored CROSS JOIN piece ON piece.take = take.id"
            " WHERE score IS NOT NULL AND said != 'drop'"
            " ORDER BY at DESC, take.id DESC, place LIMIT ?",
            (limit,),
        )
        return [PieceRow._make(row) for row in rows]

    def score(self, take: int) -> TakeScore | None:
        """A take's score in full; None before it has one.

        StoreError for no such take, or a score that is not what was written.
        """
        for (score,) in self._rows("SELECT score FROM take WHERE id = ?", (take,)):
            try:
                return TakeScore.from_json(json.loads(score)) if score else None
            except (ValueError, TypeError, KeyError, AttributeError) as error:
                raise self._spoiled(take, error) from error
        raise self._no_take(take)

    def scores(self, takes: Iterable[int]) -> dict[int, TakeScore]:
        """The scores of takes by their numbers; spoiled ones, and takes without one, left out."""
        found = {}
        for take in takes:
            with contextlib.suppress(StoreError):
                found[take] = self.score(take)
        return {take: score for take, score in found.items() if score is not None}

    def unscored(self) -> list[int]:
        """Takes kept by a process that was stopped before it had scored them."""
        return [row[0] for row in self._rows("SELECT id FROM take WHERE score IS NULL", ())]

    def kept(self, take: int) -> Kept:
        """A take in full. StoreError when there is none of that number."""
        names = [each.name for each in fields(Kept)]
        for row in self._rows(f"SELECT {', '.join(names)} FROM take WHERE id = ?", (take,)):
            words = dict(zip(names, row, strict=True))
            try:
                words |= {name: json.loads(words[name] or "null") for name in AS_JSON}
                words["mixer"] = unpack_mixer(words["mixer"])
                return Kept.of_words(words, unpack(words.pop("trace")))
            except (ValueError, TypeError, TraceError) as error:
                raise self._spoiled(take, error) from error
        raise self._no_take(take)

    def wholes(self, *, limit: int = 200) -> list[WholeRow]:
        """What the latest takes of the whole routine went through, latest first.

        Takes that the performer dropped, and spoiled ones, are left out.
        """
        rows = self._rows(
            "SELECT id, visits, played FROM take WHERE aim = '' AND said != 'drop'"
            " ORDER BY at DESC, id DESC LIMIT ?",
            (limit,),
        )
        found = []
        for number, gone, played in rows:
            with contextlib.suppress(ValueError, TypeError):
                visits = tuple(Visit(*visit) for visit in json.loads(gone))
                found.append(WholeRow(id=number, visits=visits, played=dict(json.loads(played))))
        return found

    def hands_on_s(self, day: str) -> float:
        """Hands-on time of a day (ISO 8601)."""
        rows = self._rows("SELECT hands_on_s FROM day WHERE day = ?", (day,))
        return sum(float(row[0]) for row in rows)

    def notes(self, *, limit: int = 200) -> list[NoteRow]:
        """What the performer noted, latest first."""
        rows = self._rows("SELECT at, take, aim, text FROM note ORDER BY at DESC LIMIT ?", (limit,))
        return [NoteRow(at=at, take=take, aim=aim, text=text) for at, take, aim, text in rows]

    def delays(self, sender: str, output: str) -> Delays:
        """What the last calibrations found of a sender's decks and an output's click."""
        found = dict(
            self._rows(
                "SELECT deck, late_s FROM delay WHERE (deck = 'click' AND output = ?)"
                " OR (deck != 'click' AND sender = ?) ORDER BY at",
                (output, sender),
            )
        )
        if not all(clock in found for clock in ("left", "right")):
            return Delays()
        late = {f"{clock}_s": float(found.get(clock, 0.0)) for clock in MEASURED}
        return Delays(**late, measured=True)

    def _spoiled(self, take: int, error: Exception) -> StoreError:
        return StoreError(f"{self.file}: take {take} is spoiled ({error})")

    def _no_take(self, take: int) -> StoreError:
        return StoreError(f"{self.file}: no take {take}; `liveaid review` lists their numbers")

    def _rows(self, sql: str, values: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
        try:
            yield from self._db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise as_store_error(self.file, error) from error
