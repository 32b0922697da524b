"""The words a sound can be found by: one table of what each asks for and how its value is read."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias, get_args

from liveaid.routine.keys import EVERY_KEY, Key, fifths_apart, parse_key
from liveaid.routine.model import Kind
from liveaid.shelf.columns import fold

Values: TypeAlias = tuple[float | int | str, ...]


@dataclass(frozen=True, slots=True)
class Term:
    """One condition over the shelf's columns, in SQL, with the values for its question marks."""

    where: str
    values: Values = ()
    of_whole: Term | None = None
    """Where the term is of parts of sounds: the sounds that have such a part."""

    def turned(self) -> Term:
        """The opposite; what is not known does not hold, so its opposite does."""
        held = self.of_whole or self
        return Term(f"NOT ifnull({held.where}, 0)", held.values)


LONGEST_BREAK = 64
"""Bars; a longer one is a drum track."""


class Wrong(Exception):
    """One term cannot be read: what was found and what would do."""


@dataclass(frozen=True, slots=True)
class QueryWord:
    """One word to find by: its reader, a line of help, and the number behind it if there is one."""

    read: Callable[[str], Term]
    example: str
    column: str | None = None
    """The column it can be sorted by."""


@dataclass(frozen=True, slots=True)
class Range:
    """Numbers from one to another, both included."""

    low: float = -math.inf
    high: float = math.inf

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


def read_range(text: str, *, tolerance: float, example: str) -> Range:
    """A range ``a..b``, ``a..``, ``..b``, or one number and what rounds to it. Wrong otherwise."""
    low, dots, high = text.partition("..")
    if not dots:
        if re.fullmatch(r"\s*[\d.:]+\s*[-–—]\s*[\d.:]+\s*", text):
            raise Wrong(f"two dots part a range: {re.sub(r'[-–—]', '..', text).replace(' ', '')}")
        value = _number(text, example)
        return Range(value - tolerance, value + tolerance)
    if not low.strip() and not high.strip():
        raise Wrong(f"a number on one side of `..` at least would do, such as {example}")
    found = Range(
        _number(low, example) if low.strip() else -math.inf,
        _number(high, example) if high.strip() else math.inf,
    )
    if found.low > found.high:
        raise Wrong(f"the smaller number first would do: {high.strip()}..{low.strip()}")
    return found


def near_keys(a: Key, b: Key) -> bool:
    """Whether two keys share all notes of the scale but one at most: a fifth apart or nearer."""
    return fifths_apart(a, b) <= 1


def _number(text: str, example: str) -> float:
    text = text.strip().replace("−", "-")
    clock = re.fullmatch(r"(\d{1,3}):([0-5]\d(?:\.\d+)?)", text)
    if clock:
        return int(clock[1]) * 60 + float(clock[2])
    if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", text):
        found = f"'{text}' is no number; " if text else "a value is missing; "
        raise Wrong(f"{found}such as {example} would do")
    return float(text)


def _measure(column: str, example: str, *, unit: str = "", tolerance: float = 0.5) -> QueryWord:
    """A word for a number: a range of it, or `none` where it is not known."""

    def read(text: str) -> Term:
        if text.lower() == "none":
            return _unknown(column)
        return _within(column, read_range(_without_unit(text, unit), tolerance=tolerance,
                                          example=example))  # fmt: skip

    return QueryWord(read, example, column)


def _unknown(column: str) -> Term:
    return Term(f"(studied AND {column} IS NULL)")


def _within(column: str, wanted: Range) -> Term:
    """A range's condition; an open end leaves no value to compare with."""
    parts: list[str] = []
    values: list[float] = []
    for sign, bound in ((">=", wanted.low), ("<=", wanted.high)):
        if math.isfinite(bound):
            parts.append(f"{column} {sign} ?")
            values.append(bound)
    return Term(f"({' AND '.join(parts)})", tuple(values))


def _any(terms: Sequence[Term]) -> Term:
    """At least one of them."""
    values = tuple(value for term in terms for value in term.values)
    return Term(f"({' OR '.join(term.where for term in terms)})", values)


def _without_unit(text: str, unit: str) -> str:
    return re.sub(rf"\s*\b(?:{unit})\s*$", "", text, flags=re.IGNORECASE) if unit else text


def _read_tempo(text: str) -> Term:
    """A tempo range; the words half and double let those readings of it count as well."""
    words = text.split()
    factors = [1.0]
    while words and words[-1].lower() in ("half", "double"):
        factors.append({"half": 0.5, "double": 2.0}[words.pop().lower()])
    example = "tempo 88..96"
    if words == ["none"]:
        return _unknown("tempo")
    rest = _without_unit(" ".join(words), "bpm")
    stray = re.search(r"\b(hal\w*|dou\w*|twice)\b", rest)
    if stray:
        raise Wrong(f"'{stray[0]}' is not understood; half or double after the range would do")
    wanted = read_range(rest, tolerance=0.5, example=example)
    return _any([_within("tempo", Range(wanted.low / f, wanted.high / f)) for f in factors])


