"""Takes kept in one SQLite file: figures to ask, scores in full, and every trace.

One thread writes. A take that ended goes into the journal first, then into the database in a
transaction of its own, and out of the journal; so neither a process killed at any moment nor a
database that is locked, full or broken loses one. What waits in the journal is tried again while
the store is open, and whenever one is opened. Anyone may read meanwhile (WAL).
"""

from __future__ import annotations

import contextlib
import json
import queue
import secrets
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import astuple, dataclass
from functools import partial
from pathlib import Path
from typing import Any

from liveaid.practice.journal import Journal, Spoiled
from liveaid.practice.mixer_trace import pack_mixer
from liveaid.practice.records import Kept
from liveaid.practice.schema import StoreError, as_store_error, may_pass, open_to_write
from liveaid.practice.take_score import TakeScore
from liveaid.practice.trace import pack

RETRY_S = 5.0
"""How often takes that wait are tried again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Late:
    """How late something was found to be, how surely (standard error), by how many acts."""

    late_s: float
    sure_s: float
    acts: int


class TakeStore:
    """Writes takes; make one per process and close it."""

    def __init__(self, file: Path, *, retry_s: float = RETRY_S) -> None:
        """Open or make the file. StoreError when it is none of takes or can't be made.

        One that is only locked, or on a full disk, is waited for: the journal keeps takes so long.
        """
        self.file = file
        self.journal = Journal(file)
        self._retry_s = retry_s
        self._db: sqlite3.Connection | None = None
        self._in_memory: dict[str, Kept] = {}
        """Takes the disk had no room for, not even in the journal."""
        self._jobs: queue.SimpleQueue[_StoreJob | None] = queue.SimpleQueue()
        ready: Future[int] = Future()
        self._writer = threading.Thread(
            target=self._write, args=(ready,), name="takes", daemon=True
        )
        self._writer.start()
        ready.result()

    def keep(self, take: Kept) -> Future[int]:
        """Write a take; the future holds its number once the database has it.

        A StoreError says why it has not; the take then waits in the journal for another try.
        """
        code = secrets.token_hex(16)
        return self._do(lambda db: _insert(db, take, code), code, take)

    def score(self, take: int, score: TakeScore) -> Future[int]:
        """Write a kept take's score, in place of any it had."""
        return self._do(lambda db: _score(db, take, score))

    def say(self, take: int, said: str) -> Future[int]:
        """Write the performer's own word on a kept take: keep, drop, or none."""
        return self._do(lambda db: _say(db, take, said))

    def note(self, text: str, *, at: float, take: int | None, aim: str) -> Future[int]:
        """Write a note down, of a take or of what is practised."""
        return self._do(lambda db: _note(db, at, take, aim, text))

    def delay(self, *, at: float, sender: str, output: str, deck: str, late: Late) -> Future[int]:
        """Write down how late a deck's positions, or the click, were found to be."""
        values = (at, sender, output, deck, late.late_s, late.sure_s, late.acts)
        return self._do(lambda db: _delay(db, values))

    def work(self, day: str, seconds: float) -> Future[int]:
        """Add hands-on time to a day (ISO 8601)."""
        return self._do(lambda db: _add_time(db, day, seconds))

    @property
    def waiting(self) -> int:
        """Takes that are not in the database yet."""
        return len({*self._in_memory, *self.journal.waiting()})

    @property
    def in_memory(self) -> int:
        """Takes that are nowhere but in memory: the disk has no room for them."""
        return len(self._in_memory)

    def close(self) -> None:
        """Finish what is waiting, as far as the disk lets it, then close."""
        self._jobs.put(None)
        self._writer.join()

    def _do(
        self, work: Callable[[sqlite3.Connection], int], code: str = "", take: Kept | None = None
    ) -> Future[int]:
        job = _StoreJob(work, Future(), code, take)
        self._jobs.put(job)
        return job.done

    def _write(self, ready: Future[int]) -> None:
        try:
            self._db = open_to_write(self.file)
        except (sqlite3.Error, OSError, StoreError) as error:
            if not may_pass(error):
                ready.set_exception(as_store_error(self.file, error))
                return
        ready.set_result(0)
        self._drain()
        while (job := self._next()) is not None:
            self._work(job)
            self._drain()
        self._drain()
        if self._db is not None:
            self._db.close()

    def _next(self) -> _StoreJob | None:
        """The next job; while takes wait, another try with them in between."""
        while True:
            try:
                return self._jobs.get(timeout=self._retry_s if self.waiting else None)
            except queue.Empty:
                self._drain()

    def _work(self, job: _StoreJob) -> None:
        if job.take is not None:
            self._in_memory[job.code] = job.take
            self._journal(job.code)
        try:
            number = self._transaction(job.work)
        except Exception as error:
            told = self._waits(job.code, error) if job.code else as_store_error(self.file, error)
            job.done.set_exception(told)
            return
        if job.code:
            self._is_kept(job.code)
        job.done.set_result(number)

    def _waits(self, code: str, error: Exception) -> StoreError:
        where = (
            "in memory, for want of room"
            if code in self._in_memory
            else f"in {self.journal.folder}"
        )
        return StoreError(
            f"{self.file}: the take is not in there yet ({error}); it waits {where} and goes in as "
            "soon as it can"
        )

    def _journal(self, code: str) -> None:
        """Put a take on the disk before anything else; it stays in memory if there is no room."""
        with contextlib.suppress(OSError):
            self.journal.write(code, self._in_memory[code])
            del self._in_memory[code]

    def _is_kept(self, code: str) -> None:
        self._in_memory.pop(code, None)
        self.journal.drop(code)

    def _drain(self) -> None:
        """Try once more with every take that waits; the first that fails ends the try."""
        for code in list(self._in_memory):
            self._journal(code)
        for code in (*self.journal.waiting(), *self._in_memory):
            try:
                take = self._in_memory.get(code) or self.journal.read(code)
                self._transaction(partial(_insert, take=take, code=code))
            except Spoiled:
                continue
            except Exception:
                return
            self._is_kept(code)

    def _transaction(self, work: Callable[[sqlite3.Connection], int]) -> int:
        if self._db is None:
            self._db = open_to_write(self.file)
        return _transaction(self._db, work)


