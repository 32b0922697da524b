"""Where each record was at any moment of a take, and how far the mixer let it through.

Messages come a hundred or two a second, each late by a little that changes. Heard as they come they
would make every tone tremble, so a record that turns by itself is put on its own line, and one that
a hand moves on a smooth way through the lines of its messages.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from liveaid.practice.hand_cuts import SHUT
from liveaid.practice.mixer_trace import Control, FaderHeard
from liveaid.practice.motion import Motion, fitted_line, motion
from liveaid.practice.trace import DeckTrace, Floats
from liveaid.routine import Side

OPENS_OVER = 0.1
"""A crossfader lets a deck through from this part of its way on, as one set sharp for scratching
does (common practice, no source)."""
_LEAST_SPEED = 0.05
"""A record that hardly moves is told this well: part of nominal speed that its messages are off."""
_ON_LINE = 0.05
"""A running record's place on its line is so much surer than one message (20 x 20 messages)."""
_SAME_MOVE_S = 0.05
"""Between two messages closer than this a fader moved evenly; else it stood and jumped."""


def places_at(deck: DeckTrace, times_s: Floats, *, pitch_range_percent: float) -> Floats:
    """Deck-file seconds at rising times; before the first message and after the last it stands."""
    heard = motion(deck, pitch_range_percent=pitch_range_percent)
    if len(heard.t_s) < 2:
        return np.full(len(times_s), heard.x_s[0] if len(heard.x_s) else 0.0)
    places = np.interp(times_s, heard.t_s, heard.x_s)
    for first, last in _without_jumps(heard):
        _smooth(places, times_s, heard, first, last)
    return places


def _without_jumps(heard: Motion) -> list[tuple[int, int]]:
    """Messages from one to before another within which the record was not set elsewhere."""
    cuts = [phase.first for phase in heard.phases if phase.jumped]
    ends = [0, *cuts, len(heard.t_s)]
    return [(a, b) for a, b in pairwise(ends) if b - a >= 4]


def _smooth(places: Floats, times_s: Floats, heard: Motion, first: int, last: int) -> None:
    """The way between two jumps: the smoothest that is as near the messages as their jitter says.

    A smoothing spline (Dierckx, "Curve and Surface Fitting with Splines", 1993); a message that
    comes late by the jitter is off by that times the record's speed.
    """
    t, x = heard.t_s[first:last], heard.x_s[first:last].copy()
    off = heard.jitter_s * np.maximum(np.abs(heard.speed[first:last]), _LEAST_SPEED)
    free = np.ones(len(t))
    for phase in heard.phases:
        low, high = phase.first - first, phase.last - first
        if phase.does == "runs" and low >= 0 and high <= last - first:
            line = fitted_line(t[low:high], x[low:high])
            if line is not None:
                x[low:high] = line.x0_s + line.speed * (t[low:high] - line.t0_s)
                off[low:high] *= _ON_LINE
                free[low:high] = _ON_LINE
    rising = np.concatenate([[True], np.diff(t) > 1e-9])
    inside = slice(*np.searchsorted(times_s, [t[0], t[-1]]))
    if rising.sum() >= 5:
        from scipy.interpolate import UnivariateSpline  # half a second to load

        way = UnivariateSpline(
            t[rising], x[rising], w=1.0 / off[rising], s=float(free[rising].sum())
        )
        places[inside] = way(times_s[inside])


def let_through(
    mixer: Sequence[FaderHeard], side: Side, times_s: Floats, *, hamster: bool
) -> Floats:
    """How much of a deck the mixer lets through at rising times, 0 to 1; 1 where none was heard."""
    gain = np.ones(len(times_s))
    cross = _stood(mixer, "crossfader", times_s)
    if cross is not None:
        toward = cross if (side == "right") is not hamster else 1.0 - cross
        gain *= np.clip((toward - SHUT) / OPENS_OVER, 0.0, 1.0)
    level = _stood(mixer, side, times_s)
    return gain if level is None else gain * np.clip(level, 0.0, 1.0)


def _stood(mixer: Sequence[FaderHeard], control: Control, times_s: Floats) -> Floats | None:
    """Where a fader was; None where it never told."""
    told = [(one.now_s, one.value) for one in mixer if one.control == control]
    if not told:
        return None
    t, value = np.array(told).T
    late = np.flatnonzero(np.diff(t) > _SAME_MOVE_S)
    t = np.insert(t, late + 1, t[late + 1] - 0.002)
    value = np.insert(value, late + 1, value[late])
    return np.asarray(np.interp(times_s, t, value))
