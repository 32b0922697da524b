"""When a hand did what, to a fraction of the time between two messages.

A release is heard where the running record's line, read back, was at its cue: that is where the
sound's beat lies. A record being taken is heard where it begins to fall behind its line. A stroke
is heard where the push begins. Each is a fit through many messages, so that their jitter averages
out; the network's mean delay is in everything alike and so in no error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from liveaid.practice.motion import Motion, SpeedLine, fitted_line, jumps, spans
from liveaid.practice.trace import Floats

_HEAR_RAMP_S = 0.045
"""Left out after a release: the slipmat still slips (common practice, no source)."""
_LINE_S = 1.2
"""Longest stretch of a running record that tells when it was let go or taken."""
_STOPS_S = np.arange(0.010, 0.0801, 0.0025)
"""Times in which a hand may stop a record (common practice, no source)."""
_PUSH_S = 0.060
"""How long the first part of a push is looked at: what follows may be a record let run."""
_PART = 0.4
"""And so much of one known to go from rest to rest: the slower it is, the more has to be seen."""
_STRAY_S = 0.010
_STILL_S = 0.0008
"""A held record trembles less than this."""
STROKE_S = 0.035
"""Least way forward, in seconds of record, that is a stroke and no trembling."""
_DIP = 0.4
"""A record slowed to this part of its strokes before and after has ended one and begun another: a
stop of no time at all, its speed read over some hundredths (tuned on simulated hands)."""
_SLOWEST_S = 0.12
"""The longest that the slowest start of a stroke goes unseen."""


@dataclass(frozen=True, slots=True)
class Release:
    """A record that came to run by itself: its line, and where it came from."""

    line: SpeedLine
    from_s: float
    """Deck-file second it stood at, or jumped to."""
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Stroke:
    """A push forward: when it began, from where, how far."""

    at_s: float
    from_s: float
    way_s: float


def releases(motion: Motion) -> list[Release]:
    """Every time the record came to run by itself, in order."""
    found = []
    for place, phase in enumerate(motion.phases):
        if phase.does != "runs":
            continue
        skip = 0.0 if phase.jumped else _HEAR_RAMP_S
        length = phase.end_s - phase.start_s
        skip = min(skip, length / 3)
        line = _line(motion, phase.start_s + skip, min(phase.end_s, phase.start_s + skip + _LINE_S))
        if line is None:
            continue
        before = motion.phases[place - 1] if place and not phase.jumped else None
        from_s = phase.from_s if before is None else before.to_s
        found.append(Release(line, from_s, phase.start_s, phase.end_s))
    return found


def takes_of_hand(motion: Motion) -> list[float]:
    """Every moment a hand took the running record, so that it began to slow, in order."""
    fits = []
    for phase, after in zip(motion.phases, motion.phases[1:], strict=False):
        if phase.does != "runs" or after.does == "runs" or after.jumped:
            continue
        last = phase.end_s - min(_HEAR_RAMP_S, (phase.end_s - phase.start_s) / 3)
        line = _line(motion, max(phase.start_s, last - _LINE_S), last)
        if line is not None:
            fits.append(_behind(motion, line, phase.end_s))
    if not fits:
        return []
    costs = np.array([[_taken(t, lag, stop)[1] for stop in _STOPS_S] for t, lag in fits])
    total = costs.sum(0)
    best = int(total.argmin())
    stop = float(_STOPS_S[best] + 0.0025 * _dip(total, best)[0])
    return [_taken(t, lag, stop)[0] for t, lag in fits]


def strokes(
    motion: Motion, *, start_s: float, end_s: float, stands_part: bool = False
) -> list[Stroke]:
    """Every push forward that began from start to end, in order. A needle that is set down pushes
    nothing.

    `stands_part`: a way forward on which the record stands for a moment is two.
    """
    first, last = np.searchsorted(motion.t_s, [start_s - 0.5, end_s + 0.5])
    inside = slice(first, last)
    t, x, speed = motion.t_s[inside], motion.x_s[inside], motion.speed[inside]
    found = []
    between = spans(jumps(t, x, motion.interval_s), len(t))
    rises = [(a + low, a + high) for a, b in between for low, high in _rises(x[a:b])]
    if stands_part:
        rises = [part for rise in rises for part in _parted(t, x, speed, *rise)]
    for low, high in rises:
        onset = _onset(t, x, speed, low, high, motion, whole=stands_part)
        if onset is not None and start_s <= onset <= end_s:
            found.append(Stroke(onset, float(x[low]), float(x[high] - x[low])))
    return found


def _line(motion: Motion, start_s: float, end_s: float) -> SpeedLine | None:
    first, last = np.searchsorted(motion.t_s, [start_s, end_s + 1e-9])
    return fitted_line(motion.t_s[first:last], motion.x_s[first:last])


def _behind(motion: Motion, line: SpeedLine, around_s: float) -> tuple[Floats, Floats]:
    """Times around a taking, and by how many seconds of its own speed the record is behind."""
    first, last = np.searchsorted(motion.t_s, [around_s - 0.16, around_s + 0.12])
    t, x = motion.t_s[first:last], motion.x_s[first:last]
    # Once it is pulled back it says no more about when it was taken.
    last = int(np.flatnonzero(x >= x.max() - _STILL_S)[-1]) + 1
    t, x = t[:last], x[:last]
    return t, (line.x0_s - x) / line.speed + t - line.t0_s


def _taken(t: Floats, lag_s: Floats, stop_s: float) -> tuple[float, float]:
    """Best moment of taking, and its cost, if the record then slows evenly to a stand in stop_s.

    The lag is 0 before, u**2 / (2 stop) while slowing, and u - stop / 2 after.
    """
    moments = np.arange(t[0] + 0.02, t[-1], 0.001)
    if len(moments) < 3:
        return float(t[-1]), 0.0
    u = t[None, :] - moments[:, None]
    model = np.where(u <= 0, 0.0, np.where(u < stop_s, u * u / (2 * stop_s), u - stop_s / 2))
    off = np.minimum(np.abs(lag_s[None, :] - model), _STRAY_S)
    costs = (off**2).sum(1)
    best = int(costs.argmin())
    # The cost between the steps too: else the stop that puts the moment on a step seems likeliest.
    off_steps, cost = _dip(costs, best)
    return float(moments[best] + 0.001 * off_steps), cost


def _dip(costs: Floats, best: int) -> tuple[float, float]:
    """Where between the steps a parabola through the lowest three is lowest, and how low."""
    if not 0 < best < len(costs) - 1:
        return 0.0, float(costs[best])
    before, here, after = costs[best - 1 : best + 2]
    bend = before - 2 * here + after
    off = float(0.5 * (before - after) / bend) if bend > 0 else 0.0
    return off, float(here - 0.25 * (before - after) * off)


def _rises(x: Floats) -> list[tuple[int, int]]:
    """Lowest and highest message of every way forward of STROKE_S or more, turned at both ends."""
    found: list[tuple[int, int]] = []
    low = high = 0
    rising = False
    for k, value in enumerate(x.tolist()):
        if rising:
            if value >= x[high]:
                high = k
            elif x[high] - value > STROKE_S:
                found.append((low, high))
                low, rising = k, False
        elif value <= x[low]:
            low = k
        elif value - x[low] > STROKE_S:
            high, rising = k, True
    if rising:
        found.append((low, high))
    return found


def _parted(t: Floats, x: Floats, speed: Floats, low: int, high: int) -> list[tuple[int, int]]:
    """A rise taken apart where the record stands within it, or all but does."""
    parts, begin, k = [], low, low + 2
    while k < high - 1:
        k = _slowest(x, speed, k, high)
        on = k + int(np.argmax(x[k : high + 1] - x[k] >= STROKE_S))
        if on in (k, high):
            break
        fastest = min(float(speed[begin:k].max(initial=0.0)), float(speed[k : on + 1].max()))
        if x[k] - x[begin] >= STROKE_S and speed[k] < _DIP * fastest:
            parts.append((begin, k))
            begin = k
        k = on
    return [*parts, (begin, high)]


def _slowest(x: Floats, speed: Floats, first: int, high: int) -> int:
    """The slowest message from one on, as long as slower ones come within STROKE_S of it."""
    place = first
    while True:
        ahead = np.flatnonzero(x[place : high + 1] - x[place] < STROKE_S)
        found = place + int(ahead[::-1][np.argmin(speed[place + ahead][::-1])])
        if found <= place:
            return place
        place = found


def _onset(
    t: Floats, x: Floats, speed: Floats, low: int, high: int, motion: Motion, *, whole: bool
) -> float | None:
    """When the way forward from a low to a high begins.

    Both sides of the onset are level + a u**2 + b u**3, the record being at rest at it: exact for
    a push from rest to rest, and a Taylor series for any other.
    """
    way, interval_s = x[high] - x[low], motion.interval_s
    floor = x[low] + min(0.006, 0.1 * way)
    rough = low + int(np.flatnonzero(x[low : high + 1] <= floor)[-1])
    half = rough + int(np.argmax(x[rough : high + 1] >= x[low] + 0.5 * way))
    first_s = max(_PUSH_S, 7 * interval_s, _PART * (t[high] - t[rough]) if whole else 0.0)
    soon = int(np.searchsorted(t, t[rough] + first_s))
    ends = max(min(half, soon), min(rough + 4, high))
    # A slow one has turned long before it is a hand's breadth on.
    reach = max(0.03, 2 * interval_s, min(_SLOWEST_S, t[rough] - t[low] + 0.03))
    begins = int(np.searchsorted(t, t[rough] - max(0.05, 4 * interval_s, reach + 0.02)))
    above = np.flatnonzero(x[begins:rough] > x[low] + 0.3 * way)
    begins += int(above[-1]) + 1 if len(above) else 0
    part = slice(begins, ends + 1)
    times, places = t[part], x[part]
    # A jittered message is off by speed times jitter, so fast ones count for less.
    weight = 1.0 / (0.0007 + np.abs(speed[part]) * motion.jitter_s)
    if len(times) < 5:
        return float(t[rough])
    moments = np.arange(t[rough] - reach, t[rough] + 0.5 * reach, 0.001)
    costs = _rest_costs(times[None, :] - moments[:, None], places, weight)
    best = int(costs.argmin())
    return float(moments[best] + 0.001 * _dip(costs, best)[0])


def _rest_costs(u: Floats, x: Floats, weight: Floats) -> Floats:
    """Weighted squares left by the best level and the best two curves, one each side of u = 0.

    `u`: seconds from each moment in question, shape (moments, messages); a cost for each moment.
    """
    before, after = np.minimum(u, 0.0), np.maximum(u, 0.0)
    earlier = (before < 0).sum(1)[:, None]
    curves = (after**2, after**3, before**2 * (earlier >= 4), before**3 * (earlier >= 7))
    table = np.stack([np.ones_like(u), *curves], axis=1) * weight
    table /= np.maximum(np.linalg.norm(table, axis=2, keepdims=True), 1e-12)
    wanted = (x - x.mean()) * weight
    # The little on the diagonal lets a curve be that no message lies on.
    square = table @ table.transpose(0, 2, 1) + 1e-13 * np.eye(len(table[0]))
    solved = np.linalg.solve(square, (table @ wanted)[:, :, None])
    off = (solved.transpose(0, 2, 1) @ table)[:, 0] - wanted
    return np.asarray((off**2).sum(1))


def near(found: Sequence[Release], cue_s: float, *, within_s: float) -> list[Release]:
    """The releases from within so many seconds of record of a cue."""
    return [one for one in found if abs(one.from_s - cue_s) <= within_s]
