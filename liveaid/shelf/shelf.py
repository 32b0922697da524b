"""The shelf: one SQLite file of all studied sounds, known by their bytes and not by their names.

A sound is its content; files are the places where it lies. So a file that was moved, renamed or
copied keeps its study and marks. Every change is one short transaction: what was kept before a
crash or Ctrl-C stays kept, and two processes can fill one shelf.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from liveaid.files.digest import Signature
from liveaid.files.names import plain_text
from liveaid.shelf.database import BUSY_S, Database
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study.facts import STUDY_VERSION, Study


@dataclass(frozen=True, slots=True)
class Place:
    """A file the shelf knows: its content, how it looked, and whether it was gone."""

    path: str
    hash: str
    signature: Signature
    gone: bool


class Shelf:
    """An open shelf; a context manager. One thread uses it.

    ShelfError when the file cannot be opened, is no shelf, or is of a newer kind; with
    `make=False` also when there is none yet.
    """

    def __init__(self, path: str | Path, *, make: bool = True, busy_s: float = BUSY_S) -> None:
        self._file = Database(path, make=make, busy_s=busy_s)
        self.path = self._file.path

    def __enter__(self) -> Shelf:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was kept stays kept."""
        self._file.close()

    # What the shelf knows

    def places(self) -> list[Place]:
        """Every file the shelf knows, gone ones too."""
        rows = self._file.rows(
            "SELECT path, hash, size, mtime_ns, inode, device, settled, gone FROM file"
        )
        return [
            Place(
                path=os.fsdecode(path),
                hash=digest.hex(),
                signature=Signature(size, mtime_ns, inode, device, bool(settled)),
                gone=bool(gone),
            )
            for path, digest, size, mtime_ns, inode, device, settled, gone in rows
        ]

    def is_studied(self, digest: str, *, faults_too: bool = True) -> bool:
        """Whether these bytes were studied by the present way of measuring, well or in vain."""
        rows = self._file.rows(
            "SELECT study IS NOT NULL FROM sound WHERE hash = ? AND study_version = ?",
            (bytes.fromhex(digest), STUDY_VERSION),
        )
        return bool(rows) and (faults_too or bool(rows[0][0]))

    def outdated(self, *, faults_too: bool = False) -> set[str]:
        """Hashes whose study is of another way of measuring; on request those that failed too."""
        rows = self._file.rows(
            "SELECT hash FROM sound WHERE study_version <> ? OR (? AND study IS NULL)",
            (STUDY_VERSION, faults_too),
        )
        return {digest.hex() for (digest,) in rows}

    def in_vain(self) -> set[str]:
        """Hashes that could not be studied."""
        rows = self._file.rows("SELECT hash FROM sound WHERE study IS NULL")
        return {digest.hex() for (digest,) in rows}

    def sounds(self, *, onsets: bool = True) -> list[ShelfSound]:
        """Every sound on the shelf, by name; those that could not be studied have a fault.

        Without `onsets` they are left out of the studies, which is several times quicker.
        """
        places = self._file.rows("SELECT hash, path, gone FROM file ORDER BY gone, path")
        tags = self._file.rows("SELECT hash, word FROM tag")
        text = "study" if onsets else "json_remove(study, '$.onsets_s')"
        rows = self._file.rows(
            f"SELECT hash, {text}, fault, kind, tempo, key, energy, note, source, licence"
            " FROM sound"
        )
        lies: dict[bytes, list[tuple[str, bool]]] = {}
        for digest, path, gone in places:
            lies.setdefault(digest, []).append((os.fsdecode(path), bool(gone)))
        words: dict[bytes, set[str]] = {}
        for digest, word in tags:
            words.setdefault(digest, set()).add(word)
        found = [
            _sound(row, lies[row[0]], frozenset(words.get(row[0], ()))) for row in rows
            if row[0] in lies
        ]  # fmt: skip
        return sorted(found, key=lambda sound: (sound.name.casefold(), sound.path))

    def __len__(self) -> int:
        """How many sounds are on the shelf."""
        return int(self._file.rows("SELECT count(DISTINCT hash) FROM file")[0][0])

    # What is put on it

    def keep(self, digest: str, study: Study | None, *, fault: str = "") -> None:
        """Keep what was measured, or why nothing could be; marks stay as they are."""
        text = study.to_json() if study else None
        with self._file.writing() as db:
            db.execute(
                "INSERT INTO sound (hash, study, fault, study_version) VALUES (?, ?, ?, ?)"
                " ON CONFLICT (hash) DO UPDATE SET study = excluded.study,"
                " fault = excluded.fault, study_version = excluded.study_version",
                (bytes.fromhex(digest), text, plain_text(fault), STUDY_VERSION),
            )

    def place(self, path: str, digest: str, signature: Signature) -> None:
        """Say that a file holds these (kept) bytes.

        When the file held other bytes that lie nowhere else, their marks go over to the new ones
        where those have none: an edited file is still the performer's same sound.
        """
        where, new = os.fsencode(path), bytes.fromhex(digest)
        with self._file.writing() as db:
            row = db.execute("SELECT hash FROM file WHERE path = ?", (where,)).fetchone()
            db.execute(
                "INSERT OR REPLACE INTO file VALUES (?, ?, ?, ?, ?, ?, ?, 0)",
                (where, new, *_signature_row(signature)),
            )
            if row and row[0] != new:
                _hand_over(db, row[0], new)

    def refresh(self, path: str, signature: Signature) -> None:
        """Say that a file is there and unchanged, as it looks now."""
        with self._file.writing() as db:
            db.execute(
                "UPDATE file SET size = ?, mtime_ns = ?, inode = ?, device = ?, settled = ?,"
                " gone = 0 WHERE path = ?",
                (*_signature_row(signature), os.fsencode(path)),
            )

    def mark_gone(self, paths: Iterable[str]) -> None:
        """Say that files are no longer there.

        A place is dropped when the same bytes lie somewhere else: the file was moved.
        """
        with self._file.writing() as db:
            for path in paths:
                db.execute("UPDATE file SET gone = 1 WHERE path = ?", (os.fsencode(path),))
            db.execute(
                "DELETE FROM file WHERE gone AND EXISTS"
                " (SELECT 1 FROM file AS other WHERE other.hash = file.hash AND NOT other.gone)"
            )

    def mark(
        self,
        digest: str,
        *,
        set_to: dict[str, Any] | None = None,
        tags: Iterable[str] = (),
        untag: Iterable[str] = (),
    ) -> None:
        """Write the performer's word on a sound: any of kind, tempo, key, energy, note,
        source, licence.

        None takes the word back. Tags are added and taken off.
        """
        where = bytes.fromhex(digest)
        with self._file.writing() as db:
            for field, value in (set_to or {}).items():
                kept = _kept(field, value)
                db.execute(f"UPDATE sound SET {field} = ? WHERE hash = ?", (kept, where))
            for word in tags:
                db.execute("INSERT OR IGNORE INTO tag VALUES (?, ?)", (where, plain_text(word)))
            for word in untag:
                db.execute("DELETE FROM tag WHERE hash = ? AND word = ?", (where, plain_text(word)))

    def forget(self, digest: str) -> None:
        """Take a sound off the shelf, with its marks; its files are not touched."""
        with self._file.writing() as db:
            db.execute("DELETE FROM sound WHERE hash = ?", (bytes.fromhex(digest),))


