"""The shelf: one SQLite file of all studied sounds, known by their bytes and not by their names.

A sound is its content; files are the places where it lies. So a file that was moved, renamed or
copied keeps its study and marks. Every change is one short transaction: what was kept before a
crash or Ctrl-C stays kept, and two processes can fill one shelf.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from liveaid.files.file_bytes import HASH_BYTES, Signature, content_hash
from liveaid.files.names import plain_text, shown
from liveaid.shelf.choose import choose
from liveaid.shelf.columns import TABLE, fold, put_row
from liveaid.shelf.database import BUSY_S, Database
from liveaid.shelf.find import Query
from liveaid.shelf.open_break import open_breaks
from liveaid.shelf.query_words import Term
from liveaid.shelf.shelf_sound import Lying, Marks, ShelfSound
from liveaid.sound.labels import NO_LABELS, Labels
from liveaid.study.facts import STUDY_VERSION, Study


@dataclass(frozen=True, slots=True)
class KnownFile:
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
        self._fill()

    def _fill(self) -> None:
        """Give every sound its row of columns: those of an older shelf have none yet."""
        counts = "SELECT (SELECT count(*) FROM sound), (SELECT count(*) FROM fact WHERE part = 0)"
        sounds, rows = self._file.rows(counts)[0]
        if sounds != rows:
            with self._file.writing() as db:
                _renew(db)

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

    def places(self) -> list[KnownFile]:
        """Every file the shelf knows, gone ones too."""
        rows = self._file.rows(
            "SELECT path, hash, size, mtime_ns, inode, device, settled, gone FROM file"
        )
        return [
            KnownFile(
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

    def study_of(self, digest: str) -> Study | None:
        """What the present way of measuring told of these bytes, with nothing put over it."""
        rows = self._file.rows(
            "SELECT study FROM sound WHERE hash = ? AND study_version = ? AND study IS NOT NULL",
            (bytes.fromhex(digest), STUDY_VERSION),
        )
        return Study.from_json(rows[0][0]) if rows else None

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
        with self._file.reading() as db:
            found = _loaded(db, onsets=onsets)
        return sorted(found, key=lambda sound: (sound.name.casefold(), sound.path))

    def find(
        self,
        query: Query,
        *,
        instead: Sequence[ShelfSound] = (),
        most: int | None = None,
        onsets: bool = False,
    ) -> list[ShelfSound]:
        """The sounds for which every term holds, in the order asked for, `most` at the most.

        `instead` are sounds of this shelf as a section map tells of them: they stand in for what
        the shelf has.
        """
        with self._file.reading() as db, _told_by_a_map(db, instead) as table:
            rows = db.execute(
                f"SELECT hash FROM {table} WHERE path <> '' AND {query.where}"
                f" ORDER BY {query.sorting} LIMIT ?",
                (*query.values, -1 if most is None else most),
            )
            hashes = [digest for (digest,) in rows]
            by_hash = {each.hash: each for each in _loaded(db, hashes, onsets=onsets)}
        told = [each for sound in instead for each in (sound, *open_breaks(sound))]
        by_hash |= {each.hash: each for each in told}
        return [by_hash[digest.hex()] for digest in hashes]

    def count(self, query: Query, *, instead: Sequence[ShelfSound] = ()) -> int:
        """For how many sounds every term holds."""
        with self._file.reading() as db, _told_by_a_map(db, instead) as table:
            asked = f"SELECT count(*) FROM {table} WHERE path <> '' AND {query.where}"
            return int(db.execute(asked, query.values).fetchone()[0])

    def columns(
        self, names: Sequence[str], query: Query, *, instead: Sequence[ShelfSound] = ()
    ) -> list[tuple[Any, ...]]:
        """Hash (as bytes) and some columns of every sound for which the query holds."""
        with self._file.reading() as db, _told_by_a_map(db, instead) as table:
            rows = db.execute(
                f"SELECT {', '.join(['hash', *names])} FROM {table}"
                f" WHERE path <> '' AND {query.where}",
                query.values,
            )
            return rows.fetchall()

    def these(self, hashes: Iterable[str], *, onsets: bool = False) -> list[ShelfSound]:
        """The sounds of these hashes, in that order; what is not on the shelf is left out."""
        wanted = list(hashes)
        with self._file.reading() as db:
            found = _loaded(db, [bytes.fromhex(each) for each in wanted], onsets=onsets)
        by_hash = {sound.hash: sound for sound in found}
        return [by_hash[each] for each in wanted if each in by_hash]

    def at(self, paths: Iterable[str]) -> list[ShelfSound]:
        """The sounds that lie, or lay, at these places; without onsets."""
        with self._file.reading() as db:
            asked = "SELECT hash FROM file WHERE path = ?"
            rows = [db.execute(asked, (os.fsencode(path),)).fetchone() for path in paths]
            return _loaded(db, [row[0] for row in rows if row], onsets=False)

    def copied(self, path: str) -> ShelfSound | None:
        """The sound of which this file is a copy, wherever else it lies; without onsets.

        A file is only read where the shelf knows one as long. Unreadable where it can't be;
        OSError where it is not there.
        """
        asked = "SELECT 1 FROM file WHERE size = ? LIMIT 1"
        if not self._file.rows(asked, (os.stat(path).st_size,)):
            return None
        return next(iter(self.these([content_hash(path)[0]])), None)

    def timbres(self) -> list[tuple[bytes, bytes]]:
        """Hash and timbre of every sound whose imprint is known."""
        return self._file.rows("SELECT hash, look FROM timbre")

    def looks(self, digest: bytes) -> tuple[bytes, bytes] | None:
        """Timbre and picture of one sound; None where they are not known."""
        rows = self._file.rows(
            "SELECT timbre.look, picture.look FROM timbre JOIN picture USING (hash) WHERE hash = ?",
            (digest,),
        )
        return rows[0] if rows else None

    def chosen(self, meant: str) -> ShelfSound:
        """The sound a performer means by a path, a name or a part of one; without onsets.

        UsageError that lists the candidates, or the nearest names, when it is not one.
        """
        here = self.at([os.path.abspath(meant)])
        if not here:
            named = Term("instr(said, ?) > 0", (fold(shown(meant)),))
            here = self.find(Query((named,), failed_too=True))
            if not here:
                part = Term(f"(part = 1 AND {named.where})", named.values, of_whole=named)
                here = self.find(Query((part,)))
        if here:
            return choose(here, meant)
        return self.these([choose(self.lying(), meant).hash])[0]

    def lying(self) -> list[Lying]:
        """Where every sound lies, by name: what a sound is chosen by."""
        rows = self._file.rows("SELECT hash, path, gone FROM file ORDER BY gone, path")
        places: dict[bytes, list[str]] = {}
        for digest, path, gone in rows:
            known = places.setdefault(digest, [])
            if not known or not gone:
                known.append(os.fsdecode(path))
        found = [Lying(key.hex(), paths[0], tuple(paths[1:])) for key, paths in places.items()]
        return sorted(found, key=lambda each: (each.name.casefold(), each.path))

    def __len__(self) -> int:
        """How many sounds are on the shelf."""
        return int(self._file.rows("SELECT count(DISTINCT hash) FROM file")[0][0])

    # What is put on it

    def keep(
        self, digest: str, study: Study | None, *, fault: str = "", labels: Labels = NO_LABELS
    ) -> None:
        """Keep what was measured, or why nothing could be; marks stay as they are."""
        text = study.to_json() if study else None
        with self._file.writing() as db:
            db.execute(
                "INSERT INTO sound (hash, study, fault, study_version, artist, title, album)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)"
                " ON CONFLICT (hash) DO UPDATE SET study = excluded.study,"
                " fault = excluded.fault, study_version = excluded.study_version,"
                " artist = excluded.artist, title = excluded.title, album = excluded.album",
                (
                    bytes.fromhex(digest), text, plain_text(fault), STUDY_VERSION,
                    labels.artist, labels.title, labels.album,
                ),
            )  # fmt: skip
            for table, look in _looks(study):
                db.execute(
                    f"INSERT OR REPLACE INTO {table} VALUES (?, ?)", (bytes.fromhex(digest), look)
                )
            _renew(db, [bytes.fromhex(digest)])

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
            _renew(db, [new, *([row[0]] if row else [])])

    def refresh(self, path: str, signature: Signature) -> None:
        """Say that a file is there and unchanged, as it looks now."""
        with self._file.writing() as db:
            db.execute(
                "UPDATE file SET size = ?, mtime_ns = ?, inode = ?, device = ?, settled = ?,"
                " gone = 0 WHERE path = ?",
                (*_signature_row(signature), os.fsencode(path)),
            )
            db.execute(
                f"{_WHETHER_GONE} (SELECT hash FROM file WHERE path = ?)", (os.fsencode(path),)
            )

    def mark_gone(self, paths: Iterable[str]) -> None:
        """Say that files are no longer there.

        A place is dropped when the same bytes lie somewhere else: the file was moved.
        """
        gone = [os.fsencode(path) for path in paths]
        with self._file.writing() as db:
            hashes = set()
            for where in gone:
                db.execute("UPDATE file SET gone = 1 WHERE path = ?", (where,))
                hashes |= set(db.execute("SELECT hash FROM file WHERE path = ?", (where,)))
            db.execute(
                "DELETE FROM file WHERE gone AND EXISTS"
                " (SELECT 1 FROM file AS other WHERE other.hash = file.hash AND NOT other.gone)"
            )
            _renew(db, [digest for (digest,) in hashes])

    def mark(
        self,
        digest: str,
        *,
        set_to: dict[str, Any] | None = None,
        tags: Iterable[str] = (),
        untag: Iterable[str] = (),
    ) -> None:
        """Write the performer's word on a sound: any of kind, tempo, key, energy, bar,
        metre, note, source, licence.

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
            _renew(db, [where])

    def forget(self, digest: str) -> None:
        """Take a sound off the shelf, with its marks; its files are not touched."""
        with self._file.writing() as db:
            db.execute("DELETE FROM sound WHERE hash = ?", (bytes.fromhex(digest),))


