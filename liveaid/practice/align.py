"""When, in a recording of a take, each moment of the guide mix was heard.

Where a stretch of the guide lies is known to within some hundredths of a second (see passages).
Then each moment's own onsets are laid over the recording's in 12 bands at a step of 1 ms, in a
window that narrows twice, and the map between is drawn anew after each round: so a moment's
neighbours, which may have moved by other amounts, stop pulling at it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveaid.practice.recorded_sound import FINE_HOP_S, HEARING_RATE_HZ, at_common_rate

Floats = NDArray[np.float64]

ALIGN_ROUNDS = ((0.30, 0.120), (0.15, 0.060), (0.07, 0.030), (0.05, 0.015))
"""Half window around a moment and largest shift looked for, seconds, round by round."""
ALIGN_SURE = 0.45
"""Likeness from which on a moment counts as heard (tuned on the night market's guide mix)."""
_ANCHOR_GAP_S = 0.09
ALIGN_QUIET_S = 0.3
"""Silence put before both sounds."""
_NEAR_S = 1.5


@dataclass(frozen=True, slots=True)
class HeardMoment:
    """A moment of the guide mix, found in a recording."""

    guide_s: float
    take_s: float
    likeness: float
    """How alike the onsets around it are, -1 to 1."""

    @property
    def sure(self) -> bool:
        """Whether this was heard, and not only inferred from its neighbours."""
        return self.likeness >= ALIGN_SURE


def sound_of(samples: Floats, rate_hz: int) -> Floats:
    """Mono at the common rate, with silence before the first sample, so that what begins with it
    is seen to begin."""
    return np.pad(at_common_rate(samples, rate_hz), round(ALIGN_QUIET_S * HEARING_RATE_HZ))


def align_within(
    guide: Floats,
    take: Floats,
    moments_s: Sequence[float],
    guide_s: Sequence[float],
    take_s: Sequence[float],
) -> list[HeardMoment]:
    """Where in the take each moment of a stretch of the guide is heard, in the order given.

    The stretch's place is known to within some hundredths of a second. Onset bands of both sounds
    (see sound_of) at FINE_HOP_S; `guide_s` and `take_s`, rising, are moments that answer each
    other, the first and last of them the stretch's ends.
    """
    moments = np.asarray(moments_s, float) + ALIGN_QUIET_S
    here, there = (
        np.asarray(guide_s, float) + ALIGN_QUIET_S,
        np.asarray(take_s, float) + ALIGN_QUIET_S,
    )
    anchors = _anchors(guide, moments)
    inside = anchors[(anchors > here[0]) & (anchors < here[-1])]
    knots = np.unique(np.concatenate([moments, inside]))
    return _laid(guide, take, moments, knots, _local_map(here, there, knots))


def _laid(
    guide: Floats, take: Floats, moments: Floats, knots: Floats, drawn: Floats
) -> list[HeardMoment]:
    """The moments once the guide's onsets were laid over the take's at every knot."""
    likeness = np.zeros(len(knots))
    for half_s, reach_s in ALIGN_ROUNDS:
        shift, likeness = _shifts(guide, take, knots, drawn, half_s, reach_s)
        drawn = _steadied(knots, drawn + shift, drawn, likeness)
    return [
        HeardMoment(
            float(knots[k] - ALIGN_QUIET_S), float(drawn[k] - ALIGN_QUIET_S), float(likeness[k])
        )
        for k in np.searchsorted(knots, moments)
    ]


def _anchors(fine: Floats, moments: Floats) -> Floats:
    """Seconds of the guide's clear onsets, none near a moment or another, strongest first."""
    strength = fine.mean(1)
    peak = (strength[1:-1] > strength[:-2]) & (strength[1:-1] >= strength[2:])
    at = 1 + np.flatnonzero(peak & (strength[1:-1] > 2 * strength.mean()))
    taken = list(moments)
    chosen = []
    for frame in at[np.argsort(-strength[at])]:
        second = frame * FINE_HOP_S
        if not taken or np.abs(np.asarray(taken) - second).min() > _ANCHOR_GAP_S:
            taken.append(second)
            chosen.append(second)
    return np.array(chosen)


def _shifts(
    guide: Floats, take: Floats, knots: Floats, drawn: Floats, half_s: float, reach_s: float
) -> tuple[Floats, Floats]:
    """How far each knot must move for its onsets to lie on the take's, and how alike they are."""
    grid = np.arange(-round(half_s / FINE_HOP_S), round(half_s / FINE_HOP_S) + 1) * FINE_HOP_S
    weight = np.exp(-((grid / (half_s / 2)) ** 2))
    reach = round(reach_s / FINE_HOP_S)
    wide = np.arange(-reach, reach + 1) * FINE_HOP_S
    wide = np.concatenate([grid[0] + wide[:reach], grid, grid[-1] + wide[reach + 1 :]])
    shift, likeness = np.zeros(len(knots)), np.zeros(len(knots))
    for k, knot in enumerate(knots):
        there = sampled(take, _local_map(knots, drawn, knot + wide))
        lags = _alike(sampled(guide, knot + grid), there, weight)
        best = int(lags.argmax())
        shift[k] = (best - reach + _vertex(lags, best)) * FINE_HOP_S
        likeness[k] = lags[best]
    return shift, likeness


def sampled(bands: Floats, seconds: Floats) -> Floats:
    """Onset bands at FINE_HOP_S, read at some seconds of them; 0 beyond their ends."""
    frames = np.rint(seconds / FINE_HOP_S).astype(int)
    inside = (frames >= 0) & (frames < len(bands))
    return np.where(inside[:, None], bands[np.clip(frames, 0, len(bands) - 1)], 0.0)


def _local_map(knots: Floats, drawn: Floats, seconds: Floats) -> Floats:
    """Take seconds by the map as drawn so far; beyond its ends time runs on evenly."""
    mapped = np.interp(seconds, knots, drawn)
    mapped = np.where(seconds < knots[0], drawn[0] + seconds - knots[0], mapped)
    return np.where(seconds > knots[-1], drawn[-1] + seconds - knots[-1], mapped)


def _alike(pattern: Floats, there: Floats, weight: Floats) -> Floats:
    """Weighted correlation of the pattern with each stretch of `there` as long as it, by lag."""
    weight = weight / weight.sum()
    pattern = (pattern - weight @ pattern) * weight[:, None]
    size = (pattern**2 / weight[:, None]).sum()
    even = weight[:, None]
    power = (_slid(there**2, even) - _slid(there, even) ** 2).sum(1)
    product = _slid(there, pattern).sum(1)
    return np.asarray(product / np.sqrt(np.maximum(size * power, 1e-12)))


def _slid(bands: Floats, pattern: Floats) -> Floats:
    """The pattern's product with each stretch of the bands as long as it, by lag and band."""
    frames = len(bands)
    product = np.fft.rfft(bands, axis=0) * np.fft.rfft(pattern, frames, axis=0).conj()
    return np.asarray(np.fft.irfft(product, frames, axis=0)[: frames - len(pattern) + 1])


def _vertex(values: Floats, best: int) -> float:
    """Where between the steps a parabola through the best one and its neighbours peaks."""
    if not 0 < best < len(values) - 1:
        return 0.0
    before, here, after = values[best - 1 : best + 2]
    bend = before - 2 * here + after
    return float(0.5 * (before - after) / bend) if bend < 0 else 0.0


def _steadied(knots: Floats, moved: Floats, before: Floats, likeness: Floats) -> Floats:
    """The new map: knots that were not heard follow those around them, and none may cross.

    Near ones that were heard lead straight to them, also beyond the first and the last; far from
    any the map keeps its shape and is moved along.
    """
    sure = likeness >= ALIGN_SURE
    if sure.sum() < 2:
        return before
    drawn = before + np.interp(knots, knots[sure], (moved - before)[sure])
    known, at = knots[sure], moved[sure]
    for k in np.flatnonzero(~sure):
        near = np.abs(known - knots[k]) <= _NEAR_S
        if near.sum() >= 3:
            slope, level = np.polyfit(known[near] - knots[k], at[near], 1)
            between = known[0] < knots[k] < known[-1]
            straight = np.interp(knots[k], known, at) if between else level
            drawn[k] = straight if 0.4 < slope < 2.5 else drawn[k]
    return np.asarray(np.maximum.accumulate(drawn))
