"""The facts that sounds are found by, a column each, so that no study has to be read.

A row follows from a sound as the shelf keeps it, the performer's word put over the study; the
shelf renews it in the same transaction that changes the sound.
"""

from __future__ import annotations

import os
import sqlite3
import unicodedata
from collections.abc import Callable
from typing import Any, TypeAlias

from liveaid.files.file_bytes import HASH_BYTES
from liveaid.files.names import shown
from liveaid.routine.keys import parse_key
from liveaid.shelf.crate_facts import packed
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study

Value: TypeAlias = Callable[[ShelfSound], Any]


def fold(text: str) -> str:
    """Text for comparing: without case and without accents."""
    apart = unicodedata.normalize("NFKD", text)
    return "".join(c for c in apart if not unicodedata.combining(c)).casefold()


def bars_of(study: Study) -> float | None:
    """How many bars of its own a sound is long, between the silences; None without a tempo."""
    if not study.tempo:
        return None
    beats = study.loop_beats or sounding_s(study) * study.tempo / 60.0
    return beats / (study.metre or 4)


def sounding_s(study: Study) -> float:
    """Seconds between the silence before and the silence after."""
    return max(0.0, study.duration_s - study.silence_start_s - study.silence_end_s)


def _fact(value: Callable[[Study], Any]) -> Value:
    return lambda sound: None if sound.study is None else value(sound.study)


def _flag(value: Callable[[Study], Any]) -> Value:
    return lambda sound: int(sound.study is not None and bool(value(sound.study)))


def _breaks(study: Study) -> str:
    """Whole bars of each open break, a line each."""
    return "".join(f"\n{round(bars)}\n" for _, _, bars in study.breaks())


def _file(sound: ShelfSound) -> str:
    return shown(sound.path).rpartition("/")[2] + (f" {sound.part[0]}" if sound.part else "")


def _said(sound: ShelfSound) -> str:
    """All words of a sound that `text` looks in."""
    marks, labels = sound.marks, sound.labels
    words = [_file(sound), sound.name, marks.note, marks.source, *sorted(marks.tags)]
    return fold("\n".join([*words, labels.artist, labels.title, labels.album]))


COLUMNS: dict[str, tuple[str, Value]] = {
    "part": ("INTEGER", lambda s: int(s.part is not None)),
    "name": ("TEXT", lambda s: s.name.casefold()),
    "path": ("TEXT", lambda s: shown(s.path)),
    "folder": ("TEXT", lambda s: fold(shown(os.path.dirname(s.path)))),
    "said": ("TEXT", _said),
    "tags": ("TEXT", lambda s: "\n".join(["", *sorted(map(fold, s.marks.tags)), ""])),
    "note": ("TEXT", lambda s: fold(s.marks.note)),
    "source": ("TEXT", lambda s: fold(s.marks.source)),
    "licence": ("TEXT", lambda s: fold(s.marks.licence)),
    "artist": ("TEXT", lambda s: fold(s.labels.artist)),
    "title": ("TEXT", lambda s: fold(s.labels.title)),
    "gone": ("INTEGER", lambda s: int(s.gone)),
    "studied": ("INTEGER", lambda s: int(s.study is not None)),
    "tempo": ("REAL", _fact(lambda f: f.tempo)),
    "loop_beats": ("INTEGER", _fact(lambda f: f.loop_beats)),
    "key": ("INTEGER", _fact(lambda f: None if f.key is None else parse_key(f.key).number)),
    "kind": ("TEXT", _fact(lambda f: f.kind)),
    "energy": ("INTEGER", _fact(lambda f: f.energy)),
    "loudness": ("REAL", _fact(lambda f: f.loudness_lufs)),
    "peak": ("REAL", _fact(lambda f: f.true_peak_dbtp)),
    "duration": ("REAL", _fact(lambda f: f.duration_s)),
    "bars": ("REAL", _fact(bars_of)),
    "phrases": ("INTEGER", _fact(lambda f: len(f.phrases_s))),
    "voice": ("REAL", _fact(lambda f: f.voice)),
    "breaks": ("TEXT", _fact(_breaks)),
    "brightness": ("REAL", _fact(lambda f: f.brightness_hz)),
    "steady": ("INTEGER", _flag(lambda f: f.steady)),
    "ranking": ("BLOB", _fact(packed)),
    "faulty": ("INTEGER", _flag(lambda f: f.faults)),
}
"""Every column with its SQL type and what it holds; texts are folded, and `ranking` is what fits
are judged by."""

INDEXED = ("tempo", "key", "kind", "duration", "name")

TABLE = (
    "CREATE TABLE fact (hash BLOB PRIMARY KEY,"
    " base BLOB NOT NULL REFERENCES sound (hash) ON DELETE CASCADE, "
    + ", ".join(f"{name} {kind}" for name, (kind, _) in COLUMNS.items())
    + ") STRICT"
)
INDEXES = tuple(f"CREATE INDEX fact_{name} ON fact ({name})" for name in (*INDEXED, "base", "part"))
_PUT = f"INSERT OR REPLACE INTO {{}} VALUES ({', '.join('?' * (len(COLUMNS) + 2))})"


def put_row(db: sqlite3.Connection, sound: ShelfSound, *, table: str = "fact") -> None:
    """Write a sound's row."""
    values = [value(sound) for _, value in COLUMNS.values()]
    digest = bytes.fromhex(sound.hash)
    # The row of a part has a byte more than its sound's hash, its number.
    db.execute(_PUT.format(table), (digest, digest[:HASH_BYTES], *values))