def _looks(study: Study | None) -> list[tuple[str, bytes]]:
    """What is kept of a sound's imprint, and in which table."""
    if study is None or study.imprint is None:
        return []
    looks = study.imprint
    return [("timbre", looks.timbre.tobytes()), ("picture", looks.picture.tobytes())]


def _kept(field: str, value: Any) -> Any:
    """A mark as its column holds it. ValueError for a word that is no mark."""
    if field in ("note", "source", "licence"):
        return plain_text(value or "")
    if field in ("kind", "tempo", "key", "energy", "bar", "metre"):
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


_WHETHER_GONE = (
    "UPDATE fact SET gone = NOT EXISTS"
    " (SELECT 1 FROM file WHERE file.hash = fact.base AND NOT gone) WHERE base ="
)
_MOST_ASKED = 500
"""Hashes in one question, below SQLite's limit of 999 values in older versions."""


def _loaded(
    db: sqlite3.Connection, hashes: Sequence[bytes] | None = None, *, onsets: bool
) -> list[ShelfSound]:
    """The sounds and parts of these hashes, or all sounds, that lie somewhere; in no order."""
    if hashes is None:
        return _batch(db, "", (), onsets=onsets)
    found: list[ShelfSound] = []
    bases = list(dict.fromkeys(each[:HASH_BYTES] for each in hashes))
    for begin in range(0, len(bases), _MOST_ASKED):
        some = tuple(bases[begin : begin + _MOST_ASKED])
        found += _batch(db, f"WHERE hash IN ({', '.join('?' * len(some))})", some, onsets=onsets)
    wanted = {each.hex() for each in hashes}
    if any(len(each) > HASH_BYTES for each in hashes):
        found += [part for sound in found for part in open_breaks(sound)]
    return [each for each in found if each.hash in wanted]


