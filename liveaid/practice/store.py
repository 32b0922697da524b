"""Takes kept in one SQLite file: figures to ask, scores in full, and every trace.

One thread writes, each take in a transaction of its own that is on the disk before it is called
kept, so a process killed at any moment loses none that ended. Anyone may read meanwhile (WAL).
"""

from __future__ import annotations

import contextlib
import json
import queue
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any

from liveaid.errors import LiveaidError
from liveaid.practice.assess import Visit
from liveaid.practice.trace import Trace, pack, unpack

VERSION = 1
_LOCKED_S = 5.0

_SCHEMA = """
CREATE TABLE take (
    id INTEGER PRIMARY KEY,
    title TEXT NOT NULL,
    at REAL NOT NULL,
    aim TEXT NOT NULL,
    ended TEXT NOT NULL,
    duration_s REAL NOT NULL,
    tempo_part REAL NOT NULL,
    clean INTEGER NOT NULL DEFAULT 0,
    run_through INTEGER NOT NULL DEFAULT 0,
    start_s REAL NOT NULL,
    counted_in_s REAL,
    visits TEXT NOT NULL,
    score TEXT,
    trace BLOB NOT NULL
) STRICT;
CREATE TABLE piece (
    take INTEGER NOT NULL REFERENCES take (id),
    place INTEGER NOT NULL,
    name TEXT NOT NULL,
    clean INTEGER NOT NULL,
    whole INTEGER NOT NULL,
    heard INTEGER NOT NULL,
    missed INTEGER NOT NULL,
    added INTEGER NOT NULL,
    skipped INTEGER NOT NULL,
    bias_ms REAL,
    spread_ms REAL,
    tempo_percent REAL,
    drift_percent REAL,
    PRIMARY KEY (take, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX piece_name ON piece (name, take);
CREATE TABLE day (
    day TEXT PRIMARY KEY,
    hands_on_s REAL NOT NULL
) STRICT, WITHOUT ROWID;
"""


class StoreError(LiveaidError):
    """The file of takes can't be used."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """A take as it is kept."""

    title: str
    """The routine's."""
    at: float
    """Unix time at which it began."""
    aim: str
    """The set piece practised, empty for the routine as a whole."""
    ended: str
    duration_s: float
    tempo_part: float
    start_s: float
    """Monotonic second of its first beat, in the trace's time."""
    counted_in_s: float | None
    """Where the count-in put that beat, in the trace's time."""
    visits: tuple[Visit, ...]
    trace: Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRow:
    """One set piece of one take, without its events."""

    take: int
    at: float
    aim: str
    tempo_part: float
    name: str
    clean: bool
    whole: bool
    heard: int
    missed: int
    added: int
    skipped: int
    bias_ms: float | None
    spread_ms: float | None
    tempo_percent: float | None
    drift_percent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRow:
    """One take, without its trace."""

    id: int
    at: float
    aim: str
    ended: str
    duration_s: float
    tempo_part: float
    clean: bool
    run_through: bool
    score: dict[str, Any]


class TakeStore:
    """Writes takes; make one per process and close it."""

    def __init__(self, file: Path) -> None:
        """Open or make the file. StoreError when that can't be done."""
        self.file = file
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        ready: Future[int] = Future()
        self._writer = threading.Thread(
            target=self._write, args=(ready,), name="takes", daemon=True
        )
        self._writer.start()
        ready.result()

    def keep(self, take: Kept) -> Future[int]:
        """Write a take; the future holds its number once it is on the disk, or a StoreError."""
        return self._do(lambda db: _insert(db, take))

    def score(self, take: int, score: Mapping[str, Any]) -> Future[int]:
        """Write a kept take's score, in place of any it had."""
        return self._do(lambda db: _score(db, take, score))

    def work(self, day: str, seconds: float) -> Future[int]:
        """Add hands-on time to a day (ISO 8601)."""
        return self._do(lambda db: _add_time(db, day, seconds))

    def close(self) -> None:
        """Finish what is waiting, then close."""
        self._jobs.put(None)
        self._writer.join()

    def _do(self, work: Callable[[sqlite3.Connection], int]) -> Future[int]:
        job = _Job(work, Future())
        self._jobs.put(job)
        return job.done

    def _write(self, ready: Future[int]) -> None:
        try:
            db = _open(self.file)
        except (sqlite3.Error, OSError, StoreError) as error:
            ready.set_exception(_as_store_error(self.file, error))
            return
        ready.set_result(0)
        with contextlib.closing(db):
            while (job := self._jobs.get()) is not None:
                try:
                    job.done.set_result(_transaction(db, job.work))
                except Exception as error:
                    job.done.set_exception(_as_store_error(self.file, error))


@dataclass(frozen=True, slots=True)
class _Job:
    work: Callable[[sqlite3.Connection], int]
    done: Future[int]


