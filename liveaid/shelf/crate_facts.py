"""What ranking needs of a sound, or of many at once: numbers, one array a fact.

The shelf keeps the numbers of each sound in one piece, so that a crate of a hundred thousand is
read as fast as its bytes. Not known is NaN, and no key is -1. One sound's facts are arrays of one,
so that one sound and a whole crate are judged by the same lines.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import TypeAlias, get_args

import numpy as np
import numpy.typing as npt

from liveaid.routine.keys import parse_key
from liveaid.routine.model import Kind
from liveaid.study.facts import Study

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.intp]

KINDS: tuple[Kind, ...] = get_args(Kind)
HIT_S = 2.0
"""A sound without a beat and shorter than this is a hit: a bar at 120 BPM, too short to carry or to
clash (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CrateFacts:
    """The facts of some sounds, shape (sounds,)."""

    tempo: Floats
    tempo_confidence: Floats
    drift: Floats
    metre: Floats
    loop_beats: Floats
    key_confidence: Floats
    tuning: Floats
    kind_confidence: Floats
    energy: Floats
    loudness: Floats
    duration: Floats
    key: Ints
    """Its number among `EVERY_KEY`."""
    kind: Ints
    """Its place in `KINDS`."""

    @property
    def hits(self) -> npt.NDArray[np.bool_]:
        """Which of them are hits."""
        return np.isnan(self.tempo) & np.isnan(self.loop_beats) & (self.duration < HIT_S)

    def of(self, rows: Ints) -> CrateFacts:
        """The facts of the sounds in some rows."""
        return CrateFacts(*(getattr(self, each.name)[rows] for each in fields(self)))


def packed(study: Study) -> bytes:
    """A sound's facts in the order of `CrateFacts`, as the shelf keeps them."""
    numbers = (
        study.tempo, study.tempo_confidence, study.tempo_drift_percent, study.metre,
        study.loop_beats, study.key_confidence, study.tuning_cents, study.kind_confidence,
        study.energy, study.loudness_lufs, study.duration_s,
        -1 if study.key is None else parse_key(study.key).number, KINDS.index(study.kind),
    )  # fmt: skip
    return np.array(numbers, dtype=_KEPT_AS).tobytes()  # None becomes NaN


def unpacked(rows: Iterable[bytes]) -> CrateFacts:
    """The facts of the sounds behind `packed`."""
    table = np.frombuffer(b"".join(rows), dtype=_KEPT_AS).reshape(-1, len(fields(CrateFacts)))
    *numbers, key, kind = np.ascontiguousarray(table.T, dtype=np.float64)
    whole = [key.astype(np.intp), kind.astype(np.intp)]
    return CrateFacts(*numbers, *whole)


def facts_of(studies: Iterable[Study]) -> CrateFacts:
    """The facts of studied sounds."""
    return unpacked(map(packed, studies))


_KEPT_AS = "<f8"
"""The same on every machine, since a shelf may be carried to another."""
