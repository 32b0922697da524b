"""Acts told apart from the running record that they are heard over.

Where a stroke falls on a drum of the beat below it, a recording is alike to the guide there whether
or not the stroke came with it. What the beat sounds like without it stands in the deck file. So the
beat alone is held against the recording, and the beat with the act moved by so much, and an act is
told only where it explains clearly more than the beat does. In a band the louder onset is heard.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from liveaid.practice.align import sampled
from liveaid.practice.recorded_sound import FINE_HOP_S, HEARING_RATE_HZ
from liveaid.routine import SIDES, Routine, Runs, Side
from liveaid.routine.timeline import lead_in_s

Floats = NDArray[np.float64]

_REACH_S = 0.090
"""So far from its beat an act is looked for."""
_ACT_S = (-0.025, 0.080)
"""Where an act's onset lies about its beat."""
_FLAT_S, _FADE_S, _MIDDLE_S = 0.070, 0.025, 0.010
"""What is compared: so far to both sides of the middle whole, then less and less."""
_RISE = 0.3
"""An onset in a band must be so much above the beat's own there to be the act's."""
_EXPLAINS, _APART = 0.03, 0.03
"""Likeness that the act must add to the beat's own, and by which its best moment must be above any
other (tuned on loops and words of tests/bench/recording.py, seeds 0 to 2)."""
_OTHER_S = 0.008


class OverBed(NamedTuple):
    """An act told apart from the running record below it."""

    late_s: float
    """Above 0 late."""
    likeness: float
    """Of what is heard there to the record with the act so late: 0.7 and more on a mixer's own
    recording, less under a crowd."""


def bed_of(routine: Routine, decks: Mapping[Side, Floats], frames: int) -> Floats:
    """What the running records alone sound like, laid out as the guide mix, shape (frames,).

    `decks` are the deck files, mono at the common rate. Silent where no record runs.
    """
    out = np.zeros(frames)
    start_s = lead_in_s(routine)
    for index, piece in enumerate(routine.pieces):
        first, lasts = (round(s * HEARING_RATE_HZ) for s in (start_s, routine.piece_s(index)))
        for side in SIDES:
            plan = piece.plan(side)
            if not isinstance(plan, Runs) or plan.at_s is None or side not in decks:
                continue
            here = decks[side][round(plan.at_s * HEARING_RATE_HZ) :][: min(lasts, frames - first)]
            out[first : first + len(here)] += here
        start_s += routine.piece_s(index)
    return out


def over_bed(
    guide: Floats, bed: Floats, take: Floats, at_s: float, due_s: float, speed: float
) -> OverBed | None:
    """An act of the hand over the running record; None when that alone explains what is heard.

    Onset bands at FINE_HOP_S of guide mix, bed and recording. The act is at `at_s` of the first
    two and due at `due_s` of the recording, which runs at `speed` against the guide.
    """
    reach = round(_REACH_S / FINE_HOP_S)
    half = round((_FLAT_S + 2 * _FADE_S) / FINE_HOP_S)
    grid = np.arange(-half, half + 1, dtype=np.float64) * FINE_HOP_S + _MIDDLE_S
    weight = np.exp(-((np.maximum(np.abs(grid - _MIDDLE_S) - _FLAT_S, 0.0) / _FADE_S) ** 2))
    wide = np.arange(-half - reach, half + reach + 1, dtype=np.float64) * FINE_HOP_S + _MIDDLE_S
    with_act, alone = sampled(guide, at_s + wide), sampled(bed, at_s + wide)
    heard = sampled(take, due_s + grid / speed)
    inside = (wide >= _ACT_S[0]) & (wide <= _ACT_S[1])
    act = np.where((with_act > alone + _RISE) & inside[:, None], with_act, 0.0)
    size = len(grid)
    beat = alone[reach : reach + size]
    moved = np.lib.stride_tricks.sliding_window_view(act, size, axis=0).transpose(0, 2, 1)
    # The first window is the act moved latest.
    likeness = np.array([_likeness(np.maximum(beat, one), heard, weight) for one in moved[::-1]])
    late = np.arange(-reach, reach + 1) * FINE_HOP_S
    best = int(likeness.argmax())
    others = likeness[np.abs(late - late[best]) > _OTHER_S].max()
    told = likeness[best] - _likeness(beat, heard, weight) >= _EXPLAINS
    if not told or likeness[best] - others < _APART:
        return None
    return OverBed(float(late[best] / speed), float(likeness[best]))


def _likeness(one: Floats, other: Floats, weight: Floats) -> float:
    """Weighted correlation of two stretches of onset bands, each band about its own mean."""
    weight = weight / weight.sum()
    one, other = one - weight @ one, other - weight @ other
    size = (weight @ one**2).sum() * (weight @ other**2).sum()
    return float((weight @ (one * other)).sum() / np.sqrt(max(size, 1e-12)))
