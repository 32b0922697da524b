"""Where a record is and how fast it moves while acts are played exactly as written. Pure.

A push, a pull and a bringing go from rest to rest (`record/strokes.py`); a record let go runs at
its pitch; one spun back slows evenly; the needle is put down at the end of its act. Between acts
the record stands.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from liveaid.record.strokes import spin_back_place, stroke_place
from liveaid.routine.acts import RUNNING, STANDING, Act

Floats = NDArray[np.float64]


def places_s(acts: Sequence[Act], beats: Floats) -> Floats:
    """Deck-file seconds of one record at many beats of its set piece, in rising order of beat."""
    at = np.full(len(beats), acts[0].from_s if acts else 0.0)
    for act in acts:
        first = int(np.searchsorted(beats, act.beat))
        at[first:] = act.to_s
        last = int(np.searchsorted(beats, act.end_beat))
        if last > first:
            share = (beats[first:last] - act.beat) / act.beats
            at[first:last] = act.from_s + act.way_s * _done(act, share)
    return at


def _done(act: Act, share: Floats) -> Floats:
    """Part of an act's way that is done at each share of its time."""
    if act.kind in RUNNING:
        return share
    if act.kind in STANDING or act.kind == "needle":
        return np.zeros(len(share))
    return spin_back_place(share) if act.kind == "spin back" else stroke_place(share)
