"""The file of takes: where it is, its tables, and how an older file is brought up to date."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from liveaid.errors import LiveaidError
from liveaid.routine.scene import database_files, own, scene_folder

LOCKED_S = 5.0
"""How long a locked file is waited for (SQLite's own default)."""

_TAKES = """
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

_COACH = """
ALTER TABLE take ADD COLUMN judged INTEGER NOT NULL DEFAULT 1;
ALTER TABLE take ADD COLUMN first_piece INTEGER;
ALTER TABLE take ADD COLUMN heard INTEGER NOT NULL DEFAULT 0;
ALTER TABLE take ADD COLUMN missed INTEGER NOT NULL DEFAULT 0;
ALTER TABLE take ADD COLUMN added INTEGER NOT NULL DEFAULT 0;
ALTER TABLE take ADD COLUMN skipped INTEGER NOT NULL DEFAULT 0;
ALTER TABLE take ADD COLUMN bias_ms REAL;
ALTER TABLE take ADD COLUMN spread_ms REAL;
ALTER TABLE take ADD COLUMN said TEXT NOT NULL DEFAULT '';
ALTER TABLE take ADD COLUMN sender TEXT NOT NULL DEFAULT '';
ALTER TABLE take ADD COLUMN delays TEXT;
ALTER TABLE piece ADD COLUMN judged INTEGER NOT NULL DEFAULT 1;
UPDATE take SET
    first_piece = json_extract(score, '$.pieces[0].index'),
    heard = coalesce(json_extract(score, '$.heard'), 0),
    missed = coalesce(json_extract(score, '$.missed'), 0),
    added = coalesce(json_extract(score, '$.added'), 0),
    skipped = coalesce(json_extract(score, '$.skipped'), 0),
    bias_ms = json_extract(score, '$.bias_ms'),
    spread_ms = json_extract(score, '$.spread_ms')
    WHERE score IS NOT NULL;
CREATE INDEX take_at ON take (at);
CREATE TABLE delay (
    at REAL NOT NULL,
    sender TEXT NOT NULL,
    output TEXT NOT NULL,
    deck TEXT NOT NULL,
    late_s REAL NOT NULL,
    sure_s REAL NOT NULL,
    acts INTEGER NOT NULL
) STRICT;
CREATE TABLE note (
    id INTEGER PRIMARY KEY,
    at REAL NOT NULL,
    take INTEGER REFERENCES take (id),
    aim TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;
"""

_PLAYED = """
ALTER TABLE take ADD COLUMN played TEXT NOT NULL DEFAULT '{}';
ALTER TABLE take ADD COLUMN code TEXT;
CREATE UNIQUE INDEX take_code ON take (code) WHERE code IS NOT NULL;
ALTER TABLE piece ADD COLUMN digest TEXT NOT NULL DEFAULT '';
"""

_MIXER = """
ALTER TABLE take ADD COLUMN mixer BLOB;
"""

_DECKS = """
ALTER TABLE take ADD COLUMN decks_part REAL NOT NULL DEFAULT 1.0;
CREATE INDEX take_figures ON take (id, said, at, aim, tempo_part);
"""

_SCORED = """
CREATE INDEX take_scored ON take (at, id, aim, ended, duration_s, tempo_part, clean, run_through,
    first_piece, judged, heard, missed, added, skipped, bias_ms, spread_ms, said)
    WHERE score IS NOT NULL;
"""
# The index has what a review asks of every take: in the table a trace lies between, and a row's end
# is only found by reading it through. No query reads the one from before it any more.

_FIGURES_GONE = """
DROP INDEX take_figures;
"""
STEPS = (_TAKES, _COACH, _PLAYED, _MIXER, _DECKS, _SCORED, _FIGURES_GONE)
"""What brings a file from one version to the next; a new one goes to the end."""
VERSION = len(STEPS)
SCHEMA_APPLICATION_ID = 0x6C766174
"""`lvat` in ASCII: marks a file as takes of ours (SQLite file format, 1.3.18)."""
AS_JSON = ("visits", "delays", "played")
"""Columns of a take that hold JSON."""


def takes_file(map_file: Path) -> Path:
    """Where a scene's takes are kept: beside its section map. Leads if that is a way out."""
    scene = scene_folder(map_file)
    for name in database_files("takes.sqlite"):
        own(scene, name)
    own(scene, "takes.sqlite.waiting", folder=True)
    return scene / "takes.sqlite"


class StoreError(LiveaidError):
    """The file of takes can't be used."""


def open_to_write(file: Path) -> sqlite3.Connection:
    """The file with all its tables, made or brought up to date. StoreError for a newer one."""
    file.parent.mkdir(parents=True, exist_ok=True)
    db = sqlite3.connect(file, timeout=LOCKED_S, isolation_level=None)
    try:
        _bring_up_to_date(file, db)
    except BaseException:
        db.close()
        raise
    return db


def _bring_up_to_date(file: Path, db: sqlite3.Connection) -> None:
    _check_ours(file, db)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    found = version(db)
    if found < VERSION:
        steps = "".join(STEPS[found:])
        numbers = (
            f"PRAGMA application_id = {SCHEMA_APPLICATION_ID}; PRAGMA user_version = {VERSION};"
        )
        try:
            db.executescript(f"BEGIN IMMEDIATE; {steps} {numbers} COMMIT;")
        except sqlite3.Error:
            db.rollback()
            if version(db) != VERSION:  # else another process was quicker
                raise
    _check_version(file, db)


def open_to_read(file: Path) -> sqlite3.Connection:
    """The file for reading only; an older one is brought up to date first. StoreError else."""
    if not file.is_file():
        raise StoreError(f"{file}: no takes kept yet; `liveaid rehearse` keeps some")
    db = sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True, timeout=LOCKED_S)
    _check_ours(file, db)
    if 0 < version(db) < VERSION:
        db.close()
        open_to_write(file).close()
        return open_to_read(file)
    _check_version(file, db)
    return db


def version(db: sqlite3.Connection) -> int:
    """Which version of the tables a file has; 0 for an empty one."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def may_pass(error: Exception) -> bool:
    """Whether it may be over by itself: the file is locked, or the disk is full."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the primary one (sqlite.org/rescode)
    return code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_FULL) or (
        isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)
    )


def as_store_error(file: Path, error: Exception) -> StoreError:
    """What went wrong with the file, in words."""
    if isinstance(error, StoreError):
        return error
    return StoreError(f"{file}: takes can't be kept there ({error}); another --takes FILE would do")


def _check_ours(file: Path, db: sqlite3.Connection) -> None:
    """Refuse another program's database before anything is written to it.

    Our first files carry no application id; they are known by their tables.
    """
    identity = int(db.execute("PRAGMA application_id").fetchone()[0])
    tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    ours = identity == SCHEMA_APPLICATION_ID or (
        identity == 0 and (not tables or {"take"} <= tables)
    )
    if not ours or (version(db) == 0 and tables):
        raise StoreError(f"{file}: a database, but not one of takes; another --takes FILE would do")


def _check_version(file: Path, db: sqlite3.Connection) -> None:
    found = version(db)
    if found != VERSION:
        raise StoreError(f"{file}: takes of version {found}; version {VERSION} would do")
