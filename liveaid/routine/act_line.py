"""One line of `acts:` or `juggle:` as data: what is done, with which part, for how long.

Words and numbers only, no commas, so that a line may stand in a flow mapping. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias, get_args

from liveaid.routine.written_numbers import MOST_BEATS, LineError, number

ActKind: TypeAlias = Literal[
    "push", "pull", "let go", "catch", "hold", "wind", "back-cue", "spin back", "needle",
    "set pitch",
]  # fmt: skip
ACT_KINDS: tuple[ActKind, ...] = get_args(ActKind)
Unit: TypeAlias = Literal["of the part", "turns", "s", "beats"]
WayBack: TypeAlias = Literal["back-cue", "wind", "needle", "runs on"]
WAYS_BACK: tuple[WayBack, ...] = get_args(WayBack)

DETAILS = ("for", "over", "open", "closed", "clicks", "cuts", "rolled", "of", "back", "swapped")
"""Words that say more of an act; no part can be called so."""
_UNITS: dict[str, Unit] = {
    "turn": "turns", "turns": "turns", "s": "s", "beat": "beats", "beats": "beats",
}  # fmt: skip
MOST_TIMES = 256


@dataclass(frozen=True, slots=True)
class Over:
    """How far: so much of the part, or so many turns, seconds or beats of record."""

    amount: float
    unit: Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class ActLine:
    """What one line of `acts:` says: an act or a figure, on which part, how long, how far."""

    name: str
    """An act's kind, or a figure's name."""
    part: str | None = None
    sound: str | None = None
    beats: float | None = None
    over: Over | None = None
    times: int = 1
    open: tuple[tuple[float, float], ...] | None = None
    """Beats from the act's start in which the fader is open; None: the act's own habit."""
    clicks: int | None = None
    """How often an open fader is shut for a moment on the way."""
    cuts: int | None = None
    """How often a closed fader is opened on the way."""
    rolled: bool = False
    """Several fingers tap the fader in turn."""
    percent: float | None = None
    """The pitch to be set."""
    swapped: bool = False
    """The figure with left and right traded."""

    @property
    def kind(self) -> ActKind | None:
        """The act that is named; None where the name is a figure's."""
        return next((kind for kind in ACT_KINDS if kind == self.name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnLine:
    """What one line of `juggle:` says: a record let go from one of its beats to another."""

    side: Literal["left", "right"]
    part: str | None = None
    sound: str | None = None
    from_beat: float = 0.0
    to_beat: float | None = None
    back: WayBack = "back-cue"
    times: int = 1


def beat_of(key: str, *, metre: int) -> float:
    """Where a line stands: beats from the start (below 0: a pick-up), or ``bar 3 beat 2``."""
    match = re.fullmatch(r"bar\s+(\d+)(?:\s+beat\s+(.+))?", key.strip())
    if match is None:
        would_do = 'beats from the start such as 0, 2 1/2 or "bar 3 beat 2"'
        try:
            return number(key, least=-MOST_BEATS, what=would_do)
        except LineError as error:
            raise LineError(error.found, f"{would_do} would do") from error
    bar, beat = int(match[1]), number(match[2] or "1", least=1.0, what="a beat of the bar")
    if bar < 1 or beat >= metre + 1:
        raise LineError(key, f"bars from 1, and beats from 1 to below {metre + 1}, would do")
    return (bar - 1) * metre + beat - 1.0


def read_act(text: str) -> ActLine:
    """One line of `acts:`. LineError with what is wrong in it."""
    words = text.split()
    if not words:
        raise LineError("nothing", "an act or a figure such as `baby` would do")
    two = " ".join(words[:2])
    name, rest = (two, words[2:]) if two in ACT_KINDS else (words[0], words[1:])
    line = ActLine(name=name)
    if name == "set pitch":
        return _with_details(*_percent(line, rest))
    part = rest[0] if rest and not _is_detail(rest[0]) else None
    return _with_details(replace(line, part=part), rest[1:] if part else rest)


def _percent(line: ActLine, rest: list[str]) -> tuple[ActLine, list[str]]:
    if not rest or not re.fullmatch(r"[+-]?\d+(\.\d+)?%?", rest[0]):
        found = rest[0] if rest else "nothing"
        raise LineError(found, "a pitch in per cent such as +3.5 would do")
    return replace(line, percent=float(rest[0].rstrip("%"))), rest[1:]


def _is_detail(word: str) -> bool:
    return word in DETAILS or _is_times(word)


def _with_details(line: ActLine, words: list[str]) -> ActLine:
    for word, args in _details(words):
        if word in _FLAGS:
            _alone(word, args)
            line = replace(line, **_FLAGS[word])
        elif word in _READERS:
            line = _READERS[word](line, args)
        elif _is_times(word):
            _alone(word, args)
            line = replace(line, times=_times(word))
        else:
            known = ", ".join(word for word in DETAILS if word != "back")
            raise LineError(word, f"one of {known} or x2 would do")
    return line


def _details(words: list[str]) -> Iterator[tuple[str, list[str]]]:
    """Each word that says more, with what stands behind it. LineError for one said twice."""
    seen: set[str] = set()
    while words:
        word, args = words[0], _until_detail(words[1:])
        kind = "x" if _is_times(word) else word
        if kind in seen:
            raise LineError(f"{word} twice", "once would do")
        seen.add(kind)
        yield word, args
        words = words[1 + len(args) :]


def _is_times(word: str) -> bool:
    return re.fullmatch(r"x\d+", word) is not None


def _until_detail(words: list[str]) -> list[str]:
    stop = next((place for place, word in enumerate(words) if _is_detail(word)), len(words))
    return words[:stop]


def _alone(word: str, args: list[str]) -> None:
    if args:
        raise LineError(f"{word} {' '.join(args)}", f"{word} alone would do")


def _times(word: str) -> int:
    times = int(word[1:])
    if not 1 <= times <= MOST_TIMES:
        raise LineError(word, f"x1 to x{MOST_TIMES} would do")
    return times


def _for(line: ActLine, args: list[str]) -> ActLine:
    words = args[:-1] if args and args[-1] in ("beat", "beats") else args
    beats = number(" ".join(words), what="beats")
    if beats <= 0.0:
        raise LineError(" ".join(args), "beats above 0 would do")
    return replace(line, beats=beats)


def _over(line: ActLine, args: list[str]) -> ActLine:
    unit = _UNITS.get(args[-1]) if args else None
    amount = number(" ".join(args[:-1] if unit else args), what="how far")
    if amount <= 0.0 or (unit is None and amount > 1.0):
        would_do = "1/2 (of the part), 1/4 turn, 0.2 s or 2 beats would do"
        raise LineError(f"over {' '.join(args)}", would_do)
    return replace(line, over=Over(amount, unit or "of the part"))


def _open(line: ActLine, args: list[str]) -> ActLine:
    spans: list[tuple[float, float]] = []
    for span in " ".join(args).split(" and "):
        ends = span.split(" to ")
        if len(ends) != 2:
            raise LineError(f"open {' '.join(args)}", "such as `open 0 to 1/4` would do")
        start, end = (number(each, what="beats") for each in ends)
        if end <= start or (spans and start < spans[-1][1]):
            raise LineError(f"open {' '.join(args)}", "beats in rising order would do")
        spans.append((start, end))
    return replace(line, open=tuple(spans))


def _count(word: str, args: list[str]) -> int:
    if len(args) != 1 or not args[0].isdigit() or not 1 <= int(args[0]) <= 64:
        raise LineError(f"{word} {' '.join(args)}".strip(), f"{word} 1 to {word} 64 would do")
    return int(args[0])


def _of(line: ActLine, args: list[str]) -> ActLine:
    if line.part is None or not args:
        raise LineError(f"of {' '.join(args)}".strip(), "a part and its sound would do")
    return replace(line, sound=" ".join(args))


_FLAGS: dict[str, dict[str, Any]] = {
    "closed": {"open": ()}, "rolled": {"rolled": True}, "swapped": {"swapped": True},
}  # fmt: skip
_READERS: dict[str, Callable[[ActLine, list[str]], ActLine]] = {
    "for": _for,
    "over": _over,
    "open": _open,
    "clicks": lambda line, args: replace(line, clicks=_count("clicks", args)),
    "cuts": lambda line, args: replace(line, cuts=_count("cuts", args)),
    "of": _of,
}


def read_turn(text: str) -> TurnLine | ActLine:
    """One line of `juggle:`: a record's turn, or a figure's name. LineError with what is wrong."""
    words = text.split()
    if not words or words[0] not in ("left", "right"):
        line = read_act(text)
        if line.kind is not None:
            raise LineError(text, "left or right, or a figure with `juggle:`, would do")
        return line
    turn = TurnLine(side="left" if words[0] == "left" else "right")
    head = _until_detail(words[1:])
    rest = words[1 + len(head) :]
    if head and not re.match(r"[\d+-]", head[0]):
        turn, head = replace(turn, part=head[0]), head[1:]
    if head:
        turn = _with_beats(turn, " ".join(head))
    return _with_turn_details(turn, rest)


def _with_beats(turn: TurnLine, text: str) -> TurnLine:
    ends = text.split(" to ")
    if len(ends) != 2:
        raise LineError(text, "beats of the record such as `0 to 2` would do")
    start, end = (number(each, what="beats of the record") for each in ends)
    if end <= start:
        raise LineError(text, "an end after the begin would do")
    return replace(turn, from_beat=start, to_beat=end)


def _with_turn_details(turn: TurnLine, words: list[str]) -> TurnLine:
    for word, args in _details(words):
        if word == "back":
            turn = replace(turn, back=_way_back(" ".join(args)))
        elif word == "of" and turn.part and args:
            turn = replace(turn, sound=" ".join(args))
        elif _is_times(word) and not args:
            turn = replace(turn, times=_times(word))
        else:
            raise LineError(word, "`back wind`, `of` a sound, or x2 would do")
    return turn


def _way_back(text: str) -> WayBack:
    back = next((way for way in WAYS_BACK if way == text), None)
    if back is None:
        raise LineError(f"back {text}".strip(), f"back {' or back '.join(WAYS_BACK)} would do")
    return back
