"""How late each deck's positions and the click are, from what hands do to a steady click.

Each record is let go on the first click of a bar some twenty times, and that click is tapped by pad
or key. A hand is early or late to a click by the same habit whichever of these it does, so

    let go less click = delay of the deck + delay of the click + habit
    tap less click    =                     delay of the click + habit

and the difference is the deck's own delay. What is left, the click's, has the habit in it: most
people tap some tens of milliseconds before a click (Repp 2005, from memory), and a count-in is
answered the same way. Without taps the two can't be told apart; their sum is all that scores need.

Most acts of a take are held against the other record, so what the decks differ by has to be known
best. So each record is also scratched to the click, which gives some 150 pushes in a minute. A push
has a habit of its own, the same on both decks, and so tells what they differ by and no more.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from liveaid.practice.count_in import CountIn
from liveaid.practice.delays import LONGEST_S, MEASURED, Delays, Measured
from liveaid.practice.hear import releases
from liveaid.practice.motion import motion
from liveaid.practice.store import Late
from liveaid.practice.strokes_heard import strokes_heard
from liveaid.practice.trace import DeckTrace
from liveaid.routine import SIDES


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of something is asked for: at least, at most, and sure enough between."""

    least: int
    most: int
    sure_s: float
    """Standard error of the mean at which it is enough."""

    def enough(self, errors_s: Sequence[float]) -> bool:
        """Whether so many goes tell a delay as surely as is wanted, or no more are asked for."""
        if len(errors_s) < self.least:
            return False
        late = late_of(errors_s)
        return len(errors_s) >= self.most or (late is not None and late.sure_s <= self.sure_s)


GOES = Amount(12, 40, 0.0019)
"""Records let go, faders thrown, taps, a bar each. With what the pushes tell of their difference,
both are then known against the click within 3 ms: 1.96 x sqrt(1.9 ** 2 / 2 + 1.4 ** 2 / 4)."""
PUSHES = Amount(120, 300, 0.001)
"""So sure on both, they tell the decks apart within 3 ms 19 times of 20 (1.96 x sqrt(2) x 1.08 ms,
and a little, since who stops when it looks sure stops early); between 48 s and two minutes."""
BEAT_S = 0.4
"""A hand's spread goes with the click's beat, down to about here (Repp 2005, from memory)."""
METRE = 4
"""The first click of a bar leaves no doubt which was meant, up to LONGEST_S late."""
EARLY_S = 0.2
"""Nobody who listens is earlier than this."""
UNEVEN_S = 0.040
"""A spread above this was no calibration: a tenth of the beat, where untrained hands have some 4 %
(Repp 2005, from memory)."""
_CALIBRATION_LEAST = 6
_MOST_SHARED = 0.8
"""What of one go's error is in the next is read off a few goes; more than this no hand shows."""
_RAMP_S = 0.15
"""A record let go is at speed within this (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What was found of each clock."""

    late: Mapping[Measured, Late]
    apart: bool
    """Whether the decks' delays were told apart from the click's."""
    differ_sure_s: float
    """Standard error of what one deck is later than the other."""

    @property
    def delays(self) -> Delays:
        """As takes use it."""
        return Delays(**{f"{c}_s": self.late[c].late_s for c in self.late}, measured=True)


def let_go_s(deck: DeckTrace) -> list[float]:
    """Every moment a held record was let go: where its line, read back, was where it had stood."""
    heard = motion(deck)
    stands = [phase for phase in heard.phases if phase.does == "stands"]
    found = []
    for one in releases(heard):
        before = [p for p in stands if one.start_s - _RAMP_S <= p.end_s <= one.start_s + 0.01]
        if before:
            stood = float(np.median(heard.x_s[before[-1].first : before[-1].last]))
            found.append(one.line.when(stood))
    return found


def pushed_s(deck: DeckTrace) -> list[float]:
    """Every moment a record was pushed forward and turned within a beat: not let go."""
    heard = motion(deck)
    if not heard.phases:
        return []
    first_s, last_s = float(heard.t_s[0]), float(heard.t_s[-1])
    return [
        one.at_s
        for one in strokes_heard(heard, start_s=first_s, end_s=last_s)
        if one.forward and one.ends_s is not None and one.ends_s - one.at_s < BEAT_S
    ]


def after_bars(times_s: Sequence[float], count: CountIn) -> list[float]:
    """How much later each was than the first click of the bar it was meant for; those meant for
    none left out."""
    late = _after(times_s, count, count.metre * count.beat_s, EARLY_S)
    return [one for one in late if one <= LONGEST_S]


def after_clicks(times_s: Sequence[float], count: CountIn, *, about_s: float) -> list[float]:
    """How much later each was than the click it was meant for, where they are about so late."""
    return _after(times_s, count, count.beat_s, 0.5 * count.beat_s - about_s)


