"""The file behind the shelf: an SQLite database that several processes can write to in turn.

Write-ahead log, BEGIN IMMEDIATE, a version, and every error as one line that names the file.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from liveaid.errors import LiveaidError
from liveaid.files.folders import data_folder
from liveaid.files.names import shown
from liveaid.routine.scene import database_files, map_file, own
from liveaid.shelf.columns import INDEXES, TABLE

SCHEMA_VERSION = 9
APPLICATION_ID = 0x6C766169
"""Marks the file as a shelf in SQLite's header."""
BUSY_S = 30.0
"""How long to wait for another process that is writing."""

_SCHEMA = """
CREATE TABLE sound (
    hash BLOB PRIMARY KEY,
    study TEXT,
    fault TEXT NOT NULL DEFAULT '',
    study_version INTEGER NOT NULL,
    kind TEXT, tempo REAL, key TEXT, energy INTEGER, bar REAL, metre INTEGER,
    note TEXT NOT NULL DEFAULT '', source TEXT NOT NULL DEFAULT '',
    licence TEXT NOT NULL DEFAULT '',
    artist TEXT NOT NULL DEFAULT '', title TEXT NOT NULL DEFAULT '', album TEXT NOT NULL DEFAULT '',
    CHECK ((study IS NULL) = (fault <> ''))
) STRICT;
CREATE TABLE file (
    path BLOB PRIMARY KEY,
    hash BLOB NOT NULL REFERENCES sound (hash) ON DELETE CASCADE,
    size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
    device INTEGER NOT NULL, settled INTEGER NOT NULL, gone INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX file_hash ON file (hash);
CREATE TABLE tag (
    hash BLOB NOT NULL REFERENCES sound (hash) ON DELETE CASCADE,
    word TEXT NOT NULL,
    PRIMARY KEY (hash, word)
) STRICT;
"""
_TIMBRE = (
    "CREATE TABLE timbre (hash BLOB PRIMARY KEY REFERENCES sound (hash) ON DELETE CASCADE,"
    " look BLOB NOT NULL) STRICT, WITHOUT ROWID"
)
_PICTURE = _TIMBRE.replace("timbre", "picture").replace(", WITHOUT ROWID", "")
"""Apart, so that all timbres are read at once without the pictures."""
_STATEMENTS = (*_SCHEMA.split(";\n"), TABLE, *INDEXES, _TIMBRE, _PICTURE)

_UPGRADES: dict[int, tuple[str, ...]] = {
    1: ("ALTER TABLE sound ADD COLUMN energy INTEGER",),
    2: (
        *(f"ALTER TABLE sound ADD COLUMN {name} TEXT NOT NULL DEFAULT ''"
          for name in ("artist", "title", "album")),
        TABLE,
        *INDEXES,
    ),
    3: ("DROP TABLE fact", TABLE, *INDEXES),
    4: ("ALTER TABLE sound ADD COLUMN bar REAL", "ALTER TABLE sound ADD COLUMN metre INTEGER"),
    5: (_TIMBRE, _PICTURE),
    6: ("DROP TABLE fact", TABLE, *INDEXES),
    7: ("CREATE INDEX IF NOT EXISTS fact_part ON fact (part)",),
    8: ("DROP TABLE fact", TABLE, *INDEXES),
}  # fmt: skip
"""What brings a shelf of one version to the next; the columns are filled when it is opened."""


class ShelfError(LiveaidError):
    """The shelf cannot be used: which file, why, and what would do."""


def default_shelf() -> Path:
    """The performer's own shelf, among what this system keeps for its users."""
    return data_folder() / "shelf.sqlite"


def shelf_for(scene: str | Path | None) -> Path:
    """A scene's own shelf, shelf.sqlite beside its section map, where there is one; else the
    performer's."""
    if scene is None:
        return default_shelf()
    folder = map_file(scene).parent
    for name in database_files("shelf.sqlite"):
        own(folder, name)
    found = folder / "shelf.sqlite"
    return found if found.is_file() else default_shelf()


