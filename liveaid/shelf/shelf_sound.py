"""One sound as the shelf keeps it: the measured facts, and what the performer says of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from liveaid.files.names import reads_back, shown, stem
from liveaid.routine.layout.evened import SAME_READING
from liveaid.routine.model import Kind
from liveaid.sound.labels import NO_LABELS, Labels
from liveaid.study.facts import Study

START_SLACK_S = 0.03
"""A sound may begin so much before the beat it begins with, as in the study."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The performer's own word on a sound; None leaves it to the study."""

    kind: Kind | None = None
    tempo_bpm: float | None = None
    key: str | None = None
    energy: int | None = None
    bar_s: float | None = None
    """A second at which a bar begins."""
    metre: int | None = None
    """Beats in a bar."""
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
            said |= {"tempo_alternative": _left_over(study, self.tempo_bpm), "tempo_rival": None}
            said |= _regridded(study, self.tempo_bpm)
        if self.key:
            said |= {"key": self.key, "key_confidence": 1.0}
        if self.energy:
            said |= {"energy": self.energy}
        if self.metre or self.bar_s is not None:
            now = replace(study, **said)
            metre = self.metre or now.metre or 4
            said |= {"metre": metre, **_rebarred(now, metre, self.bar_s)}
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
    labels: Labels = NO_LABELS
    """What the file says of itself."""
    part: tuple[str, float, float] | None = None
    """Name, begin and end in seconds of the file, of a part of it that is a sound of its own; None
    for all of it."""

    @property
    def name(self) -> str:
        """The file's name without folder and ending, with the part's, for the eye."""
        return stem(self.path) + (f" {self.part[0]}" if self.part else "")

    @property
    def from_s(self) -> float:
        """Second of the file at which it begins."""
        return self.part[1] if self.part else 0.0

    def as_json(self) -> dict[str, Any]:
        """All that is known, for scripts. `file_bytes` (hex) where the name is no plain text."""
        study = self.study
        facts = study.facts() if study else None
        return {
            "name": self.name,
            "file": shown(self.path),
            **({} if reads_back(self.path) else {"file_bytes": _bytes(self.path)}),
            **({} if self.part is None else {"part": dict(zip(_PART, self.part, strict=True))}),
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
                    ("bar", self.marks.bar_s is not None),
                    ("metre", self.marks.metre),
                )
                if said
            ],
            "study": facts,
        }


_PART = ("name", "from", "to")


def _bytes(path: str) -> str:
    return path.encode("utf-8", "surrogateescape").hex()


def _left_over(study: Study, tempo_bpm: float) -> float | None:
    """The other reading of a beat that the performer has told: the study's own where it was
    overruled, so that the word can be taken back as it was given."""
    if study.tempo and abs(tempo_bpm / study.tempo - 1.0) >= SAME_READING:
        return study.tempo
    return study.tempo_alternative


def _regridded(study: Study, tempo_bpm: float) -> dict[str, Any]:
    """Facts that follow from the tempo: beats in a loop, and no bar line that fits no longer."""
    if study.beats_s and study.tempo:
        return {"beats_s": _recounted(study.beats_s, tempo_bpm / study.tempo)}
    if study.loop_beats is None or not study.tempo:
        return {}
    beats = study.duration_s * tempo_bpm / 60.0
    whole = round(beats)
    return {"loop_beats": whole if whole > 0 and abs(beats - whole) < 0.02 * whole else None}


def _rebarred(study: Study, metre: int, bar_s: float | None) -> dict[str, Any]:
    """The grid moved so that a bar begins at this second: first beat and first bar line.

    A sound whose beats had to be followed keeps them, and its bars begin at the beat nearest.
    """
    if bar_s is None or not study.tempo:
        return {}
    if study.beats_s:
        wanted = bar_s
        number = study.beats_s.index(min(study.beats_s, key=lambda beat: abs(beat - wanted)))
        line = study.beats_s[number % metre]
        return {"first_downbeat": line, "downbeat_confidence": 1.0}
    period = 60.0 / study.tempo
    start = study.silence_start_s - START_SLACK_S
    whole = [math.floor((bar_s - start) / length) for length in (period, metre * period)]
    beat, line = bar_s - whole[0] * period, bar_s - whole[1] * metre * period
    return {
        "first_beat": max(beat, 0.0),
        "first_downbeat": max(line, 0.0),
        "downbeat_confidence": 1.0,
    }


def _recounted(beats_s: tuple[float, ...], ratio: float) -> tuple[float, ...]:
    """Followed beats at twice or half their pace; none where the tempo is told anew."""
    if abs(ratio - 1.0) < SAME_READING:
        return beats_s
    if abs(ratio - 0.5) < 0.02:
        return beats_s[::2]
    if abs(ratio - 2.0) < 0.08:
        between = [(a + b) / 2 for a, b in pairwise(beats_s)]
        return tuple(sorted([*beats_s, *between]))
    return ()
