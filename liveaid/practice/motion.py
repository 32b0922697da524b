"""What one record does, read off its messages: it stands, it runs, a hand moves it, it jumps.

Messages arrive late by a little that changes, so nothing is read off one message or two: a speed
is the slope of a line through some hundredths of a second, a record at speed a line through all
the time it runs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from liveaid.practice.trace import DeckTrace, Floats

Does: TypeAlias = Literal["stands", "runs", "moves"]

MOTION_AROUND_S = (0.022, 0.080)
"""Half the window a speed is taken over, least and most."""
SLOPE_ERROR = 0.03
"""The window is as wide as it takes for a running record's speed to be this sure."""
STANDS_BELOW = 0.12
RUNS_WITHIN = 0.12
"""How far from the platter's own speed a running record may read, beside the fader's reach."""
RUNS_FOR_S = 0.10
JUMP_S = 0.08
"""A change of place at once that no hand makes."""
JUMP_SPEED = 14.0
"""7.8 turns a second at 33 1/3: a hand winds at 2.5 to 6 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class SpeedLine:
    """A record at speed: at `t0_s` it is at `x0_s`, moving `speed` seconds of record a second."""

    t0_s: float
    x0_s: float
    speed: float
    lasts_s: float = 1.0
    """Seconds of messages it was drawn through."""

    def at(self, t_s: float) -> float:
        """Deck-file second at a time."""
        return self.x0_s + self.speed * (t_s - self.t0_s)

    def when(self, x_s: float) -> float:
        """The time a deck-file second passes."""
        return self.t0_s + (x_s - self.x0_s) / self.speed


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of time in which a record does one thing: messages `first` to below `last`."""

    does: Does
    start_s: float
    end_s: float
    from_s: float
    """Deck-file second at its start."""
    to_s: float
    """Deck-file second at its end."""
    first: int
    last: int
    jumped: bool
    """Whether the record jumped to where this begins."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """One deck's messages cleaned, with the speed at each and what the record does when."""

    t_s: Floats
    x_s: Floats
    speed: Floats
    interval_s: float
    jitter_s: float
    """How far a message's time of arrival strays, one standard deviation."""
    phases: tuple[Phase, ...]


def motion(deck: DeckTrace, *, pitch_range_percent: float = 8.0) -> Motion:
    """What the record does over a trace; no phases when there are fewer than 8 messages."""
    t, x = _cleaned(deck)
    if len(t) < 8:
        return Motion(t, x, np.zeros(len(t)), 0.01, 0.001, ())
    interval = float(np.median(np.diff(t)))
    cuts = jumps(t, x, interval)
    around = max(0.05, 3 * interval)
    jitter = _jitter(t, x, _speeds(t, x, cuts, around))
    # Slope error of a line through 2 W / interval messages: jitter sqrt(3 interval / 2 W^3).
    wanted = float(np.cbrt(1.5 * interval * (jitter / SLOPE_ERROR) ** 2))
    around = max(min(max(wanted, MOTION_AROUND_S[0]), MOTION_AROUND_S[1]), 2.01 * interval)
    speed = _speeds(t, x, cuts, around)
    slack = pitch_range_percent / 100 + RUNS_WITHIN
    phases = tuple(_joined(list(_phases(t, x, speed, cuts, slack)), jitter))
    return Motion(t, x, speed, interval, jitter, phases)


def _speeds(t: Floats, x: Floats, cuts: list[int], around_s: float) -> Floats:
    return np.concatenate([_slopes(t[a:b], x[a:b], around_s) for a, b in spans(cuts, len(t))])


def _jitter(t: Floats, x: Floats, speed: Floats) -> float:
    """Spread of arrival while the record runs, from each message against its two neighbours."""
    wide = t[2:] - t[:-2]
    part = np.divide(t[1:-1] - t[:-2], wide, out=np.full(len(wide), 0.5), where=wide > 0)
    off = x[1:-1] - (1 - part) * x[:-2] - part * x[2:]
    off = off[np.abs(speed[1:-1] - 1) < 0.3] / np.sqrt(1.5)
    return max(float(1.4826 * np.median(np.abs(off))), 2e-4) if len(off) >= 8 else 0.001


def fitted_line(t: Floats, x: Floats) -> SpeedLine | None:
    """The line through a running record's messages, stray ones left out; None for under 4."""
    if len(t) < 4 or t[-1] <= t[0]:
        return None
    keep = np.ones(len(t), bool)
    middle = float(t.mean())
    for _ in range(3):
        slope, level = np.polyfit(t[keep] - middle, x[keep], 1)
        off = x - level - slope * (t - middle)
        spread = 1.4826 * float(np.median(np.abs(off[keep] - np.median(off[keep]))))
        keep = np.abs(off) <= max(4 * spread, 0.002)
        if keep.sum() < 4:
            return None
    return (
        SpeedLine(middle, float(level), float(slope), float(t[-1] - t[0])) if slope > 0.2 else None
    )