def _read_key(text: str) -> Term:
    """Keys parted by `or`; `near A minor` takes those a fifth away as well; `none` no key."""
    if text.lower() == "none":
        return _unknown("key")
    numbers: set[int] = set()
    for part in _alternatives(text, "key A minor"):
        near = part.lower().startswith("near ")
        name = part[5:] if near else part
        try:
            wanted = parse_key(name)
        except ValueError:
            would_do = "a key such as A minor, F# major or near Bb major"
            raise Wrong(f"'{name}' is no key; {would_do} would do") from None
        numbers |= {k.number for k in EVERY_KEY if k == wanted or (near and near_keys(k, wanted))}
    return Term(f"key IN ({', '.join('?' * len(numbers))})", tuple(sorted(numbers)))


def _read_kind(text: str) -> Term:
    kinds = get_args(Kind)
    wanted = {part.lower() for part in _alternatives(text, "kind a cappella")}
    for kind in wanted - set(kinds):
        guess = difflib.get_close_matches(kind, kinds, n=1, cutoff=0.5)
        asked = f"did you mean {guess[0]}? " if guess else ""
        raise Wrong(f"'{kind}' is no kind; {asked}known: {', '.join(kinds)}")
    return Term(f"kind IN ({', '.join('?' * len(wanted))})", tuple(sorted(wanted)))


def _read_tag(text: str) -> Term:
    if text.lower() == "none":
        return Term("tags = char(10)")
    wanted = [f"\n{fold(part)}\n" for part in _alternatives(text, "tag crowd")]
    return _any([_contains("tags", tag) for tag in wanted])


def _contains(column: str, text: str) -> Term:
    return Term(f"instr({column}, ?) > 0", (text,))


def _read_text(text: str) -> Term:
    """Every word has to occur in the name, note, tags, source or labels; quotes keep words
    together."""
    wanted = [fold(a or b) for a, b in re.findall(r'"([^"]+)"|([^\s"]+)', text)]
    if not wanted:
        raise Wrong("a text to look for is missing; such as text lantern would do")
    where = " AND ".join("instr(said, ?) > 0" for _ in wanted)
    return Term(f"({where})", tuple(wanted))


def _read_break(text: str) -> Term:
    """The open breaks, of so many bars or any, each by itself; `none` the sounds without one."""
    if text.lower() == "none":
        return Term("(studied AND breaks = '')")
    if not text:
        return Term("part = 1", of_whole=Term("ifnull(breaks, '') != ''"))
    wanted = read_range(_without_unit(text, "bars?"), tolerance=0.0, example="break 2..8 bars")
    bars = [bars for bars in range(1, LONGEST_BREAK + 1) if bars in wanted]
    if not bars:
        raise Wrong(f"whole bars from 1 to {LONGEST_BREAK} would do, such as break 2..8 bars")
    having = _any([_contains("breaks", f"\n{each}\n") for each in bars])
    return Term("(part = 1 AND round(bars) BETWEEN ? AND ?)", (bars[0], bars[-1]), of_whole=having)


def _said(column: str, example: str = "") -> QueryWord:
    """A word for a text: part of it, or `none` where nothing is written."""
    example = example or f"{column} none"

    def read(text: str) -> Term:
        if text.lower() == "none":
            return Term(f"{column} = ''")
        wanted = [fold(part) for part in _alternatives(text, example)]
        return _any([_contains(column, part) for part in wanted])

    return QueryWord(read, example)


def _flag(where: str, word: str) -> QueryWord:
    """A word that stands alone."""

    def read(text: str) -> Term:
        if text:
            raise Wrong(f"'{text}' is too much here; {word} stands alone")
        return Term(where)

    return QueryWord(read, word)


def _alternatives(text: str, example: str) -> list[str]:
    parts = [part.strip().strip('"') for part in re.split(r"\s+or\s+", text)]
    if not all(parts):
        raise Wrong(f"a value is missing; such as {example} would do")
    return parts


WORDS: dict[str, QueryWord] = {
    "tempo": QueryWord(_read_tempo, "tempo 88..96 half double", "tempo"),
    "key": QueryWord(_read_key, "key near A minor"),
    "kind": QueryWord(_read_kind, "kind a cappella or sample"),
    "energy": _measure("energy", "energy 3..5", tolerance=0.0),
    "loudness": _measure("loudness", "loudness -14..-8", unit="lufs|lkfs"),
    "peak": _measure("peak", "peak ..-1", unit="dbtp|db"),
    "duration": _measure("duration", "duration 0:02..1:30", unit="s|seconds"),
    "bars": _measure("bars", "bars 4..8", tolerance=0.05),
    "break": QueryWord(_read_break, "break 2..8 bars"),
    "voice": _measure("voice", "voice 0.5..", tolerance=0.05),
    "phrases": _measure("phrases", "phrases 4..", tolerance=0.0),
    "brightness": _measure("brightness", "brightness ..1500", unit="hz"),
    "loop": _flag("loop_beats IS NOT NULL", "loop"),
    "steady": _flag("steady", "steady"),
    "tag": QueryWord(_read_tag, "tag crowd or rain"),
    "text": QueryWord(_read_text, "text lantern"),
    "artist": _said("artist", "artist lamplighter"),
    "title": _said("title", "title first rain"),
    "folder": _said("folder", "folder crates"),
    "note": _said("note"),
    "source": _said("source"),
    "licence": _said("licence"),
    "faulty": _flag("faulty", "faulty"),
    "gone": _flag("gone", "gone"),
    "failed": _flag("NOT studied", "failed"),
}
"""Every word to find by; `column` where it can be sorted by as well."""
