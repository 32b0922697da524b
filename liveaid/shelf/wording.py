"""The words a sound can be found by: one table of what each asks for and how its value is read."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, get_args

from liveaid.files.names import shown
from liveaid.routine.keys import Key, fifths_apart, parse_key
from liveaid.routine.model import Kind
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study

Holds: TypeAlias = Callable[[ShelfSound], bool]
Measure: TypeAlias = Callable[[Study], float | None]


class Wrong(Exception):
    """One term cannot be read: what was found and what would do."""


@dataclass(frozen=True, slots=True)
class Word:
    """One word to find by: its reader, a line of help, and the number behind it if there is one."""

    read: Callable[[str], Holds]
    example: str
    value: Measure | None = None


@dataclass(frozen=True, slots=True)
class Range:
    """Numbers from one to another, both included."""

    low: float = -math.inf
    high: float = math.inf

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


def fold(text: str) -> str:
    """Text for comparing: without case and without accents."""
    apart = unicodedata.normalize("NFKD", text)
    return "".join(c for c in apart if not unicodedata.combining(c)).casefold()


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


def bars_of(study: Study) -> float | None:
    """How many bars of its own a sound is long, between the silences; None without a tempo."""
    if not study.tempo:
        return None
    beats = study.loop_beats or sounding_s(study) * study.tempo / 60.0
    return beats / (study.metre or 4)


def sounding_s(study: Study) -> float:
    """Seconds between the silence before and the silence after."""
    return max(0.0, study.duration_s - study.silence_start_s - study.silence_end_s)


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


def _measure(value: Measure, example: str, *, unit: str = "", tolerance: float = 0.5) -> Word:
    """A word for a number: a range of it, or `none` where it is not known."""

    def read(text: str) -> Holds:
        if text.lower() == "none":
            return lambda sound: sound.study is not None and value(sound.study) is None
        wanted = read_range(_without_unit(text, unit), tolerance=tolerance, example=example)
        return lambda sound: _holds(sound, value, wanted)

    return Word(read, example, value)


def _without_unit(text: str, unit: str) -> str:
    return re.sub(rf"\s*\b(?:{unit})\s*$", "", text, flags=re.IGNORECASE) if unit else text


def _holds(sound: ShelfSound, value: Measure, wanted: Range) -> bool:
    found = value(sound.study) if sound.study else None
    return found is not None and found in wanted


def _read_tempo(text: str) -> Holds:
    """A tempo range; the words half and double let those readings of it count as well."""
    words = text.split()
    factors = [1.0]
    while words and words[-1].lower() in ("half", "double"):
        factors.append({"half": 0.5, "double": 2.0}[words.pop().lower()])
    example = "tempo 88..96"
    if words == ["none"]:
        return lambda sound: sound.study is not None and sound.study.tempo is None
    rest = _without_unit(" ".join(words), "bpm")
    stray = re.search(r"\b(hal\w*|dou\w*|twice)\b", rest)
    if stray:
        raise Wrong(f"'{stray[0]}' is not understood; half or double after the range would do")
    wanted = read_range(rest, tolerance=0.5, example=example)

    def holds(sound: ShelfSound) -> bool:
        tempo = sound.study.tempo if sound.study else None
        return tempo is not None and any(tempo * factor in wanted for factor in factors)

    return holds


def _read_key(text: str) -> Holds:
    """Keys parted by `or`; `near A minor` takes those a fifth away as well; `none` no key."""
    if text.lower() == "none":
        return lambda sound: sound.study is not None and sound.study.key is None
    tests: list[tuple[Key, bool]] = []
    for part in _alternatives(text, "key A minor"):
        near = part.lower().startswith("near ")
        name = part[5:] if near else part
        try:
            tests.append((parse_key(name), near))
        except ValueError:
            would_do = "a key such as A minor, F# major or near Bb major"
            raise Wrong(f"'{name}' is no key; {would_do} would do") from None

    def holds(sound: ShelfSound) -> bool:
        if sound.study is None or sound.study.key is None:
            return False
        key = parse_key(sound.study.key)
        return any(near_keys(key, k) if near else key == k for k, near in tests)

    return holds


def _read_kind(text: str) -> Holds:
    kinds = get_args(Kind)
    wanted = {part.lower() for part in _alternatives(text, "kind a cappella")}
    for kind in wanted - set(kinds):
        guess = difflib.get_close_matches(kind, kinds, n=1, cutoff=0.5)
        asked = f"did you mean {guess[0]}? " if guess else ""
        raise Wrong(f"'{kind}' is no kind; {asked}known: {', '.join(kinds)}")
    return lambda sound: sound.study is not None and sound.study.kind in wanted


def _read_tag(text: str) -> Holds:
    if text.lower() == "none":
        return lambda sound: not sound.marks.tags
    wanted = {fold(part) for part in _alternatives(text, "tag crowd")}
    return lambda sound: any(fold(tag) in wanted for tag in sound.marks.tags)


def _read_text(text: str) -> Holds:
    """Every word has to occur in the name, note, tags or source; quotes keep words together."""
    wanted = [fold(a or b) for a, b in re.findall(r'"([^"]+)"|([^\s"]+)', text)]
    if not wanted:
        raise Wrong("a text to look for is missing; such as text lantern would do")

    def holds(sound: ShelfSound) -> bool:
        marks = sound.marks
        file = shown(sound.path).rpartition("/")[2]
        said = fold("\n".join([file, marks.note, marks.source, *sorted(marks.tags)]))
        return all(word in said for word in wanted)

    return holds


def _said(field: str) -> Word:
    """A word for a text the performer wrote: part of it, or `none` where nothing is written."""

    def read(text: str) -> Holds:
        if text.lower() == "none":
            return lambda sound: not getattr(sound.marks, field)
        wanted = [fold(part) for part in _alternatives(text, f"{field} none")]
        return lambda sound: any(part in fold(getattr(sound.marks, field)) for part in wanted)

    return Word(read, f"{field} none")


def _flag(test: Holds, word: str) -> Word:
    """A word that stands alone."""

    def read(text: str) -> Holds:
        if text:
            raise Wrong(f"'{text}' is too much here; {word} stands alone")
        return test

    return Word(read, word)


def _alternatives(text: str, example: str) -> list[str]:
    parts = [part.strip().strip('"') for part in re.split(r"\s+or\s+", text)]
    if not all(parts):
        raise Wrong(f"a value is missing; such as {example} would do")
    return parts


WORDS: dict[str, Word] = {
    "tempo": Word(_read_tempo, "tempo 88..96 half double", lambda s: s.tempo),
    "key": Word(_read_key, "key near A minor"),
    "kind": Word(_read_kind, "kind a cappella or sample"),
    "energy": _measure(lambda s: float(s.energy), "energy 3..5", tolerance=0.0),
    "loudness": _measure(lambda s: s.loudness_lufs, "loudness -14..-8", unit="lufs|lkfs"),
    "peak": _measure(lambda s: s.true_peak_dbtp, "peak ..-1", unit="dbtp|db"),
    "duration": _measure(lambda s: s.duration_s, "duration 0:02..1:30", unit="s|seconds"),
    "bars": _measure(bars_of, "bars 4..8", tolerance=0.05),
    "phrases": _measure(lambda s: float(len(s.phrases_s)), "phrases 4..", tolerance=0.0),
    "brightness": _measure(lambda s: s.brightness_hz, "brightness ..1500", unit="hz"),
    "loop": _flag(lambda s: s.study is not None and s.study.loop_beats is not None, "loop"),
    "steady": _flag(lambda s: s.study is not None and s.study.steady, "steady"),
    "tag": Word(_read_tag, "tag crowd or rain"),
    "text": Word(_read_text, "text lantern"),
    "note": _said("note"),
    "source": _said("source"),
    "licence": _said("licence"),
    "faulty": _flag(lambda s: s.study is not None and bool(s.study.faults), "faulty"),
    "gone": _flag(lambda s: s.gone, "gone"),
    "failed": _flag(lambda s: s.study is None, "failed"),
}
"""Every word to find by; `value` where it can be sorted by as well."""
