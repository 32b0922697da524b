"""One sound as the shelf keeps it: the measured facts, and what the performer says of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from liveaid.files.names import is_plain, shown, stem
from liveaid.routine.model import Kind
from liveaid.sound.labels import NONE, Labels
from liveaid.study.facts import Study


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The performer's own word on a sound; None leaves it to the study."""

    kind: Kind | None = None
    tempo_bpm: float | None = None
    key: str | None = None
    energy: int | None = None
    tags: frozenset[str] = frozenset()
    note: str = ""
    source: str = ""
    licence: str = ""

    def applied(self, study: Study) -> Study:
        """The facts with the performer's word put over the measured ones, which it outranks."""
        said: dict[str, Any] = {}
        if self.kind:
            said |= {"kind": self.kind, "kind_confidence": 1.0}
        if self.tempo_bpm:
            said |= {"tempo": self.tempo_bpm, "tempo_confidence": 1.0, "rhythmic": ""}
            said |= _regridded(study, self.tempo_bpm)
        if self.key:
            said |= {"key": self.key, "key_confidence": 1.0}
        if self.energy:
            said |= {"energy": self.energy}
        return replace(study, **said) if said else study


@dataclass(frozen=True, slots=True)
class Lying:
    """Where one sound lies: what it is chosen by."""

    hash: str
    path: str
    copies: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The file's name without folder and ending, for the eye."""
        return stem(self.path)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfSound:
    """A sound on the shelf: one content, at one or more places."""

    hash: str
    """BLAKE2b of the file's bytes, in hex."""
    path: str
    """Where it lies now, or last lay."""
    copies: tuple[str, ...] = ()
    """Other places with the same bytes."""
    gone: bool = False
    """Whether no file with these bytes was there when last looked."""
    study: Study | None = None
    """The facts with the performer's word applied; None when it could not be studied."""
    fault: str = ""
    """Why there is no study, in one line."""
    marks: Marks = Marks()
    labels: Labels = NONE
    """What the file says of itself."""

    @property
    def name(self) -> str:
        """The file's name without folder and ending, for the eye."""
        return stem(self.path)

    def as_json(self) -> dict[str, Any]:
        """All that is known, for scripts. `file_bytes` (hex) where the name is no plain text."""
        study = self.study
        facts = {name: getattr(study, name) for name in study.__slots__} if study else None
        return {
            "name": self.name,
            "file": shown(self.path),
            **({} if is_plain(self.path) else {"file_bytes": _bytes(self.path)}),
            "copies": [shown(copy) for copy in self.copies],
            "gone": self.gone,
            "fault": self.fault,
            "artist": self.labels.artist,
            "title": self.labels.title,
            "album": self.labels.album,
            "tags": sorted(self.marks.tags),
            "note": self.marks.note,
            "source": self.marks.source,
            "licence": self.marks.licence,
            "corrected": [
                word
                for word, said in (
                    ("kind", self.marks.kind),
                    ("tempo", self.marks.tempo_bpm),
                    ("key", self.marks.key),
                    ("energy", self.marks.energy),
                )
                if said
            ],
            "study": facts,
        }


def _bytes(path: str) -> str:
    return path.encode("utf-8", "surrogateescape").hex()


def _regridded(study: Study, tempo_bpm: float) -> dict[str, Any]:
    """Facts that follow from the tempo: beats in a loop, and no bar line that fits no longer."""
    if study.loop_beats is None or not study.tempo:
        return {}
    beats = study.duration_s * tempo_bpm / 60.0
    whole = round(beats)
    return {"loop_beats": whole if whole > 0 and abs(beats - whole) < 0.02 * whole else None}
