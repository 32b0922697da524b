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
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

from liveaid.practice.journal import Journal, Spoiled
from liveaid.practice.mixer_trace import pack_mixer
from liveaid.practice.records import Kept
from liveaid.practice.schema import AS_JSON, StoreError, as_store_error, may_pass, open_to_write
from liveaid.practice.take_score import TakeScore
from liveaid.practice.trace import pack

RETRY_S = 5.0
"""How often takes that wait are tried again."""
_FIGURES = ("clean", "judged", "heard", "missed", "added", "skipped", "bias_ms", "spread_ms")
"""What of a take's and a set piece's score is kept in columns of its own."""


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
        return self._do(lambda db: _change(db, take, {"said": said}))

    def note(self, text: str, *, at: float, take: int | None, aim: str) -> Future[int]:
        """Write a note down, of a take or of what is practised."""
        row = {"at": at, "take": take, "aim": aim, "text": text}
        return self._do(lambda db: _add(db, "note", row))

    def delay(self, *, at: float, sender: str, output: str, deck: str, late: Late) -> Future[int]:
        """Write down how late a deck's positions, or the click, were found to be."""
        row = {"at": at, "sender": sender, "output": output, "deck": deck, **asdict(late)}
        return self._do(lambda db: _add(db, "delay", row))

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
        self._db.execute("BEGIN IMMEDIATE")
        try:
            number = work(self._db)
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:  # a full disk ends it by itself
                self._db.execute("ROLLBACK")
            raise
        return number


@dataclass(frozen=True, slots=True)
class _StoreJob:
    work: Callable[[sqlite3.Connection], int]
    done: Future[int]
    code: str
    """Of the take that is to be kept; empty for anything else."""
    take: Kept | None


def _add(db: sqlite3.Connection, table: str, row: Mapping[str, object]) -> int:
    """Add a row by its columns' names; its number."""
    values = ", ".join(f":{name}" for name in row)
    added = db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({values})", row)
    return added.lastrowid or 0


def _change(db: sqlite3.Connection, take: int, row: Mapping[str, object]) -> int:
    """Write columns of a take anew; its number."""
    values = ", ".join(f"{name} = :{name}" for name in row)
    db.execute(f"UPDATE take SET {values} WHERE id = :id", {**row, "id": take})
    return take


def _insert(db: sqlite3.Connection, take: Kept, code: str) -> int:
    """A take's number; one that is there already, from a try that was cut short, is not doubled."""
    for (number,) in db.execute("SELECT id FROM take WHERE code = ?", (code,)):
        return int(number)
    words = take.words()
    packed = {
        **{name: json.dumps(words[name]) for name in AS_JSON},
        "mixer": pack_mixer(take.mixer) if take.mixer else None,
        "trace": pack(take.trace),
        "code": code,
    }
    return _add(db, "take", {**words, **packed})


def _score(db: sqlite3.Connection, take: int, score: TakeScore) -> int:
    _change(
        db, take,
        {
            "score": json.dumps(score.to_json(), separators=(",", ":")),
            "first_piece": score.pieces[0].index if score.pieces else None,
            **{name: getattr(score, name) for name in ("run_through", *_FIGURES)},
        },
    )  # fmt: skip
    (played,) = db.execute("SELECT played FROM take WHERE id = ?", (take,)).fetchone() or ("{}",)
    digests = json.loads(played)
    db.execute("DELETE FROM piece WHERE take = ?", (take,))
    for place, piece in enumerate(score.pieces):
        own = ("name", "whole", "tempo_percent", "drift_percent", *_FIGURES)
        row = {"take": take, "place": place, "digest": digests.get(str(piece.index), "")}
        _add(db, "piece", {**row, **{name: getattr(piece, name) for name in own}})
    return take


def _add_time(db: sqlite3.Connection, day: str, seconds: float) -> int:
    db.execute(
        "INSERT INTO day VALUES (?, ?) ON CONFLICT (day) DO UPDATE"
        " SET hands_on_s = hands_on_s + excluded.hands_on_s",
        (day, seconds),
    )
    return 0
