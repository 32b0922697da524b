"""The trade's figures and the performer's own: their lines by beat, and what is wrong in them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path as FilePath
from typing import TypeAlias

import yaml

from liveaid.routine.act_line import (
    ACT_KINDS,
    ActLine,
    TurnLine,
    beat_of,
    read_act,
    read_turn,
)
from liveaid.routine.model import Figure, Routine
from liveaid.routine.near_words import meant
from liveaid.routine.problems import Hindrance
from liveaid.routine.written_numbers import LineError

Path: TypeAlias = tuple[str | int, ...]
Written: TypeAlias = tuple[str, str | None, Path]
"""A line's key, its text, and where it stands in the map."""

_FILE = FilePath(__file__).with_name("figures.yaml")


@dataclass(frozen=True, slots=True)
class FigureEntry:
    """One line of a figure or plan: where it stands in beats, and in the map."""

    beat: float
    line: ActLine | TurnLine
    path: Path


@lru_cache(maxsize=1)
def trade_figures() -> Mapping[str, Figure]:
    """The figures that come along, by the trade's names."""
    tree = yaml.load(_FILE.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    return {name: Figure.model_validate(figure, by_alias=True) for name, figure in tree.items()}


class Book:
    """All figures a routine may call: its own go before the trade's of the same name."""

    def __init__(self, routine: Routine) -> None:
        self._own, self._metre = routine.figures, routine.metre

    def __contains__(self, name: object) -> bool:
        return name in self._own or name in trade_figures()

    def figure(self, name: str) -> Figure:
        """The figure of a name; KeyError when there is none."""
        return self._own[name] if name in self._own else trade_figures()[name]

    def names(self) -> list[str]:
        """Every name there is, the performer's own first."""
        return [*self._own, *(name for name in trade_figures() if name not in self._own)]

    def lines(self, name: str, seen: tuple[str, ...] = ()) -> tuple[list[Written], bool]:
        """A figure's lines with variations worked in, and whether they are a juggle's.

        LineError for a figure that varies itself, or one that is not there.
        """
        figure = self.figure(name)
        if figure.like is None:
            juggles = figure.acts is None
            word = "juggle" if juggles else "acts"
            return written(getattr(figure, word) or {}, ("figures", name, word)), juggles
        if figure.like in (*seen, name):
            raise LineError(" like ".join((*seen, name, figure.like)), "another figure would do")
        if figure.like not in self:
            guess = meant(figure.like, self.names())
            raise LineError(figure.like, f"{guess}one of {', '.join(self.names())} would do")
        lines, juggles = self.lines(figure.like, (*seen, name))
        own = written(figure.but or {}, ("figures", name, "but"))
        return _varied(lines, own, self._metre), juggles

    def beats(self, name: str, seen: tuple[str, ...] = ()) -> float:
        """How long a figure lasts as written."""
        figure = self.figure(name)
        if figure.beats is not None or figure.like is None or figure.like in seen:
            return figure.beats or 1.0
        return self.beats(figure.like, (*seen, name))

    def entries(self, name: str) -> tuple[list[FigureEntry], list[Hindrance]]:
        """A figure's lines read, in order of beat, and what is wrong in them."""
        try:
            lines, juggles = self.lines(name)
        except LineError as error:
            return [], [error.at(("figures", name, "like"))]
        return read_lines(lines, juggles=juggles, metre=self._metre)

    def faults(self) -> Iterator[Hindrance]:
        """All that is wrong in the performer's own figures."""
        for name in self._own:
            entries, faults = self.entries(name)
            yield from faults
            length, juggles = self.beats(name), self._juggles(name)
            for entry in entries:
                yield from self.misnamed(entry, juggles=juggles)
                yield from self._beyond(entry, name, length)
            circle = self._circle(name, ())
            if circle:
                found = " calls ".join(circle)
                would_do = "figures that do not call themselves would do"
                yield Hindrance(("figures", name), found, would_do)

    def misnamed(self, entry: FigureEntry, *, juggles: bool) -> Iterator[Hindrance]:
        """A line whose first word is no act and no figure, or a figure of the other kind."""
        line = entry.line
        if not isinstance(line, ActLine) or line.kind is not None:
            return
        if line.name not in self:
            guess = meant(line.name, [*ACT_KINDS, *self.names()])
            yield Hindrance(entry.path, line.name, f"{guess}one of these would do: {self._known()}")
        elif self._juggles(line.name) is not juggles:
            one, other = ("both decks", "one deck") if juggles else ("one deck", "both decks")
            found = f"{line.name}, a figure of {other}"
            yield Hindrance(entry.path, found, f"a figure of {one} would do")

    def _juggles(self, name: str) -> bool:
        try:
            return self.lines(name)[1]
        except LineError:
            return False

    def _known(self) -> str:
        return f"{', '.join(ACT_KINDS)}; {', '.join(self.names())}"

    def _beyond(self, entry: FigureEntry, name: str, length: float) -> Iterator[Hindrance]:
        if not 0.0 <= entry.beat < length:
            found = f"beat {entry.beat:g} of {name}, which lasts {length:g}"
            yield Hindrance(entry.path, found, f"a beat from 0 to below {length:g} would do")

    def _circle(self, name: str, seen: tuple[str, ...]) -> tuple[str, ...]:
        """The chain of names by which a figure calls itself; empty when it does not."""
        if name in seen:
            return (*seen, name)
        for entry in self.entries(name)[0]:
            line = entry.line
            if isinstance(line, ActLine) and line.kind is None and line.name in self._own:
                circle = self._circle(line.name, (*seen, name))
                if circle and circle[0] == circle[-1] == (seen or (name,))[0]:
                    return circle
        return ()


def written(lines: Mapping[str, str | None], path: Path) -> list[Written]:
    """The lines of a mapping, each with where it stands in the map."""
    return [(key, text, (*path, key)) for key, text in lines.items()]


def read_lines(
    lines: list[Written], *, juggles: bool, metre: int
) -> tuple[list[FigureEntry], list[Hindrance]]:
    """Lines as entries in order of beat, and what is wrong in them; empty ones say nothing."""
    read = read_turn if juggles else read_act
    entries, faults = [], []
    for key, text, path in lines:
        try:
            beat = beat_of(key, metre=metre)
            if text is not None:
                entries.append(FigureEntry(beat, read(text), path))
        except LineError as error:
            faults.append(error.at(path))
    return sorted(entries, key=lambda entry: entry.beat), faults


def _varied(lines: list[Written], but: list[Written], metre: int) -> list[Written]:
    """The lines with some put in the place of those at the same beat, or taken away."""
    places = {_beat(key, metre) for key, _, _ in but}
    return [line for line in lines if _beat(line[0], metre) not in places] + but


def _beat(key: str, metre: int) -> float | str:
    """A key's beat; the key itself where it is none, which is told when the line is read."""
    try:
        return beat_of(key, metre=metre)
    except LineError:
        return key
