"""Dynamic time warping: which frame of a recording answers which frame of the guide.

Offline and not online (Dixon 2005): a take is over before it is judged, so the whole of it may
speak, and a wrong turn early on can be taken back later. Two resolutions, coarse over everything
and fine within a corridor around it, keep three minutes within a few seconds
(Mueller, Mattes and Kurth, "An efficient multiscale approach to audio synchronization",
ISMIR 2006).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveaid.practice.recorded_sound import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_COARSE = 10
_RADIUS = 8
"""Half width of the corridor in coarse frames: 0.8 s, more than any one event is off."""
_ASIDE = 0.5
"""Extra cost of a step that moves in one of the two only, so that nothing wanders in silence, or
by a beat where beats are alike (tuned on the night market's guide mix)."""
_DIAGONAL, _GUIDE_ON, _TAKE_ON = 0, 1, 2


def warp(guide: Features, take: Features) -> tuple[Floats, Floats]:
    """Seconds of the guide and seconds of the take that answer each other, both never falling.

    Every guide frame is answered; the take may begin and end with other things.
    """
    coarse_guide, coarse_take = guide.thinned(_COARSE), take.thinned(_COARSE)
    whole = np.zeros(len(coarse_guide.onset), int)
    rough_guide, rough_take = _path(coarse_guide, coarse_take, whole, len(coarse_take.onset))
    rows = np.arange(len(guide.onset))
    centre = np.interp(rows, rough_guide * _COARSE, rough_take * _COARSE)
    width = 2 * _RADIUS * _COARSE
    first = np.maximum(0, np.minimum(centre.astype(int) - width // 2, len(take.onset) - width))
    first = np.maximum.accumulate(first)
    i, j = _path(guide, take, first, width)
    return (i * guide.hop_s).astype(float), (j * take.hop_s).astype(float)


def _path(guide: Features, take: Features, first: Ints, width: int) -> tuple[Ints, Ints]:
    """Cheapest path through columns first[i] to first[i] + width of every row i."""
    width = min(width, len(take.onset))
    steps = np.zeros((len(first), width), np.int8)
    total = np.zeros(0)
    for i, low in enumerate(first):
        cost = _row_cost(guide, take, i, int(low), width)
        if i == 0:
            total = cost.copy()
            continue
        shift = int(low - first[i - 1])
        straight, up = _shifted(total, shift - 1), _shifted(total, shift) + _ASIDE
        enter = np.minimum(straight, up)
        choice = np.where(up < straight, _GUIDE_ON, _DIAGONAL)
        total, sideways = _along(enter + cost, cost + _ASIDE)
        steps[i] = np.where(sideways, _TAKE_ON, choice)
    return _walk_back(steps, first, int(total.argmin()))


def _row_cost(guide: Features, take: Features, i: int, low: int, width: int) -> Floats:
    """How unlike guide frame i and each take frame of the row are, 0 to about 1."""
    here = slice(low, low + width)
    colour = 1 - take.chroma[here] @ guide.chroma[i]
    apart = np.abs(np.sqrt(take.onset[here]) - np.sqrt(guide.onset[i])).mean(1)
    cost = np.full(width, np.inf)
    cost[: len(colour)] = 0.25 * colour + 0.5 * apart
    return cost


def _shifted(row: Floats, by: int) -> Floats:
    """The row seen from `by` columns further on; beyond its ends nothing is reachable."""
    out = np.full(len(row), np.inf)
    if by >= 0:
        out[: max(0, len(row) - by)] = row[by:]
    else:
        out[-by:] = row[:by]
    return out


def _along(enter: Floats, cost: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Best totals when a row may also be walked along, and where that was the better step."""
    paid = np.cumsum(np.where(np.isfinite(cost), cost, 1e6))
    best = np.minimum.accumulate(enter - paid)
    total = best + paid
    return np.where(np.isfinite(cost), total, np.inf), total < enter - 1e-12


def _walk_back(steps: NDArray[np.int8], first: Ints, column: int) -> tuple[Ints, Ints]:
    i = len(steps) - 1
    j = int(first[i]) + column
    path = [(i, j)]
    while i > 0:
        step = steps[i, j - int(first[i])]
        i -= step != _TAKE_ON
        j -= step != _GUIDE_ON
        path.append((i, j))
    rows, columns = np.array(path[::-1]).T
    return rows, columns