class TakeReader:
    """Reads takes, also while another process writes. StoreError when there is no such file."""

    def __init__(self, file: Path) -> None:
        if not file.is_file():
            raise StoreError(f"{file}: no takes kept yet; `liveaid rehearse` keeps some")
        self.file = file
        try:
            self._db = sqlite3.connect(
                f"{file.resolve().as_uri()}?mode=ro", uri=True, timeout=_LOCKED_S
            )
            _check_version(file, self._db)
        except sqlite3.Error as error:
            raise _as_store_error(file, error) from error

    def __enter__(self) -> TakeReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._db.close()

    def takes(self, *, limit: int = 1000) -> list[TakeRow]:
        """The latest takes, latest first."""
        rows = self._rows(
            "SELECT id, at, aim, ended, duration_s, tempo_part, clean, run_through, score"
            " FROM take WHERE score IS NOT NULL ORDER BY at DESC, id DESC LIMIT ?",
            (limit,),
        )
        return [
            TakeRow(
                id=i, at=at, aim=aim, ended=ended, duration_s=lasts, tempo_part=part,
                clean=bool(clean), run_through=bool(through), score=json.loads(score),
            )
            for i, at, aim, ended, lasts, part, clean, through, score in rows
        ]  # fmt: skip

    def pieces(self, *, limit: int = 20000) -> list[PieceRow]:
        """Every set piece of every take, latest first."""
        rows = self._rows(
            "SELECT take.id, at, aim, tempo_part, name, piece.clean, whole, heard, missed, added,"
            " skipped, bias_ms, spread_ms, tempo_percent, drift_percent"
            " FROM piece JOIN take ON take.id = piece.take"
            " ORDER BY at DESC, take DESC, place LIMIT ?",
            (limit,),
        )
        return [
            PieceRow(
                take=r[0], at=r[1], aim=r[2], tempo_part=r[3], name=r[4], clean=bool(r[5]),
                whole=bool(r[6]), heard=r[7], missed=r[8], added=r[9], skipped=r[10],
                bias_ms=r[11], spread_ms=r[12], tempo_percent=r[13], drift_percent=r[14],
            )
            for r in rows
        ]  # fmt: skip

    def unscored(self) -> list[int]:
        """Takes kept by a process that was stopped before it had scored them."""
        return [row[0] for row in self._rows("SELECT id FROM take WHERE score IS NULL", ())]

    def kept(self, take: int) -> Kept:
        """A take in full. StoreError when there is none of that number."""
        rows = self._rows(
            "SELECT title, at, aim, ended, duration_s, tempo_part, start_s, counted_in_s, visits,"
            " trace FROM take WHERE id = ?",
            (take,),
        )
        for title, at, aim, ended, lasts, part, start, counted, gone, trace in rows:
            return Kept(
                title=title, at=at, aim=aim, ended=ended, duration_s=lasts, tempo_part=part,
                start_s=start, counted_in_s=counted, trace=unpack(trace),
                visits=tuple(Visit(*visit) for visit in json.loads(gone)),
            )  # fmt: skip
        raise StoreError(f"{self.file}: no take {take}; `liveaid review` lists their numbers")

    def hands_on_s(self, day: str) -> float:
        """Hands-on time of a day (ISO 8601)."""
        rows = self._rows("SELECT hands_on_s FROM day WHERE day = ?", (day,))
        return sum(float(row[0]) for row in rows)

    def _rows(self, sql: str, values: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
        try:
            yield from self._db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise _as_store_error(self.file, error) from error


def _open(file: Path) -> sqlite3.Connection:
    file.parent.mkdir(parents=True, exist_ok=True)
    db = sqlite3.connect(file, timeout=_LOCKED_S, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    if db.execute("PRAGMA user_version").fetchone()[0] == 0:
        db.executescript(f"BEGIN IMMEDIATE; {_SCHEMA} PRAGMA user_version = {VERSION}; COMMIT;")
    _check_version(file, db)
    return db


def _check_version(file: Path, db: sqlite3.Connection) -> None:
    found = db.execute("PRAGMA user_version").fetchone()[0]
    if found != VERSION:
        raise StoreError(f"{file}: takes of version {found}; version {VERSION} would do")


def _transaction(db: sqlite3.Connection, work: Callable[[sqlite3.Connection], int]) -> int:
    db.execute("BEGIN IMMEDIATE")
    try:
        found = work(db)
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise
    return found


def _insert(db: sqlite3.Connection, take: Kept) -> int:
    row = db.execute(
        "INSERT INTO take (title, at, aim, ended, duration_s, tempo_part, start_s, counted_in_s,"
        " visits, trace) VALUES (?,?,?,?,?,?,?,?,?,?)",
        (
            take.title, take.at, take.aim, take.ended, take.duration_s, take.tempo_part,
            take.start_s, take.counted_in_s, json.dumps([astuple(v) for v in take.visits]),
            pack(take.trace),
        ),
    ).lastrowid  # fmt: skip
    assert row is not None
    return row


def _score(db: sqlite3.Connection, take: int, score: Mapping[str, Any]) -> int:
    db.execute(
        "UPDATE take SET score = ?, clean = ?, run_through = ? WHERE id = ?",
        (json.dumps(score, separators=(",", ":")), score["clean"], score["run_through"], take),
    )
    db.execute("DELETE FROM piece WHERE take = ?", (take,))
    db.executemany(
        "INSERT INTO piece VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)",
        [(take, place, *(p[name] for name in _FIGURES)) for place, p in enumerate(score["pieces"])],
    )
    return take


_FIGURES = (
    "name", "clean", "whole", "heard", "missed", "added", "skipped", "bias_ms", "spread_ms",
    "tempo_percent", "drift_percent",
)  # fmt: skip


def _add_time(db: sqlite3.Connection, day: str, seconds: float) -> int:
    db.execute(
        "INSERT INTO day VALUES (?, ?) ON CONFLICT (day) DO UPDATE"
        " SET hands_on_s = hands_on_s + excluded.hands_on_s",
        (day, seconds),
    )
    return 0


def _as_store_error(file: Path, error: Exception) -> StoreError:
    if isinstance(error, StoreError):
        return error
    return StoreError(f"{file}: takes can't be kept there ({error}); another --takes FILE would do")
