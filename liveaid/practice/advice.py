"""One sentence a hand after a take: what to do otherwise, where the acts carry it.

For each hand its acts are looked at by what they are and by where in the bar they fall. A mean
counts when it is both worth hearing about and surely no chance: as many looks are taken, so a mean
must lie SURE standard errors from none. Some beats are named where they are surely off by more than
the others, or a hand that is early all through would be told of those beats where it shows most.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from liveaid.practice.act_score import ActScore
from liveaid.practice.planned_acts import EventKind
from liveaid.practice.shift import Shift, without_shift_s
from liveaid.practice.take_score import TakeScore
from liveaid.practice.written import early_or_late
from liveaid.routine import SIDES, Side
from liveaid.routine.written_numbers import place_said

WORTH_BEATS = 0.02
"""Below this nobody hears it: just noticed is 2.5 % of the beat (see limits)."""
UNEVEN_BEATS = 0.04
"""A spread to be told: twice a trained hand's (see limits)."""
ADVICE_SURE = 3.3
"""Standard errors. Some ten groups a hand are looked at: 10 x 0.001 (normal, two-sided) is 1 %."""
LEAST = 4
"""Acts in a group below which nothing is said of it."""
_WIND_LATE_BEATS = 0.10
"""A record at its cue so late is worth a word: what one act may be off (a performer's limit)."""
_LEAST_SPREAD_BEATS = 0.01
"""No hand is taken to be steadier than this, however alike a few acts are."""

_DO: dict[EventKind, tuple[str, str]] = {
    "start": ("let go sooner", "let go later"),
    "release": ("let go sooner", "let go later"),
    "return": ("take it back sooner", "leave it running longer"),
    "stroke": ("push sooner", "wait before the push"),
    "stop": ("stop sooner", "stop later"),
}  # fmt: skip
_WHAT: dict[EventKind, str] = {
    "start": "letting go", "release": "letting go", "return": "taking back", "stroke": "strokes",
    "stop": "the stop",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Group:
    """A hand's acts of one sort, in all or on some beats of the bar."""

    kind: EventKind
    beats: tuple[float, ...]
    """Beats of the bar from 1; empty for all."""
    errors_s: tuple[float, ...]
    beat_s: float
    others_s: tuple[float, ...] = ()
    """Errors on the other beats, where these are but some."""

    @property
    def mean_s(self) -> float:
        return statistics.fmean(self.errors_s)

    @property
    def sure(self) -> float:
        """Standard errors the mean is from none, or if that is less from the other beats'."""
        count, others = len(self.errors_s), len(self.others_s)
        spread = max(statistics.stdev(self.errors_s), _LEAST_SPREAD_BEATS * self.beat_s)
        from_none = abs(self.mean_s) / spread * math.sqrt(count)
        if not others:
            return from_none
        apart = abs(self.mean_s - statistics.fmean(self.others_s))
        return min(from_none, apart / spread / math.sqrt(1 / count + 1 / others))

    @property
    def counts(self) -> bool:
        return abs(self.mean_s) >= WORTH_BEATS * self.beat_s and self.sure >= ADVICE_SURE


def advice(score: TakeScore, *, metre: int) -> dict[Side, str]:
    """A sentence for each hand there is something to say to.

    What a take is late by on the whole is left out as long as the delays were not measured.
    """
    steady = None if score.delays.measured else score.shifts
    found = {}
    for side in SIDES:
        mine = [act for act in score.acts if act.side == side]
        sentence = (
            _late_wind(score, side)
            or _on_time(mine, metre, steady)
            or _left_out(score, side, metre)
            or _uneven(mine, steady)
        )
        if sentence:
            found[side] = f"{side} hand, {sentence}"
    return found


def _late_wind(score: TakeScore, side: Side) -> str | None:
    """The record that came to its cue the latest: all that follows from it is late with it."""
    late = [
        (one.spare_beats, piece.name)
        for piece in score.pieces
        for one in piece.winds
        if one.side == side and one.spare_beats is not None and one.spare_beats < -_WIND_LATE_BEATS
    ]
    if not late:
        return None
    spare, name = min(late)
    return f"at its cue for {name} {-spare:.1f} beats late: leave sooner, or wind faster"


def _on_time(acts: Sequence[ActScore], metre: int, steady: Sequence[Shift] | None) -> str | None:
    """The group that is most surely early or late, in words."""
    groups = [group for group in _groups(acts, metre, steady) if group.counts]
    if not groups:
        return None
    worst = max(groups, key=lambda group: group.sure)
    late = worst.mean_s > 0
    where = f"beats {_listed(worst.beats)}" if len(worst.beats) > 1 else ""
    where = where or (f"beat {_listed(worst.beats)}" if worst.beats else _WHAT[worst.kind])
    return f"{where}, {early_or_late(1000 * worst.mean_s)}: {_DO[worst.kind][0 if late else 1]}"


def _groups(
    acts: Sequence[ActScore], metre: int, steady: Sequence[Shift] | None
) -> Iterator[_Group]:
    """All acts of a sort, and the beats of the bar on which they are off the same way."""
    for kinds in (("start", "release"), ("return",), ("stroke",)):
        told = [
            (act, off)
            for act in acts
            if act.kind in kinds
            and act.anchored
            and (off := without_shift_s(act, steady)) is not None
        ]
        if len(told) < LEAST:
            continue
        kind, beat_s = told[-1][0].kind, statistics.fmean(act.beat_s for act, _ in told)
        yield _Group(kind, (), tuple(off for _, off in told), beat_s)
        by_beat: dict[float, list[float]] = {}
        for act, off in told:
            by_beat.setdefault(round(act.beat % metre, 2) + 1, []).append(off)
        for sign in (1, -1):
            worth = WORTH_BEATS * beat_s
            same = {b: e for b, e in by_beat.items() if sign * statistics.fmean(e) >= worth}
            errors = tuple(off for beat in sorted(same) for off in same[beat])
            others = tuple(
                off for beat, found in by_beat.items() if beat not in same for off in found
            )
            if len(errors) >= LEAST and others:
                yield _Group(kind, tuple(sorted(same)), errors, beat_s, others)


def _left_out(score: TakeScore, side: Side, metre: int) -> str | None:
    """What was missed first, by its set piece where the take has several, and how much more."""
    mine = [
        (f"{piece.name} " * (len(score.pieces) > 1), act)
        for piece in score.pieces
        for act in piece.acts
        if act.side == side
    ]
    missed = [(name, act.beat) for name, act in mine if act.outcome == "missed"]
    if not missed:
        return None
    if len(missed) >= LEAST and not any(act.outcome == "heard" for _, act in mine):
        return f"none of its {len(missed)} acts heard: see that its record stands at its cue"
    more = f" and {len(missed) - 1} more" if len(missed) > 1 else ""
    name, beat = missed[0]
    return f"{name}{place_said(beat, metre)}{more} left out"


def _uneven(acts: Sequence[ActScore], steady: Sequence[Shift] | None) -> str | None:
    """The sort of act that spreads too much."""
    for group in _groups(acts, 1, steady):
        spread = statistics.stdev(group.errors_s)
        if (
            not group.beats
            and spread > UNEVEN_BEATS * group.beat_s
            and len(group.errors_s) >= 2 * LEAST
        ):
            told = f"{_WHAT[group.kind]} uneven, {1000 * spread:.0f} ms about the beat"
            return f"{told}: slower, until even"
    return None


def _listed(beats: Iterable[float]) -> str:
    """`2`, `2 and 4`, `1, 2 and 4`."""
    told = [f"{beat:g}" for beat in beats]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
