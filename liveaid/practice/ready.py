"""Whether a set piece is ready for the stage, by a test that may be looked at after every take.

Looking at an interval again and again until it says yes makes anybody ready in time. So the
evidence is a test martingale (Ville, "Étude critique de la notion de collectif", 1939; Ramdas et
al., "Game-theoretic statistics and safe anytime-valid inference", Statistical Science 38, 2023):
the odds of the takes under clean rates above the level, all alike likely, against the level
itself. A performer at or below the level has a chance of at most 1 / 20 that it ever comes to 20.

Who gets better must not drag the first weeks along, so a test begins on every day of practice, the
one of day d with the share 1 / (d (d + 1)) of the evidence; the shares make one, so the chance
stays the same. Tests that began more than AGES_DAYS ago no longer count: readiness ages.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from scipy.special import betainc, betaln

ENOUGH = 20.0
"""Evidence that is called ready: false at most 5 times of 100."""
AGES_DAYS = 28.0
"""What was shown longer ago says nothing of tonight (common practice, no source)."""
_DAY_S = 86400.0
_MOST_MORE = 60


@dataclass(frozen=True, slots=True)
class Attempted:
    """One judged take at full tempo."""

    at: float
    """Unix time."""
    clean: bool


def evidence(takes: Sequence[Attempted], level: float, *, now: float) -> float:
    """How much the takes, oldest first, speak for a clean rate above the level; 20 is enough."""
    return sum(
        odds(clean, failed, level) / (number * (number + 1))
        for number, clean, failed in _tests(takes, now)
    )


def _tests(takes: Sequence[Attempted], now: float) -> list[tuple[int, int, int]]:
    """The tests that still count: the number of the day each began, clean and failed since."""
    days = [list(group) for _, group in groupby(takes, key=lambda take: int(take.at // _DAY_S))]
    found, clean, failed = [], 0, 0
    for number in range(len(days), 0, -1):
        day = days[number - 1]
        if now - day[0].at > AGES_DAYS * _DAY_S:
            break
        clean += sum(take.clean for take in day)
        failed += sum(not take.clean for take in day)
        found.append((number, clean, failed))
    return found


def odds(clean: int, failed: int, level: float) -> float:
    """Odds of so many takes under rates evenly from the level to 1, against the level itself.

    Integral of p^k (1-p)^m over level..1, divided by 1 - level, over level^k (1-level)^m.
    """
    above = 1.0 - float(betainc(clean + 1, failed + 1, level))
    if above <= 0.0:
        return 0.0
    log = float(betaln(clean + 1, failed + 1)) + math.log(above) - math.log(1.0 - level)
    return math.exp(min(log - clean * math.log(level) - failed * math.log(1.0 - level), 700.0))


def clean_needed(takes: Sequence[Attempted], level: float, *, now: float) -> int | None:
    """How many more takes, all clean and made now, would be enough; None for more than 60."""
    if evidence(takes, level, now=now) >= ENOUGH:
        return 0
    tests = _tests([*takes, Attempted(now, True)], now)

    def enough(more: int) -> bool:
        return (
            sum(
                odds(clean + more, failed, level) / (number * (number + 1))
                for number, clean, failed in tests
            )
            >= ENOUGH
        )

    # One more clean take never speaks against.
    found = bisect_left(range(_MOST_MORE), True, key=enough)
    return found + 1 if found < _MOST_MORE else None
