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
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any

from liveaid.practice.records import Kept
from liveaid.practice.schema import StoreError, as_store_error, open_to_write
from liveaid.practice.trace import pack


@dataclass(frozen=True, slots=True, kw_only=True)
class Late:
    """How late something was found to be, how surely (standard error), by how many acts."""

    late_s: float
    sure_s: float
    acts: int


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
            db = open_to_write(self.file)
        except (sqlite3.Error, OSError, StoreError) as error:
            ready.set_exception(as_store_error(self.file, error))
            return
        ready.set_result(0)
        with contextlib.closing(db):
            while (job := self._jobs.get()) is not None:
                try:
                    job.done.set_result(_transaction(db, job.work))
                except Exception as error:
                    job.done.set_exception(as_store_error(self.file, error))


@dataclass(frozen=True, slots=True)
class _Job:
    work: Callable[[sqlite3.Connection], int]
    done: Future[int]


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
        " visits, trace, sender, delays) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)",
        (
            take.title, take.at, take.aim, take.ended, take.duration_s, take.tempo_part,
            take.start_s, take.counted_in_s, json.dumps([astuple(v) for v in take.visits]),
            pack(take.trace), take.sender, json.dumps(take.delays.to_json()),
        ),
    ).lastrowid  # fmt: skip
    assert row is not None
    return row


def _score(db: sqlite3.Connection, take: int, score: Mapping[str, Any]) -> int:
    first = score["pieces"][0]["index"] if score["pieces"] else None
    db.execute(
        "UPDATE take SET score = ?, clean = ?, judged = ?, run_through = ?, first_piece = ?,"
        " heard = ?, missed = ?, added = ?, skipped = ?, bias_ms = ?, spread_ms = ? WHERE id = ?",
        (
            json.dumps(score, separators=(",", ":")), score["clean"], _judged(score),
            score["run_through"], first, *(score[name] for name in _TAKE_FIGURES), take,
        ),
    )  # fmt: skip
    db.execute("DELETE FROM piece WHERE take = ?", (take,))
    db.executemany(
        f"INSERT INTO piece (take, place, judged, {', '.join(_FIGURES)})"
        f" VALUES (?,?,?{',?' * len(_FIGURES)})",
        [
            (take, place, _judged(piece), *(piece[name] for name in _FIGURES))
            for place, piece in enumerate(score["pieces"])
        ],
    )
    return take


_TAKE_FIGURES = ("heard", "missed", "added", "skipped", "bias_ms", "spread_ms")
_FIGURES = (
    "name", "clean", "whole", "heard", "missed", "added", "skipped", "bias_ms", "spread_ms",
    "tempo_percent", "drift_percent",
)  # fmt: skip


def _judged(score: Mapping[str, Any]) -> bool:
    return bool(score["verdict"] != "not judged")


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
