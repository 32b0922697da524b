"""Keys as the trade writes them: read, shift, and say how two stand to each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Mode = Literal["major", "minor"]

TONICS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
ACCIDENTAL = {"": 0, "#": 1, "b": -1, "♯": 1, "♭": -1}


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic (pitch class, C = 0) and a mode."""

    tonic: int
    mode: Mode

    def __post_init__(self) -> None:
        if not 0 <= self.tonic < 12 or self.mode not in ("major", "minor"):
            raise ValueError(f"no such key: tonic {self.tonic}, mode {self.mode}")

    def __str__(self) -> str:
        return f"{TONICS[self.tonic]} {self.mode}"

    @property
    def number(self) -> int:
        """Its place in EVERY_KEY: the tonic, plus 12 for minor."""
        return self.tonic + (12 if self.mode == "minor" else 0)


EVERY_KEY = tuple(Key(tonic, mode) for mode in get_args(Mode) for tonic in range(12))
"""The 24 keys by their numbers."""


def parse_key(text: str) -> Key:
    """The key written as ``A minor``, ``F# major``, ``Bb minor``; ValueError for anything else."""
    tonic, _, mode = text.strip().partition(" ")
    letter, accidental = tonic[:1].upper(), tonic[1:]
    mode = mode.strip().lower()
    if letter not in NATURAL or accidental not in ACCIDENTAL or mode not in ("major", "minor"):
        raise ValueError(f"no such key: {text!r}")
    tonic_class = (NATURAL[letter] + ACCIDENTAL[accidental]) % 12
    return Key(tonic_class, "major" if mode == "major" else "minor")


def shifted(key: Key, semitones: int) -> Key:
    """The same key moved by whole semitones."""
    return Key((key.tonic + semitones) % 12, key.mode)


def fifths_apart(a: Key, b: Key) -> int:
    """Steps between two keys on the circle of fifths, 0 to 6; a minor as its relative major."""
    step = 7 * (_major_tonic(a) - _major_tonic(b)) % 12
    return min(step, 12 - step)


def relation(a: Key, b: Key) -> str:
    """How two keys stand to each other, in the terms of a harmony handbook."""
    if a == b:
        return "same key"
    if fifths_apart(a, b) == 0:
        return "relative major and minor"
    if a.tonic == b.tonic:
        return "parallel major and minor"
    if fifths_apart(a, b) == 1:
        return "a fifth apart" if a.mode == b.mode else "neighbours by a fifth, other mode"
    return f"{fifths_apart(a, b)} fifths apart"


def _major_tonic(key: Key) -> int:
    return key.tonic if key.mode == "major" else key.tonic + 3
