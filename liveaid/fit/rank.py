"""A whole crate ranked by its columns: which sounds are worth a closer look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.fit.costs import costs_of, score_of
from liveaid.fit.meeting import BEATS, reaches
from liveaid.routine.model import Turntable
from liveaid.shelf.crate_facts import KINDS, CrateFacts, Floats

BY_HAND = tuple(KINDS.index(kind) for kind in ("sample", "effect"))


@dataclass(frozen=True, slots=True)
class Ranked:
    """Numbers of sounds, best first."""

    whole: npt.NDArray[np.intp]
    """What plays along."""
    hits: npt.NDArray[np.intp]
    """What is struck or thrown in: too short to carry or to clash."""
    beyond: npt.NDArray[np.intp]
    """Out of the turntable's reach, nearest first."""


def ranked(
    sound: CrateFacts, others: CrateFacts, turntable: Turntable, *, key_locked: bool
) -> Ranked:
    """Every sound the decks can bring to this one, best first; and those they cannot."""
    best = best_scores(sound, others, turntable, key_locked=key_locked)
    order = np.argsort(-best, kind="stable")
    order = order[best[order] > -np.inf]
    hits = others.hits[order]
    beyond = np.flatnonzero(best == -np.inf)
    far = needed_ratio(sound, others)[beyond]
    return Ranked(order[~hits], order[hits], beyond[np.argsort(far, kind="stable")])


def best_scores(
    sound: CrateFacts, others: CrateFacts, turntable: Turntable, *, key_locked: bool
) -> Floats:
    """The score of the best way to play each of others with a sound; -inf out of reach."""
    reach = turntable.pitch_range_percent
    best = np.full(len(others.tempo), -np.inf)
    tempos = ~np.isnan(sound.tempo) & ~np.isnan(others.tempo)
    for beats in BEATS:
        ratio = beats * sound.tempo / others.tempo
        can = np.flatnonzero(reaches(ratio, reach))
        costs = costs_of(sound, others.of(can), ratio[can], beats, key_locked=key_locked)
        best[can] = np.maximum(best[can], score_of(costs))
    by_hand = np.isin(others.kind, BY_HAND) | np.isin(sound.kind, BY_HAND)
    cued = np.flatnonzero(~tempos | (by_hand & (best == -np.inf)))
    costs = costs_of(sound, others.of(cued), np.ones(len(cued)), None, key_locked=key_locked)
    best[cued] = score_of(costs)
    return best


def needed_ratio(sound: CrateFacts, others: CrateFacts) -> Floats:
    """How far the nearest reading is from one speed, as a ratio of 1 or more."""
    ratios = np.array([beats * sound.tempo / others.tempo for beats in BEATS])
    nearest: Floats = np.min(np.maximum(ratios, 1.0 / ratios), axis=0)
    return nearest
