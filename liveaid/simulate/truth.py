"""Where in the routine the performance really was, and where both records were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveaid.routine import Side
from liveaid.simulate.course import Leg
from liveaid.simulate.line import Array
from liveaid.simulate.track import Track


@dataclass(frozen=True, slots=True)
class Truth:
    """The course as it was played, asked at any time, and sampled at even times.

    Where a record carries the count, the beat is that record's own: position = `at` + beats *
    60 / tempo; with the count on the clock it is the performer's. Of a set piece left late the
    beat goes on past its last. While a record runs from a wrong cue the beat is the one meant.
    """

    legs: tuple[Leg, ...]
    tracks: dict[Side, Track]
    times_s: Array
    piece: NDArray[np.int64]
    """At `times_s`; -1 outside the routine."""
    beat: Array
    """Beats from the set piece's start, at `times_s`; nan outside."""
    left_s: Array
    right_s: Array

    def at(self, now_s: float) -> tuple[int, float] | None:
        """Set piece and beats from its start at a time; None outside the routine."""
        piece, beat = self.places(np.array([now_s]))
        return (int(piece[0]), float(beat[0])) if piece[0] >= 0 else None

    def places(self, times_s: Array) -> tuple[NDArray[np.int64], Array]:
        """Set pieces (-1 outside) and beats (nan outside) at many times."""
        return places(self.legs, np.asarray(times_s, dtype=float))

    def position_s(self, side: Side, times_s: Array) -> Array:
        """Where a record really was at the times, in deck-file seconds."""
        return self.tracks[side].position_s(np.asarray(times_s, dtype=float))


def places(legs: Sequence[Leg], times_s: Array) -> tuple[NDArray[np.int64], Array]:
    """Set piece and beat at each time: the leg it falls in, and that leg's count."""
    starts = np.array([leg.start_s for leg in legs])
    leg_of = np.searchsorted(starts, times_s, side="right") - 1
    piece = np.full(len(times_s), -1, dtype=np.int64)
    beat = np.full(len(times_s), np.nan)
    for index, leg in enumerate(legs):
        here = leg_of == index
        if leg.piece is not None and here.any():
            piece[here] = leg.index
            last = np.nextafter(leg.to_beat, -np.inf)
            beat[here] = np.clip(leg.count.at(times_s[here]), leg.from_beat, last)
    return piece, beat


def sample_truth(
    legs: tuple[Leg, ...], tracks: dict[Side, Track], *, until_s: float, rate_hz: float
) -> Truth:
    """The truth from time 0 on, sampled evenly."""
    times = np.arange(0.0, until_s, 1.0 / rate_hz)
    piece, beat = places(legs, times)
    left, right = (tracks[side].position_s(times) for side in ("left", "right"))
    return Truth(legs, tracks, times, piece, beat, left, right)
