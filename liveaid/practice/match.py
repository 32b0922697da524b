"""Which heard event answers which planned one: the cheapest assignment that keeps their order.

Dynamic programming as in sequence alignment (Needleman and Wunsch 1970), the cost of a pair
being how far apart it is, of a planned event left alone or a heard one left over half the window.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Matching:
    """Indices into the planned and the heard times."""

    pairs: tuple[tuple[int, int], ...]
    missed: tuple[int, ...]
    """Planned, never heard."""
    added: tuple[int, ...]
    """Heard, never planned."""


def match(planned_s: Sequence[float], heard_s: Sequence[float], *, window_s: float) -> Matching:
    """Assign heard times to planned ones, both rising, none further apart than `window_s`.

    Minimises the sum of distances plus half a window for each event without a partner; the order
    of time is kept, so two events never cross.
    """
    if window_s <= 0:
        raise ValueError(f"window of {window_s} s: above 0 would do")
    steps = _cheapest(np.asarray(planned_s, float), np.asarray(heard_s, float), window_s)
    pairs: list[tuple[int, int]] = []
    missed: list[int] = []
    added: list[int] = []
    i, j = len(planned_s), len(heard_s)
    while i or j:
        step = steps[i][j]
        i -= step != _LEFT_OVER
        j -= step != _ALONE
        if step == _PAIR:
            pairs.append((i, j))
        elif step == _ALONE:
            missed.append(i)
        else:
            added.append(j)
    return Matching(tuple(reversed(pairs)), tuple(reversed(missed)), tuple(reversed(added)))


def match_by_habit(
    planned_s: Sequence[float], heard_s: Sequence[float], *, window_s: float
) -> Matching:
    """As `match`, and with a dozen pairs or more once again about their own lateness and spread.

    So an act that was left out and another made where none was planned, which a wide window takes
    for one late act, are told apart when the hand is otherwise steady.
    """
    found = match(planned_s, heard_s, window_s=window_s)
    if len(found.pairs) < _HABIT:
        return found
    off = np.array([heard_s[j] - planned_s[i] for i, j in found.pairs])
    late = float(np.median(off))
    spread = 1.4826 * float(np.median(np.abs(off - late)))
    narrow_s = min(window_s, max(6 * spread, _LEAST_S))
    return match([planned + late for planned in planned_s], heard_s, window_s=narrow_s)


_HABIT, _LEAST_S = 12, 0.10
_PAIR, _ALONE, _LEFT_OVER = 0, 1, 2


def _cheapest(planned: np.ndarray, heard: np.ndarray, window: float) -> list[list[int]]:
    """The best last step for every prefix of both lists."""
    gap = window / 2
    apart = np.abs(planned[:, None] - heard[None, :])
    apart[apart > window] = np.inf
    cost = [gap * j for j in range(len(heard) + 1)]
    steps = [[_ALONE] + [_LEFT_OVER] * len(heard)]
    for i, row in enumerate(apart.tolist()):
        new, choice = [gap * (i + 1)], [_ALONE]
        for j, distance in enumerate(row):
            options = (cost[j] + distance, cost[j + 1] + gap, new[j] + gap)
            best = min(range(3), key=options.__getitem__)
            new.append(options[best])
            choice.append(best)
        cost = new
        steps.append(choice)
    return steps
