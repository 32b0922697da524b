"""What ranking needs of a sound, or of many at once: numbers, one array a fact.

Not known is NaN, and no key is -1. One sound's facts are arrays of one, so that one sound and a
crate of a hundred thousand are judged by the same lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias, get_args

import numpy as np
import numpy.typing as npt

from liveaid.routine.keys import Key
from liveaid.routine.model import Kind
from liveaid.shelf.columns import key_number
from liveaid.study.facts import Study

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.intp]

KINDS: tuple[Kind, ...] = get_args(Kind)
COLUMNS = (
    "tempo", "tempo_confidence", "drift", "metre", "loop_beats", "key", "key_confidence", "tuning",
    "kind", "kind_confidence", "energy", "loudness", "duration",
)  # fmt: skip
"""The shelf's columns that are asked for, in the order of `Facts`."""

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
    key: Ints
    key_confidence: Floats
    tuning: Floats
    kind: Ints
    kind_confidence: Floats
    energy: Floats
    loudness: Floats
    duration: Floats

    @property
    def hits(self) -> npt.NDArray[np.bool_]:
        """Which of them are hits."""
        return np.isnan(self.tempo) & np.isnan(self.loop_beats) & (self.duration < HIT_S)


def facts_of(studies: Iterable[Study]) -> CrateFacts:
    """The facts of studied sounds."""
    return facts_of_rows([
        (
            s.tempo, s.tempo_confidence, s.tempo_drift_percent, s.metre, s.loop_beats,
            None if s.key is None else key_number(s.key), s.key_confidence, s.tuning_cents,
            s.kind, s.kind_confidence, s.energy, s.loudness_lufs, s.duration_s,
        )
        for s in studies
    ])  # fmt: skip


def facts_of_rows(rows: Sequence[Sequence[Any]]) -> CrateFacts:
    """The facts in rows of COLUMNS, as the shelf keeps them."""
    columns = dict(zip(COLUMNS, zip(*rows, strict=True), strict=True)) if rows else {}
    found: dict[str, npt.NDArray[Any]] = {}
    for name in COLUMNS:
        values = columns.get(name, ())
        if name == "kind":
            numbers = {kind: number for number, kind in enumerate(KINDS)}
            found[name] = np.array([numbers[value] for value in values], dtype=np.intp)
        elif name == "key":
            found[name] = np.array([-1 if v is None else v for v in values], dtype=np.intp)
        else:
            found[name] = np.array(values, dtype=np.float64)  # None becomes NaN
    return CrateFacts(**found)


def key_of(number: int) -> Key:
    """The key behind its number."""
    return Key(number % 12, "minor" if number >= 12 else "major")
