"""What to practise next: the set piece with most to gain, interleaved and spaced.

A rule of thumb. It rests on Shea and Morgan, "Contextual interference effects on the acquisition,
retention, and transfer of a motor skill" (J Exp Psychol Hum Learn Mem 5, 1979): skills practised
in turns are kept better than one at a time; and on Cepeda et al., "Distributed practice in verbal
recall tasks" (Psychol Bull 132, 2006): practice spread over days is kept better than the same
amount at once, the better the gap grows with what is to be kept.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from liveaid.practice.planned_acts import timed
from liveaid.practice.ready import Attempted, clean_needed
from liveaid.practice.records import PieceRow, TakeRow
from liveaid.practice.wilson import Rate, Rated, clean_rate
from liveaid.practice.written import Ms, rounded
from liveaid.routine import Routine

RECENT = 20
"""Takes that count: older ones tell of another player."""
READY_AT = 0.6
"""Clean rate above which a set piece is ready for the stage (common practice, no source)."""
BLOCK = 4
"""Takes of one set piece in a row after which another is due."""
FULL_TEMPO = 0.995
_UNTIMED = 0.2
"""What practising a set piece by itself gains that asks for no act, beside one that does."""
_NOTHING = "nothing to time"
_MEASURE = "mostly not judged; `liveaid rehearse --calibrate` tells delays from hands"
_FIRST_GAP_DAYS = 1.0
_DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing(Rated):
    """How one set piece stands."""

    piece: Annotated[int, Field(alias="index")]
    name: str
    takes: int
    """Takes in all, at any tempo."""
    rate: Rate
    """Clean rate of the recent takes at full tempo."""
    bias_ms: Ms | None
    spread_ms: Ms | None
    missed: Annotated[float, rounded(2), Field(alias="missed_a_take")]
    """Missed acts a take, lately."""
    timed: bool
    """Whether there is anything in it to judge a take by."""
    days_since: Annotated[float, rounded(2)] | None
    """Since it was last played; None when never."""
    ready: bool
    """Surely clean more often than asked for, as far as its last takes tell; or nothing to time."""
    missing: Annotated[str, Field(exclude=True)]
    """What is in the way of the stage, empty when nothing is."""
    gain: Annotated[float, rounded(3)]
    """What there is to gain by practising it now, 0 to 1; a rule of thumb."""
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """The whole routine: what to practise next, and whether it is ready for the stage."""

    standings: tuple[Standing, ...]
    """In the routine's order."""
    run_throughs: Rate
    ready_at: float
    stage_ready: bool
    missing: tuple[str, ...]
    """What is still in the way of the stage, in words."""

    @property
    def order(self) -> tuple[Standing, ...]:
        """The set pieces, most to gain first."""
        return tuple(sorted(self.standings, key=lambda s: (-s.gain, s.piece)))


def outlook(
    routine: Routine,
    pieces: Sequence[PieceRow],
    takes: Sequence[TakeRow],
    *,
    now: float,
    ready_at: float = READY_AT,
) -> Outlook:
    """How all set pieces stand at a unix time, from rows that are latest first."""
    block = _block(pieces)
    standings = tuple(
        _standing(index, piece.name, [row for row in pieces if row.name == piece.name],
                  now=now, ready_at=ready_at, block=block, timed=timed(routine, index))
        for index, piece in enumerate(routine.pieces)
    )  # fmt: skip
    # What begins with the first set piece sets out to be a run-through.
    full = [t for t in takes if not t.aim and t.tempo_part >= FULL_TEMPO and t.first_piece == 0]
    # A run that was given up is a run that failed.
    runs = clean_rate(sum(t.clean and t.run_through for t in full[:RECENT]), len(full[:RECENT]))
    gone = [Attempted(t.at, t.clean and t.run_through) for t in reversed(full)]
    needed = clean_needed(gone, ready_at, now=now)
    missing = [s.missing for s in standings if s.missing]
    if needed != 0:
        missing.append(f"run-throughs: {_more(needed, ready_at)}")
    return Outlook(
        standings=standings, run_throughs=runs, ready_at=ready_at,
        stage_ready=not missing, missing=tuple(missing),
    )  # fmt: skip


def _more(needed: int | None, ready_at: float) -> str:
    """What would still make it ready, by `clean_needed`."""
    if needed is None:
        return f"clean too seldom to tell it from {ready_at:.0%}"
    return f"{needed} more clean in a row would do"


def _block(pieces: Sequence[PieceRow]) -> tuple[str, int]:
    """The set piece practised last by itself, and for how many takes in a row."""
    aims = [row.aim for row in pieces if row.aim == row.name]
    if not aims:
        return "", 0
    row = next((k for k, aim in enumerate(aims) if aim != aims[0]), len(aims))
    return aims[0], row


def _standing(
    index: int,
    name: str,
    rows: Sequence[PieceRow],
    *,
    now: float,
    ready_at: float,
    block: tuple[str, int],
    timed: bool,
) -> Standing:
    judged = [row for row in rows if row.judged and row.tempo_part >= FULL_TEMPO]
    full = judged[:RECENT]
    rate = clean_rate(sum(row.clean for row in full), len(full))
    days = None if not rows else max(0.0, (now - rows[0].at) / _DAY_S)
    spaced = 1.0 if days is None else min(1.0, days / _gap_days(full))
    just_done = block[1] if block[0] == name else 0
    turn = 0.25 if just_done >= BLOCK else 1.0
    # One start by itself can't be told from a delay that nobody has measured.
    unknown = timed and sum(not row.judged for row in rows[:RECENT]) > 0.5 * len(rows[:RECENT])
    told = timed and not unknown
    gain = (1 - rate.low) * (0.4 + 0.6 * spaced) * turn * (1.0 if told else _UNTIMED)
    gone = [Attempted(row.at, row.clean) for row in reversed(judged)]
    needed = clean_needed(gone, ready_at, now=now) if timed else 0
    ready = needed == 0
    more = _MEASURE if unknown else _more(needed, ready_at)
    return Standing(
        piece=index, name=name, takes=len(rows), rate=rate,
        bias_ms=mean([row.bias_ms for row in full or rows[:RECENT]]),
        spread_ms=mean([row.spread_ms for row in full or rows[:RECENT]]),
        missed=statistics.fmean([row.missed for row in rows[:RECENT]]) if rows else 0.0,
        days_since=days, ready=ready, timed=timed,
        missing="" if ready else f"{name}: {more}", gain=gain,
        why=_why(rate, days, spaced, just_done) if told else _MEASURE if timed else _NOTHING,
    )  # fmt: skip


def _gap_days(full: Sequence[PieceRow]) -> float:
    """Days after which a set piece is due again: doubled for every two clean takes in a row."""
    row = next((k for k, one in enumerate(full) if not one.clean), len(full))
    return float(_FIRST_GAP_DAYS * 2 ** min(row // 2, 4))


def mean(values: Sequence[float | None]) -> float | None:
    """The mean of what is known; None where nothing is."""
    known = [value for value in values if value is not None]
    return statistics.fmean(known) if known else None


def _why(rate: Rate, days: float | None, spaced: float, just_done: int) -> str:
    if days is None:
        return "never practised"
    if just_done >= BLOCK:
        return f"{just_done} takes in a row: let it rest, take another in between"
    parts = [f"{rate.clean} clean of {rate.takes}" if rate.takes else "not yet at full tempo"]
    if days < 1:
        parts.append("played lately")
    else:
        parts.append("1 day ago" if days < 1.5 else f"{days:.0f} days ago")
        if spaced < 0.5:
            parts.append("not due yet")
    return ", ".join(parts)