def _kept(field: str, value: Any) -> Any:
    """A mark as its column holds it. ValueError for a word that is no mark."""
    if field in ("note", "source", "licence"):
        return plain_text(value or "")
    if field in ("kind", "tempo", "key", "energy"):
        return value
    raise ValueError(f"no such mark: {field}")


def _signature_row(signature: Signature) -> tuple[int, int, int, int, int]:
    return (
        signature.size,
        signature.mtime_ns,
        signature.inode,
        signature.device,
        int(signature.settled),
    )


def _sound(row: tuple[Any, ...], lies: list[tuple[str, bool]], tags: frozenset[str]) -> ShelfSound:
    digest, text, fault, kind, tempo, key, energy, note, source, licence = row
    marks = Marks(
        kind=kind,
        tempo_bpm=tempo,
        key=key,
        energy=energy,
        tags=tags,
        note=note,
        source=source,
        licence=licence,
    )
    study = None
    if text is not None:
        try:
            study = marks.applied(Study.from_json(text))
        except ValueError:
            fault = "studied by another version of liveaid; gather it again"
    path, gone = lies[0]
    return ShelfSound(
        hash=digest.hex(),
        path=path,
        copies=tuple(copy for copy, copy_gone in lies[1:] if not copy_gone),
        gone=gone,
        study=study,
        fault=fault,
        marks=marks,
    )


def _hand_over(db: sqlite3.Connection, old: bytes, new: bytes) -> None:
    """Marks of bytes that lie nowhere any more go to those that took their place."""
    if db.execute("SELECT 1 FROM file WHERE hash = ?", (old,)).fetchone():
        return
    for field, empty in (("kind", None), ("note", ""), ("source", ""), ("licence", "")):
        db.execute(
            f"UPDATE sound SET {field} = (SELECT {field} FROM sound WHERE hash = ?)"
            f" WHERE hash = ? AND {field} IS ?",
            (old, new, empty),
        )
    db.execute("INSERT OR IGNORE INTO tag SELECT ?, word FROM tag WHERE hash = ?", (new, old))
    db.execute("DELETE FROM sound WHERE hash = ?", (old,))
