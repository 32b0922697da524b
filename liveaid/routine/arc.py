"""The energy arc: how much is wanted when, by the idea's wants or else by common practice."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from liveaid.routine.model import Routine
from liveaid.routine.timeline import starts_s

ARC = ((0.0, 2.0), (0.5, 3.0), (0.8, 5.0), (1.0, 2.0))
"""Energy wanted by share of the time gone by: calm, rising, the peak late, a way out
(common practice, no source)."""
LEAST_WANTS = 3
"""Wants from which an idea's own energies make an arc."""


def arc_energy(share: float, routine: Routine | None = None) -> float:
    """Energy the arc wants when a share of the time has gone by, straight between its points.

    The idea's wants, in their order and evenly over the time, where it has enough of them.
    """
    shares, energies = zip(*_points(routine), strict=True)
    return float(np.interp(share, shares, energies))


def off_arc_by_piece(routine: Routine) -> list[float]:
    """How many levels of energy each set piece is away from the arc at its middle."""
    starts = starts_s(routine)
    middles = [(begin + end) / 2 / starts[-1] for begin, end in pairwise(starts)]
    return [
        abs(piece.energy - arc_energy(share, routine))
        for piece, share in zip(routine.pieces, middles, strict=True)
    ]


def _points(routine: Routine | None) -> tuple[tuple[float, float], ...]:
    wants = () if routine is None or routine.idea is None else routine.idea.wants
    if len(wants) < LEAST_WANTS:
        return ARC
    count = len(wants)
    return tuple(((k + 0.5) / count, float(want.energy)) for k, want in enumerate(wants))
