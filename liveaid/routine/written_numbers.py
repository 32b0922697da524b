"""Numbers as a performer writes them, ``2``, ``1.5`` or ``1 1/2``, read and written back."""

from __future__ import annotations

import re
from fractions import Fraction

from liveaid.routine.problems import Hindrance

MOST_BEATS = 4000.0
"""No number of a line is larger; a longer set piece is a slip of the pen."""
_SMALLEST_SHARE = 32
"""Shares down to a thirty-second are written as fractions: a metre has no more beats."""
_SAME_NUMBER = 1e-9


class LineError(ValueError):
    """What is wrong in one line: what was found there, and what would do."""

    def __init__(self, found: str, would_do: str) -> None:
        super().__init__(f"found {found}; {would_do}")
        self.found, self.would_do = found, would_do

    def at(self, path: tuple[str | int, ...]) -> Hindrance:
        """The same, of a line that stands there in the map."""
        return Hindrance(path, self.found, self.would_do)


def number(text: str, *, least: float = 0.0, what: str = "a number") -> float:
    """A decimal, a fraction or both: ``1.5``, ``3/2``, ``1 1/2``. LineError for anything else."""
    match = re.fullmatch(r"([+-]?)\s*(?:(\d+)\s+)?(\d+)/(\d+)|([+-]?\d+(?:\.\d*)?)", text.strip())
    if match is None or match[4] in ("0", "00"):
        raise LineError(text or "nothing", f"{what} such as 2, 1.5 or 1/2 would do")
    if match[5] is not None:
        value = float(match[5])
    else:
        value = int(match[2] or 0) + int(match[3]) / int(match[4])
        value = -value if match[1] == "-" else value
    if not least <= value <= MOST_BEATS:
        raise LineError(text, f"{what} from {least:g} to {MOST_BEATS:g} would do")
    return value


def evened(value: float) -> float:
    """The number as the nearest fraction of small shares where it is one but for rounding, whole
    ones as int: ``1/3`` and ``0.33333333333`` are the same."""
    near = Fraction(value).limit_denominator(_SMALLEST_SHARE)
    if near.denominator == 1 and abs(value - near) < _SAME_NUMBER:
        return int(near)
    return float(near) if abs(value - near) < _SAME_NUMBER else value


def number_text(value: float) -> str:
    """A number above 0 as `number` reads it: ``2``, ``2 1/2``; a decimal where it is no fraction of
    small shares."""
    near = Fraction(value).limit_denominator(_SMALLEST_SHARE)
    if abs(value - near) >= _SAME_NUMBER:
        return f"{value:.10g}"
    whole, rest = divmod(near, 1)
    return " ".join(filter(None, (str(whole) if whole or not rest else "", str(rest or ""))))


def bars_said(bars: float) -> str:
    """So many bars in words: ``1 bar``, ``2 1/2 bars``."""
    return f"{number_text(bars)} {'bar' if bars <= 1 else 'bars'}"


def so_many(count: int, thing: str) -> str:
    """So many things in words: ``1 take``, ``3 takes``, ``0 takes``."""
    return f"{count} {thing}{'' if count == 1 else 's'}"


def bar_said(bar: int) -> str:
    """A bar, from 0, as it is counted, from 1; what comes before the first is the pick-up."""
    return "pick-up" if bar < 0 else f"bar {bar + 1}"


def place_said(beat: float, metre: int) -> str:
    """A beat, from 0, as it is counted: ``bar 3 beat 1.5``; a pick-up's as it is written."""
    if beat < 0.0:
        return f"pick-up beat -{number_text(-beat)}"
    return f"{bar_said(int(beat // metre))} beat {beat % metre + 1.0:.3g}"