@dataclass(frozen=True, slots=True)
class _StoreJob:
    work: Callable[[sqlite3.Connection], int]
    done: Future[int]
    code: str
    """Of the take that is to be kept; empty for anything else."""
    take: Kept | None


def _transaction(db: sqlite3.Connection, work: Callable[[sqlite3.Connection], int]) -> int:
    db.execute("BEGIN IMMEDIATE")
    try:
        found = work(db)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:  # a full disk ends it by itself
            db.execute("ROLLBACK")
        raise
    return found


def _insert(db: sqlite3.Connection, take: Kept, code: str) -> int:
    """A take's number; one that is there already, from a try that was cut short, is not doubled."""
    for (number,) in db.execute("SELECT id FROM take WHERE code = ?", (code,)):
        return int(number)
    row = db.execute(
        "INSERT INTO take (title, at, aim, ended, duration_s, tempo_part, start_s, counted_in_s,"
        " visits, trace, mixer, sender, delays, played, decks_part, code)"
        f" VALUES ({', '.join('?' * 16)})",
        (
            take.title, take.at, take.aim, take.ended, take.duration_s, take.tempo_part,
            take.start_s, take.counted_in_s, json.dumps([astuple(v) for v in take.visits]),
            pack(take.trace), pack_mixer(take.mixer) if take.mixer else None, take.sender,
            json.dumps(take.delays.to_json()),
            json.dumps(dict(take.played)), take.decks_part, code,
        ),
    ).lastrowid  # fmt: skip
    assert row is not None
    return row


def _score(db: sqlite3.Connection, take: int, score: TakeScore) -> int:
    text = json.dumps(score.to_json(), separators=(",", ":"))
    db.execute(
        "UPDATE take SET score = ?, clean = ?, judged = ?, run_through = ?, first_piece = ?,"
        " heard = ?, missed = ?, added = ?, skipped = ?, bias_ms = ?, spread_ms = ? WHERE id = ?",
        (
            text, score.clean, score.judged, score.run_through,
            score.pieces[0].index if score.pieces else None, score.heard, score.missed,
            score.added, score.skipped, score.bias_ms, score.spread_ms, take,
        ),
    )  # fmt: skip
    played = _played(db, take)
    db.execute("DELETE FROM piece WHERE take = ?", (take,))
    db.executemany(
        "INSERT INTO piece (take, place, judged, digest, name, clean, whole, heard, missed, added,"
        f" skipped, bias_ms, spread_ms, tempo_percent, drift_percent) VALUES (?{',?' * 14})",
        [
            (
                take, place, piece.judged, played.get(str(piece.index), ""), piece.name,
                piece.clean, piece.whole, piece.heard, piece.missed, piece.added, piece.skipped,
                piece.bias_ms, piece.spread_ms, piece.tempo_percent, piece.drift_percent,
            )
            for place, piece in enumerate(score.pieces)
        ],
    )  # fmt: skip
    return take


def _played(db: sqlite3.Connection, take: int) -> dict[str, str]:
    for (played,) in db.execute("SELECT played FROM take WHERE id = ?", (take,)):
        return dict(json.loads(played))
    return {}


def _say(db: sqlite3.Connection, take: int, said: str) -> int:
    db.execute("UPDATE take SET said = ? WHERE id = ?", (said, take))
    return take


def _note(db: sqlite3.Connection, at: float, take: int | None, aim: str, text: str) -> int:
    db.execute("INSERT INTO note (at, take, aim, text) VALUES (?,?,?,?)", (at, take, aim, text))
    return 0


def _delay(db: sqlite3.Connection, values: tuple[Any, ...]) -> int:
    db.execute("INSERT INTO delay VALUES (?,?,?,?,?,?,?)", values)
    return 0


def _add_time(db: sqlite3.Connection, day: str, seconds: float) -> int:
    db.execute(
        "INSERT INTO day VALUES (?, ?) ON CONFLICT (day) DO UPDATE"
        " SET hands_on_s = hands_on_s + excluded.hands_on_s",
        (day, seconds),
    )
    return 0