def _after(times_s: Sequence[float], count: CountIn, every_s: float, early_s: float) -> list[float]:
    """How much later each was than the last of the moments `every_s` apart that it was at most
    `early_s` before."""
    since = [at - count.start_s + early_s for at in times_s]
    last_s = count.first_beat_s - count.start_s + early_s
    return [one % every_s - early_s for one in since if 0.0 <= one < last_s]


def late_of(errors_s: Sequence[float]) -> Late | None:
    """The middle of many errors, strays left out; None when they are too few or too uneven."""
    if len(errors_s) < _CALIBRATION_LEAST:
        return None
    middle = statistics.median(errors_s)
    spread = max(1.4826 * statistics.median(abs(e - middle) for e in errors_s), 0.002)
    kept = [error for error in errors_s if abs(error - middle) <= 3 * spread]
    if spread > UNEVEN_S or len(kept) < _CALIBRATION_LEAST:
        return None
    sure_s = _widened(kept) * statistics.stdev(kept) / math.sqrt(len(kept))
    return Late(late_s=statistics.fmean(kept), sure_s=sure_s, acts=len(kept))


def _widened(errors_s: Sequence[float]) -> float:
    """How much less sure a mean is than of as many goes that know nothing of each other.

    sqrt((1 + r) / (1 - r)), r being how much of one go's error is in the next: the effective
    sample size of a first-order autoregression (Wilks, Statistical Methods in the Atmospheric
    Sciences, from memory). Who taps along is late for a while, then early.
    """
    off = np.asarray(errors_s) - statistics.fmean(errors_s)
    seen = max(0.0, float(off[1:] @ off[:-1]) / max(float(off @ off), 1e-12))
    # From few goes it is seen too small by (1 + 4 r) / n (Marriott and Pope 1954, from memory).
    share = min(seen + (1.0 + 4.0 * seen) / len(off), _MOST_SHARED)
    return math.sqrt((1.0 + share) / (1.0 - share))


def calibrated(
    errors_s: Mapping[Measured, Sequence[float]],
    pushes_s: Mapping[Measured, Sequence[float]] | None = None,
) -> Calibrated | None:
    """What the errors of decks, mixer and taps (as the click's) tell; None before both decks tell.

    The mixer is told as a deck is, and may be left out, as may the pushes.
    """
    found = {
        what: late for what in MEASURED if (late := late_of(errors_s.get(what, ()))) is not None
    }
    if "left" not in found or "right" not in found:
        return None
    pushed = [late_of((pushes_s or {}).get(side, ())) for side in SIDES]
    left, right, sure_s = _told_by_pushes(found["left"], found["right"], *pushed)
    found |= {"left": left, "right": right}
    tap = found.pop("click", None)
    if tap is None:
        return Calibrated(found, apart=False, differ_sure_s=sure_s)
    apart = {what: _less(late, tap) for what, late in found.items()}
    return Calibrated({**apart, "click": tap}, apart=True, differ_sure_s=sure_s)


def _told_by_pushes(
    left: Late, right: Late, pushed: Late | None, other: Late | None
) -> tuple[Late, Late, float]:
    """Both decks by their goes, moved apart or together by what the pushes say they differ by, and
    the standard error of that.

    Least squares: each gives way by its share of all variances, v / (v_left + v_right + v_pushes).
    """
    variance = left.sure_s**2 + right.sure_s**2
    if pushed is None or other is None:
        return left, right, math.sqrt(variance)
    of_pushes = pushed.sure_s**2 + other.sure_s**2
    every = max(variance + of_pushes, 1e-12)
    give_s = (pushed.late_s - other.late_s) - (left.late_s - right.late_s)

    def given_way(one: Late, give_s: float) -> Late:
        share = one.sure_s**2 / every
        return replace(
            one, late_s=one.late_s + give_s * share, sure_s=one.sure_s * math.sqrt(1.0 - share)
        )

    sure_s = math.sqrt(variance * of_pushes / every)
    return given_way(left, give_s), given_way(right, -give_s), sure_s


def _less(deck: Late, tap: Late) -> Late:
    return Late(
        late_s=deck.late_s - tap.late_s, sure_s=math.hypot(deck.sure_s, tap.sure_s),
        acts=deck.acts,
    )  # fmt: skip


def says(found: Calibrated) -> list[str]:
    """What was found, a line each."""
    lines = [
        f"{clock}: {1000 * late.late_s:+.0f} ms, give or take {1000 * 1.96 * late.sure_s:.0f}"
        for clock, late in found.late.items()
    ]
    lines.append(
        "left against right, which most acts are told by: give or take "
        f"{1000 * 1.96 * found.differ_sure_s:.1f} ms"
    )
    if not found.apart:
        lines.append(
            "No taps, so each deck's delay and the click's are one sum; scores need no more."
        )
    return lines
