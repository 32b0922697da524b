"""Weeks in view: how a set piece or transition came on, whether it stands still, and what is left
to do before a date.

What the studies leaned on are about, and how far they carry to hands on records (all from memory):
Shea and Morgan (1979) had people knock over small barriers in set orders; in turns was learnt
slower and kept better, after ten days at most. Brady, "Contextual interference: a meta-analytic
study" (Perceptual and Motor Skills 99, 2004), finds the gain large in such laboratory tasks and
small in sport and other whole skills. Cepeda et al. (2006) is about word lists; for movements
spacing was found to help as well, over days, mostly in simple tasks. Musicians practising in turns
did better a day later in a few small studies (Carter and Grahn, Frontiers in Psychology 7, 2016).
So: turns and spacing are a reasonable default, not a law; the performer's own figures go first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import groupby
from math import ceil
from typing import Annotated

from liveaid.practice.next import FULL_TEMPO, Outlook, mean
from liveaid.practice.records import PieceRow
from liveaid.practice.wilson import Rate, Rated, clean_rate
from liveaid.practice.written import Ms, rounded

PLATEAU_WEEKS = 3
"""Nothing gained over so many weeks is standing still (common practice, no source)."""
_LEAST_TAKES = 10
"""Below so many takes on each side nothing is said of a gain."""
TAKES_A_DAY = 25
"""Where there is no telling: about half an hour of set pieces (common practice, no source)."""
_RUNS_SHARE = 1.0 / 3.0
"""The last part of the time is for whole run-throughs (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Week(Rated):
    """One week of one thing."""

    monday: date
    takes: int
    rate: Rate
    """Of the judged takes at full tempo."""
    bias_ms: Ms | None
    spread_ms: Ms | None
    tempo_part: Annotated[float, rounded(2)] | None
    """The highest part of full tempo at which a take was clean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeksOf:
    """One set piece or transition, week by week."""

    name: str
    weeks: tuple[Week, ...]
    plateau: str
    """That it stands still, in words; empty where it goes on or is well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What a day before the stage is for."""

    day: date
    what: tuple[str, ...]
    takes: int
    why: str


def weeks(rows: Sequence[PieceRow]) -> tuple[Week, ...]:
    """The weeks of one thing's takes, rows in any order; weeks without takes are left out."""
    ordered = sorted(rows, key=lambda row: row.at)
    return tuple(
        _week(monday, list(group))
        for monday, group in groupby(ordered, key=lambda row: _monday(row.at))
    )


def plateau(found: Sequence[Week]) -> str:
    """Where nothing was gained over the last weeks, in words; empty where it goes on or is well.

    Clean rates before and since must overlap with their intervals, spreads not have fallen by a
    tenth, and tempo not have risen.
    """
    since, before = found[-PLATEAU_WEEKS:], found[:-PLATEAU_WEEKS][-PLATEAU_WEEKS:]
    if len(since) < PLATEAU_WEEKS or not before:
        return ""
    now, then = _together(since), _together(before)
    if min(now.takes, then.takes) < _LEAST_TAKES or now.low > 0.8 or now.low > then.part:
        return ""
    narrower = mean([w.spread_ms for w in since]), mean([w.spread_ms for w in before])
    if None not in narrower and (narrower[0] or 0) < 0.9 * (narrower[1] or 0):
        return ""
    if _top(since) > _top(before):
        return ""
    return (
        f"no gain in {PLATEAU_WEEKS} weeks ({now.clean} clean of {now.takes}): slower, in smaller "
        "stretches, or left alone for some days"
    )


def plan_back(found: Outlook, *, today: date, stage: date) -> tuple[Day, ...]:
    """What each day up to the one before the stage is for.

    What is furthest from ready comes first and in turns; then whole run-throughs; the last day is
    light.
    """
    days = [today + timedelta(days=k) for k in range((stage - today).days)]
    if not days:
        return ()
    runs = max(1, ceil(len(days) * _RUNS_SHARE)) if len(days) > 1 else 1
    weak = [one.name for one in found.order if one.timed and not one.ready]
    plan = []
    for k, day in enumerate(days):
        if k == len(days) - 1:
            plan.append(Day(day=day, what=("run-through",), takes=2, why="the day before: light"))
        elif k >= len(days) - runs or not weak:
            takes = max(2, TAKES_A_DAY // 6)
            plan.append(
                Day(day=day, what=("run-through", *weak[:1]), takes=takes, why="as it will be")
            )
        else:
            turn = tuple(weak[(3 * k + j) % len(weak)] for j in range(min(3, len(weak))))
            plan.append(Day(day=day, what=turn, takes=TAKES_A_DAY, why="furthest from ready"))
    return tuple(plan)


def _week(monday: date, rows: Sequence[PieceRow]) -> Week:
    full = [row for row in rows if row.judged and row.tempo_part >= FULL_TEMPO]
    return Week(
        monday=monday, takes=len(rows),
        rate=clean_rate(sum(row.clean for row in full), len(full)),
        bias_ms=mean([row.bias_ms for row in rows]),
        spread_ms=mean([row.spread_ms for row in rows]),
        tempo_part=max((row.tempo_part for row in rows if row.clean), default=None),
    )  # fmt: skip


def _monday(at: float) -> date:
    # No zone's day begins within a quarter of an hour (IANA time zone database, since 1972).
    return _monday_of_quarter(int(at // 900))


@lru_cache(maxsize=4096)
def _monday_of_quarter(quarter: int) -> date:
    day = date.fromtimestamp(quarter * 900)
    return day - timedelta(days=day.weekday())


def _together(found: Sequence[Week]) -> Rate:
    return clean_rate(sum(w.rate.clean for w in found), sum(w.rate.takes for w in found))


def _top(found: Sequence[Week]) -> float:
    return max((week.tempo_part or 0.0 for week in found), default=0.0)
