"""What is wrong in a section map: one small record a finding, apart from its printing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from liveaid.errors import LiveaidError
from liveaid.files.names import shown


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong in a file: where it stands, what was found, what would do."""

    line: int
    """Line of the file, from 1."""
    field: str
    """Path of the field, such as ``pieces[1].tempo``; empty for the file as a whole."""
    found: str
    """The file's own text, shortened."""
    would_do: str
    """What would be accepted there."""

    def __str__(self) -> str:
        where = f"line {self.line}: {self.field}" if self.field else f"line {self.line}"
        return f"{where}: found {self.found}; {self.would_do}"


@dataclass(frozen=True, slots=True)
class Hindrance:
    """One thing wrong in a section map, by its field; a `Problem` once the line is known."""

    path: tuple[str | int, ...]
    """Where in the map: ``("pieces", 1, "left", "sound")``."""
    found: str
    would_do: str


class RoutineError(LiveaidError, ValueError):
    """All that is wrong in one section map, a line each, in line order."""

    def __init__(self, file: str, problems: Iterable[Problem]) -> None:
        self.file = shown(file)
        self.problems: tuple[Problem, ...] = tuple(sorted(problems))
        super().__init__("\n".join(f"{self.file}, {problem}" for problem in self.problems))