def _cleaned(deck: DeckTrace) -> tuple[Floats, Floats]:
    """Messages as they were sent: late, double and overtaken ones left out, strays put in line.

    Of messages that come within half the usual interval the earlier ones were held up on the way,
    or the later one was overtaken: only the one furthest on is fresh.
    """
    t, x = deck.now_s, deck.position_s
    if len(t) < 8:
        return t, x
    gap = max(1e-6, 0.5 * float(np.median(np.diff(t))))
    keep = np.ones(len(t), bool)
    for k in np.flatnonzero(np.diff(t) < gap).tolist():
        way = x[min(k + 2, len(t) - 1)] - x[max(k - 1, 0)]
        keep[k if (x[k + 1] - x[k]) * way > 0 else k + 1] = False
    t, x = t[keep], x[keep]
    back = np.zeros(len(t), bool)
    for lag in (2, 3):
        back[lag:] |= x[lag:] == x[:-lag]
    # The same place as two or three messages ago, but not as the last: a duplicate come late.
    still = np.abs(np.concatenate([[0.0], np.diff(x)])) < 1e-9
    again = back & ~still
    again[1:] |= still[1:] & _moving(x)[1:]
    t, x = t[~again], x[~again].copy()
    middle = np.median(np.stack([x[:-4], x[1:-3], x[2:-2], x[3:-1], x[4:]]), axis=0)
    apart = np.abs(x[1:-3] - x[3:-1])
    # One message among neighbours that agree with each other is wrong, or came out of order.
    stray = np.abs(x[2:-2] - middle) > 0.03 + 1.5 * apart
    x[2:-2] = np.where(stray, middle, x[2:-2])
    return t, x


def _moving(x: Floats) -> NDArray[np.bool_]:
    """Whether the messages on both sides of one and its twin differ from them."""
    before = np.concatenate([[0.0, 0.0], np.abs(x[2:] - x[:-2])])
    after = np.concatenate([np.abs(np.diff(x)), [0.0]])
    return (before > 1e-9) & (after > 1e-9)


def jumps(t: Floats, x: Floats, interval: float) -> list[int]:
    """Indices of the first message after each jump of the needle."""
    step, dt = np.abs(np.diff(x)), np.maximum(np.diff(t), interval)
    return [int(i) + 1 for i in np.flatnonzero((step > JUMP_S) & (step / dt > JUMP_SPEED))]


def spans(cuts: list[int], count: int) -> Iterator[tuple[int, int]]:
    """First and one past the last message of each stretch between jumps."""
    yield from zip([0, *cuts], [*cuts, count], strict=True)


def _slopes(t: Floats, x: Floats, around_s: float) -> Floats:
    """Slope of a line through the messages within `around_s` of each, over each jump-free span."""
    low, high = np.searchsorted(t, t - around_s), np.searchsorted(t, t + around_s, side="right")
    t, x = t - t[0], x - x[0]
    n = high - low
    sums = [np.concatenate([[0.0], np.cumsum(part)]) for part in (t, x, t * t, t * x)]
    st, sx, stt, stx = (total[high] - total[low] for total in sums)
    spread = n * stt - st * st
    usable = (n >= 3) & (spread > 1e-9)
    return np.asarray(np.where(usable, (n * stx - st * sx) / np.where(usable, spread, 1.0), 0.0))


def _phases(t: Floats, x: Floats, speed: Floats, cuts: list[int], slack: float) -> Iterator[Phase]:
    does = np.full(len(t), 2)
    does[np.abs(speed) < STANDS_BELOW] = 0
    does[np.abs(speed - 1) < slack] = 1
    jumped = set(cuts)
    for a, b in spans(cuts, len(t)):
        for first, last in _runs_of(does[a:b], t[a:b]):
            first, last = a + first, a + last
            yield Phase(
                ("stands", "runs", "moves")[does[first]],
                float(t[first]), float(t[last - 1]), float(x[first]), float(x[last - 1]),
                first, last, first in jumped,
            )  # fmt: skip


def _runs_of(does: NDArray[np.int64], t: Floats) -> Iterator[tuple[int, int]]:
    """Stretches of one doing; a run of the record shorter than RUNS_FOR_S is a hand's move.

    The array is rewritten where that holds, so that neighbours melt into one.
    """
    for first, last in _equal(does):
        if does[first] == 1 and t[last - 1] - t[first] < RUNS_FOR_S:
            does[first:last] = 2
    yield from _equal(does)


def _joined(phases: list[Phase], jitter_s: float) -> Iterator[Phase]:
    """Runs of one record that noise tore apart, joined where the one goes on as the other was."""
    place = 0
    while place < len(phases):
        here = phases[place]
        while place + 2 < len(phases) and _goes_on(
            here, phases[place + 1], phases[place + 2], jitter_s
        ):
            after = phases[place + 2]
            here = replace(here, end_s=after.end_s, to_s=after.to_s, last=after.last)
            place += 2
        yield here
        place += 1


def _goes_on(before: Phase, gap: Phase, after: Phase, jitter_s: float) -> bool:
    if not before.does == after.does == "runs" or gap.jumped or after.jumped:
        return False
    lasts_s = after.start_s - before.end_s
    return lasts_s < 0.15 and abs(after.from_s - before.to_s - lasts_s) < 0.02 + 4 * jitter_s


def _equal(does: NDArray[np.int64]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(does)) + 1
    bounds = [0, *edges.tolist(), len(does)]
    return list(pairwise(bounds))
