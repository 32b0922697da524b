"""Whether a set piece is ready for the stage, by a test that may be looked at after every take.

Looking at an interval again and again until it says yes makes anybody ready in time. So the
evidence is a test martingale (Ville, "Étude critique de la notion de collectif", 1939; Ramdas et
al., "Game-theoretic statistics and safe anytime-valid inference", Statistical Science 38, 2023):
the odds of the takes under clean rates above the level, all alike likely, against the level
itself. A performer at or below the level has a chance of at most 1 / 20 that it ever comes to 20.

What that costs whoever is only a little above it: no test with this bound calls a true rate p ready
in fewer takes on average than log 20 / (p log(p / q) + (1 - p) log((1 - p) / (1 - q))), q the level
(Wald, "Sequential tests of statistical hypotheses", Annals of Mathematical Statistics 16, 1945):
139 at 70 % against 60 %, 33 at 80 %, 13 at 90 %, 9 at 95 %. This one takes 142, 37, 16 and 11 in
half of all cases, ten a day, and calls a true 60 % ready in 3 of 100 within 300 takes (3,000
simulated performers each).

Who gets better must not drag the first weeks along, so a test begins on every day of practice, the
one of day d with the share 1 / (d (d + 1)) of the evidence; the shares make one, so the chance
stays the same. Tests that began more than AGES_DAYS ago no longer count: readiness ages.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

ENOUGH = 20.0
"""Evidence that is called ready: false at most 5 times of 100."""
AGES_DAYS = 28.0
"""What was shown longer ago says nothing of tonight (common practice, no source)."""
_DAY_S = 86400.0
_MOST_MORE = 60


class Attempted(NamedTuple):
    """One judged take at full tempo."""

    at: float
    """Unix time."""
    clean: bool


def evidence(takes: Sequence[Attempted], level: float, *, now: float) -> float:
    """How much the takes, oldest first, speak for a clean rate above the level; 20 is enough."""
    return _weighed(_tests(takes, now), level)


def clean_needed(takes: Sequence[Attempted], level: float, *, now: float) -> int | None:
    """How many more takes, all clean and made now, would be enough; None for more than 60."""
    if evidence(takes, level, now=now) >= ENOUGH:
        return 0
    tests = _tests([*takes, Attempted(now, True)], now)
    one_more = np.array([0, 1, 0])
    # One more clean take never speaks against.
    found = bisect_left(
        range(_MOST_MORE), ENOUGH, key=lambda more: _weighed(tests + more * one_more, level)
    )
    return found + 1 if found < _MOST_MORE else None


def odds(clean: ArrayLike, failed: ArrayLike, level: float) -> Floats:
    """Odds of so many takes under rates evenly from the level to 1, against the level itself.

    Integral of p^k (1-p)^m over level..1, divided by 1 - level, over level^k (1-level)^m.
    """
    from scipy.special import betainc, betaln  # half a second to load

    k, m = np.asarray(clean, float), np.asarray(failed, float)
    above = np.maximum(1.0 - betainc(k + 1, m + 1, level), 1e-300)
    log = betaln(k + 1, m + 1) + np.log(above) - (m + 1) * math.log(1.0 - level)
    return np.asarray(np.exp(np.minimum(log - k * math.log(level), 700.0)))


def _weighed(tests: Counts, level: float) -> float:
    """The evidence of all tests, each by its share."""
    number, clean, failed = tests.T
    return float((odds(clean, failed, level) / (number * (number + 1))).sum())


def _tests(takes: Sequence[Attempted], now: float) -> Counts:
    """The tests that still count, shape (tests, 3): the number of the day of practice that each
    began on, takes clean and takes failed since."""
    number = len({take.at // _DAY_S for take in takes})
    found, clean, failed = [], 0, 0
    for _, group in groupby(reversed(takes), key=lambda take: take.at // _DAY_S):
        day = list(group)
        if now - day[-1].at > AGES_DAYS * _DAY_S:
            break
        clean += sum(take.clean for take in day)
        failed += sum(not take.clean for take in day)
        found.append((number, clean, failed))
        number -= 1
    return np.array(found, np.int64).reshape(-1, 3)