def _batch(
    db: sqlite3.Connection, where: str, values: tuple[bytes, ...], *, onsets: bool
) -> list[ShelfSound]:
    lies: dict[bytes, list[tuple[str, bool]]] = {}
    asked = f"SELECT hash, path, gone FROM file {where} ORDER BY gone, path"
    for digest, path, gone in db.execute(asked, values):
        lies.setdefault(digest, []).append((os.fsdecode(path), bool(gone)))
    words: dict[bytes, set[str]] = {}
    for digest, word in db.execute(f"SELECT hash, word FROM tag {where}", values):
        words.setdefault(digest, set()).add(word)
    text = "study" if onsets else "json_remove(study, '$.onsets_s')"
    rows = db.execute(
        f"SELECT hash, {text}, fault, kind, tempo, key, energy, bar, metre, note, source,"
        f" licence, artist, title, album FROM sound {where}",
        values,
    )
    return [
        _sound(row, lies[row[0]], frozenset(words.get(row[0], ()))) for row in rows
        if row[0] in lies
    ]  # fmt: skip


def _renew(db: sqlite3.Connection, hashes: Sequence[bytes] | None = None) -> None:
    """Write the rows of columns anew, of these sounds or of all; a sound that lies nowhere yet
    has an empty one."""
    where = "" if hashes is None else f"AND hash IN ({', '.join('?' * len(hashes))})"
    db.execute(f"DELETE FROM fact WHERE 1 {where.replace('hash', 'base')}", tuple(hashes or ()))
    for sound in _loaded(db, hashes, onsets=False):
        for each in (sound, *open_breaks(sound)):
            put_row(db, each)
    db.execute(
        "INSERT OR REPLACE INTO fact (hash, base, path, part) SELECT hash, hash, '', 0 FROM sound"
        f" WHERE NOT EXISTS (SELECT 1 FROM file WHERE file.hash = sound.hash) {where}",
        tuple(hashes or ()),
    )


@contextlib.contextmanager
def _told_by_a_map(db: sqlite3.Connection, instead: Sequence[ShelfSound]) -> Iterator[str]:
    """The table to ask: the shelf's own, or one in which some sounds are as a map has them."""
    if not instead:
        yield "fact"
        return
    db.execute(TABLE.replace("TABLE fact", "TEMP TABLE told").replace(_KEEPS_TO, ""))
    try:
        for sound in instead:
            for each in (sound, *open_breaks(sound)):
                put_row(db, each, table="told")
        db.execute(
            "CREATE TEMP VIEW seen AS SELECT * FROM fact WHERE base NOT IN (SELECT base FROM told)"
            " UNION ALL SELECT * FROM told"
        )
        yield "seen"
    finally:
        db.execute("DROP VIEW IF EXISTS seen")
        db.execute("DROP TABLE IF EXISTS told")


_KEEPS_TO = " REFERENCES sound (hash) ON DELETE CASCADE"


def _sound(row: tuple[Any, ...], lies: list[tuple[str, bool]], tags: frozenset[str]) -> ShelfSound:
    digest, text, fault, kind, tempo, key, energy, bar, metre, note, source, licence, *labels = row
    marks = Marks(
        kind=kind,
        tempo_bpm=tempo,
        key=key,
        energy=energy,
        bar_s=bar,
        metre=metre,
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
        labels=Labels(*labels),
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
