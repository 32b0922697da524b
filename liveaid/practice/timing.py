"""The errors of many acts as figures, and what they say against the limits."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from liveaid.practice.act_score import ActScore
from liveaid.practice.limits import SLACK, Limits
from liveaid.practice.planned_acts import KINDS, EventKind
from liveaid.practice.shift import Shift, hands_own_s, without_shift_s
from liveaid.practice.written import Fine, Ms

_NAMES: dict[EventKind, tuple[str, str]] = {
    "start": ("start", "starts"), "release": ("release", "releases"),
    "return": ("return", "returns"), "stroke": ("stroke", "strokes"),
    "pull": ("pull", "pulls"), "stop": ("stop", "stops"),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Errors of many acts; above 0 is late. None where there were too few acts to say."""

    heard: int
    bias_ms: Ms | None
    """Mean error."""
    spread_ms: Ms | None
    """Standard deviation about that mean, n - 1 in the denominator."""
    bias_beats: Fine | None = None
    spread_beats: Fine | None = None
    worst_beats: Fine | None = None
    """Largest error either way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KindScore:
    """One kind of act in a set piece, as the verdict sees it: delays and slack out of it."""

    kind: EventKind
    acts: int
    bias_beats: Fine | None
    """None where early and late can't be told apart."""
    spread_beats: Fine | None
    free: Annotated[int, Field(exclude=True)] = 0
    """Degrees of freedom of the spread; 0 where the score was read back."""
    worst_beats: Fine


def timing(acts: Iterable[ActScore]) -> Timing:
    """The errors of those acts that were heard against a known beat."""
    off = [
        (act.anchored, act.error_ms, act.error_beats)
        for act in acts
        if act.error_ms is not None and act.error_beats is not None
    ]
    told, loose = ([row[1:] for row in off if row[0] == anchored] for anchored in (True, False))
    return Timing(
        heard=len(off),
        bias_ms=statistics.fmean(ms for ms, _ in told) if told else None,
        spread_ms=_pooled([ms for ms, _ in told], [ms for ms, _ in loose])[0],
        bias_beats=statistics.fmean(b for _, b in told) if told else None,
        spread_beats=_pooled([b for _, b in told], [b for _, b in loose])[0],
        worst_beats=max((abs(b) for _, _, b in off), default=None),
    )


def judged_of(
    acts: Sequence[ActScore], limits: Limits, steady: Sequence[Shift] | None
) -> Iterator[KindScore]:
    """Each kind of act that there is something to say of.

    `steady` are the shifts to be left out, None when the delays were measured. An act whose shift
    is not known says nothing; a missed one is judged as missed.
    """
    for kind in KINDS:
        group = [act for act in acts if act.kind == kind]
        offs = [(act.anchored, _off_beats(act, limits, steady)) for act in group]
        told = [off for anchored, off in offs if anchored and off is not None]
        loose = [off for anchored, off in offs if not anchored and off is not None]
        missed = any(act.outcome == "missed" for act in group)
        if not told and len(loose) < 2 and not missed:
            continue
        spread, free = _pooled(told, loose)
        yield KindScore(
            kind=kind, acts=len(told) + len(loose),
            bias_beats=statistics.fmean(told) if told else None, spread_beats=spread, free=free,
            worst_beats=max((abs(off) for off in [*told, *loose]), default=0.0),
        )  # fmt: skip


def faults_of(one: KindScore, limits: Limits) -> Iterator[str]:
    """What of one kind's timing is beyond the limits, in words."""
    single, many = _NAMES[one.kind]
    bias, spread = one.bias_beats, one.spread_beats
    if bias is not None and abs(bias) > limits.bias_of(one.acts, spread):
        yield f"{single if one.acts == 1 else many} {'late' if bias > 0 else 'early'}"
    elif one.worst_beats > limits.worst_beats:
        yield f"one {single} far off"
    if spread is not None and spread > limits.spread_of(one.free):
        yield f"{many} uneven"


def _off_beats(act: ActScore, limits: Limits, steady: Sequence[Shift] | None) -> float | None:
    """An act's error in beats, the take's own shift left out and its kind's slack divided out.

    None where it says nothing: not heard, or within what a delay that is not known can make.
    """
    own_s = without_shift_s(act, steady)
    if own_s is None and act.error_s is not None and act.by is not None:
        least_s = hands_own_s(act.side, act.by, act.error_s)
        own_s = least_s if abs(least_s) > limits.worst_beats * act.beat_s else None
    return None if own_s is None else own_s / act.beat_s / SLACK[act.kind]


def _pooled(*groups: Sequence[float]) -> tuple[float | None, int]:
    """Standard deviation within groups that each have a mean of their own, and its freedom."""
    squares = sum(
        statistics.variance(group) * (len(group) - 1) for group in groups if len(group) > 1
    )
    free = sum(max(len(group) - 1, 0) for group in groups)
    return (math.sqrt(squares / free) if free else None), free