class Database:
    """An open shelf file. One thread uses it.

    ShelfError when it cannot be opened, is no shelf, or is of a newer kind; with `make=False`
    also when there is none yet.
    """

    def __init__(self, path: str | Path, *, make: bool, busy_s: float) -> None:
        self.path = Path(path)
        self._busy_s = busy_s
        if not make and not self.path.exists():
            raise ShelfError(f"{shown(path)}: no shelf there yet; `liveaid gather FOLDER` makes it")
        try:
            if make:
                self.path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self.path, timeout=busy_s, isolation_level=None)
        except (OSError, sqlite3.Error) as error:
            raise ShelfError(f"{shown(path)}: the shelf cannot be opened: {error}") from error
        try:
            with self._said():
                self._prepare()
        except BaseException:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the file; what was kept stays kept."""
        self._db.close()

    def rows(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows a question answers with."""
        with self._said():
            return self._db.execute(statement, values).fetchall()

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Several questions one after another."""
        with self._said():
            yield self._db

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, all of it or nothing; waits for its turn."""
        with self._said():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                self._db.rollback()
                raise
            self._db.execute("COMMIT")

    def _prepare(self) -> None:
        self._db.execute("PRAGMA foreign_keys = ON")
        application, version, empty = self._looked()
        if (application, version) == (0, 0) and empty:
            self._make()
            application, version, _ = self._looked()
        if application != APPLICATION_ID:
            raise ShelfError(f"{shown(self.path)}: a database, but no shelf; another file would do")
        if version > SCHEMA_VERSION:
            raise ShelfError(
                f"{shown(self.path)}: a shelf of version {version}, made by a newer liveaid;"
                f" this one reads version {SCHEMA_VERSION}"
            )
        if version < SCHEMA_VERSION:
            self._upgrade()
        self._db.execute("PRAGMA synchronous = NORMAL")

    def _make(self) -> None:
        self._to_wal()
        with self.writing() as db:
            if self._has_tables():
                return  # another process was quicker
            for statement in _STATEMENTS:
                db.execute(statement)
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def _upgrade(self) -> None:
        with self.writing() as db:
            for version in range(self._number("user_version"), SCHEMA_VERSION):
                for statement in _UPGRADES[version]:
                    db.execute(statement)
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def _to_wal(self) -> None:
        """Turn the write-ahead log on; SQLite does not wait for others here, so we do."""
        give_up_at = time.monotonic() + self._busy_s
        while True:
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > give_up_at:
                    raise
                time.sleep(0.02)

    def _has_tables(self) -> bool:
        return self._db.execute("SELECT 1 FROM sqlite_schema").fetchone() is not None

    def _looked(self) -> tuple[int, int, bool]:
        """Whose file it is, its version and whether it is empty, all as of one moment: another
        process may be making the shelf."""
        self._db.execute("BEGIN")
        try:
            empty = not self._has_tables()
            return self._number("application_id"), self._number("user_version"), empty
        finally:
            self._db.execute("COMMIT")

    def _number(self, name: str) -> int:
        return int(self._db.execute(f"PRAGMA {name}").fetchone()[0])

    @contextlib.contextmanager
    def _said(self) -> Iterator[None]:
        """SQLite's errors as one line that names the shelf."""
        try:
            yield
        except sqlite3.Error as error:
            raise ShelfError(f"{shown(self.path)}: {_why(error, self._busy_s)}") from error


def _why(error: sqlite3.Error, busy_s: float) -> str:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    wording: dict[int, Callable[[], str]] = {
        sqlite3.SQLITE_BUSY: lambda: (
            f"another process has been writing to this shelf for over {busy_s:.0f} s;"
            " wait for it to end"
        ),
        sqlite3.SQLITE_NOTADB: lambda: "not a shelf; another file would do",
        sqlite3.SQLITE_CORRUPT: lambda: (
            "the shelf is damaged; move it away and gather the folders again"
        ),
        sqlite3.SQLITE_READONLY: lambda: "the shelf cannot be written to",
        sqlite3.SQLITE_FULL: lambda: "no room left on the disk",
    }
    return wording.get(code, lambda: f"the shelf cannot be used: {error}")()
