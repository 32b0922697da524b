"""How late each deck's positions and the click are, from records let go to a steady click.

Each record is let go to the click a dozen times, and the click is tapped a dozen times by pad or
key. A hand is early or late to a click by the same habit whichever it does, so

    let go less click = delay of the deck + delay of the click + habit
    tap less click    =                     delay of the click + habit

and the difference is the deck's own delay. What is left, the click's, has the habit in it: most
people tap some tens of milliseconds before a click (Repp 2005, from memory), and a count-in is
answered the same way. Without taps the two can't be told apart; their sum is all that scores need.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from liveaid.practice.count_in import CountIn
from liveaid.practice.delays import LONGEST_S, MEASURED, Delays, Measured
from liveaid.practice.hear import releases
from liveaid.practice.motion import motion
from liveaid.practice.store import Late
from liveaid.practice.trace import DeckTrace

WANTED = 12
"""Of each, at least."""
MOST_WANTED = 30
"""Nobody is asked for more, however uneven."""
SURE_S = 0.0015
"""Standard error at which it is enough: 3 ms either way, 19 times of 20 (1.96 x 1.5 ms)."""
BEAT_S = 0.8
"""Clicks this far apart leave no doubt which was meant, up to LONGEST_S late."""
EARLY_S = 0.2
"""Nobody who listens is earlier than this."""
UNEVEN_S = 0.040
"""A spread above this was no calibration: twice a trained hand's at this beat (Repp 2005)."""
_CALIBRATION_LEAST = 6
_RAMP_S = 0.15
"""A record let go is at speed within this (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What was found of each clock."""

    late: Mapping[Measured, Late]
    apart: bool
    """Whether the decks' delays were told apart from the click's."""

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


def after_clicks(times_s: Sequence[float], count: CountIn) -> list[float]:
    """How much later each was than the click it was meant for; those meant for none left out."""
    found = []
    for at in times_s:
        click = math.floor((at - count.start_s + EARLY_S) / count.beat_s)
        late = at - count.start_s - click * count.beat_s
        if 0 <= click < count.beats and late <= LONGEST_S:
            found.append(late)
    return found


def late_of(errors_s: Sequence[float]) -> Late | None:
    """The middle of many errors, strays left out; None when they are too few or too uneven."""
    if len(errors_s) < _CALIBRATION_LEAST:
        return None
    middle = statistics.median(errors_s)
    spread = max(1.4826 * statistics.median(abs(e - middle) for e in errors_s), 0.002)
    kept = [error for error in errors_s if abs(error - middle) <= 3 * spread]
    if spread > UNEVEN_S or len(kept) < _CALIBRATION_LEAST:
        return None
    own = statistics.stdev(kept)
    return Late(late_s=statistics.fmean(kept), sure_s=own / math.sqrt(len(kept)), acts=len(kept))


def enough(errors_s: Sequence[float]) -> bool:
    """Whether so many goes tell a delay as surely as is wanted, or no more are asked for."""
    if len(errors_s) < WANTED:
        return False
    late = late_of(errors_s)
    return len(errors_s) >= MOST_WANTED or (late is not None and late.sure_s <= SURE_S)


def calibrated(errors_s: Mapping[Measured, Sequence[float]]) -> Calibrated | None:
    """What the errors of decks, mixer and taps (as the click's) tell; None before both decks tell.

    The mixer is told as a deck is, and may be left out.
    """
    found = {
        what: late for what in MEASURED if (late := late_of(errors_s.get(what, ()))) is not None
    }
    if "left" not in found or "right" not in found:
        return None
    tap = found.pop("click", None)
    if tap is None:
        return Calibrated(found, apart=False)
    apart = {what: _less(late, tap) for what, late in found.items()}
    return Calibrated({**apart, "click": tap}, True)


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
    if not found.apart:
        lines.append(
            "No taps, so each deck's delay and the click's are one sum; scores need no more."
        )
    return lines
