"""How well each cell explains what one deck does: densities of position and of speed.

Positions are densities per second of record, speeds per unit of speed, so that what a hand does
compares across set pieces. The shares below are common practice (no source), kept broad: they say
what is usual and what is rare, not how often to a per cent.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from liveaid.follow import phase
from liveaid.follow.axis import CELLS_PER_BEAT, FREE, RESTS, RUNS, WORKS, Axis, DeckMap, Floats

# How a record moves, by what the hand does with it: held, turning by itself, moved by a hand.
MOVES = np.zeros((4, 3))
MOVES[RUNS] = 0.01, 0.96, 0.03
MOVES[WORKS] = 0.25, 0.35, 0.40
MOVES[RESTS] = 0.55, 0.15, 0.30
MOVES[FREE] = 0.40, 0.30, 0.30

HELD_SPEED = 0.05
HAND_SPEEDS = (1.5, 7.0)
"""Strokes, and a record wound at up to 6 turns a second (10.8 times nominal at 33 1/3)."""

TIMING_S = 0.030
"""A running record against the map: a hand's release (Repp 2005: some 20 ms) and the network."""
WITNESS_S = 0.2
"""Readings closer together than this are one witness, not several."""
BUMP_CELLS = 6
EDGE_CELLS = 4 * CELLS_PER_BEAT
EARLY = 0.3
"""How often a worked record is on its way to its next cue at the very end of its set piece."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one deck says at one moment."""

    position_s: float
    speed: float | None
    speed_error: float
    jitter_s: float
    phase_weight: float = 0.0
    """How far this reading may still speak of the phase of the beat, 0 to 1."""


@dataclass(slots=True)
class Evidence:
    """Likelihood of one deck's readings over the axis."""

    axis: Axis
    deck: DeckMap
    pitch_range: float
    """Reach of the pitch fader as a ratio, 0.08 for 8 per cent."""
    _usual: Floats = field(init=False)
    _passage: Floats = field(init=False)
    _far: npt.NDArray[np.bool_] = field(init=False)
    _ramp: Floats = field(init=False)
    _phased: list[int] = field(init=False)
    """Stretches where this deck is worked and no deck runs: the hands alone carry the beat."""

    def __post_init__(self) -> None:
        self._usual = np.full(len(self.axis.beats), 1.0 / self.axis.reach_s)
        self._far = self.deck.hand == WORKS
        self._ramp = np.arange(1, EDGE_CELLS + 1) / EDGE_CELLS
        no_run = np.all([deck.hand != RUNS for deck in self.axis.decks.values()], axis=0)
        self._phased = [int(s) for s in np.flatnonzero(no_run & (self.deck.hand == WORKS))]
        self._passage = np.maximum(self.deck.to_s - self.deck.from_s, 0.01)

    def likelihood(self, reading: Reading, offset: Floats, weight: float) -> Floats:
        """Likelihood ** weight of every cell; `offset` as in Motion, weight 0 to 1."""
        hand = self.deck.hand
        moves = MOVES[hand] * self._speeds(reading)
        places = self._places(reading.position_s)
        stretch = (moves * places).sum(axis=1)
        cells = np.repeat(stretch**weight, self.axis.lengths)
        runs = moves.sum(axis=1)
        for s in np.flatnonzero(hand == RUNS):
            self._bump(
                cells, int(s), reading, float(offset[s]), float(runs[s] / stretch[s]), weight
            )
        self._edges(cells, reading.position_s, stretch, weight)
        if reading.phase_weight > 0.0:
            for phased in self._phased:
                self._phase(cells, phased, reading, float(offset[phased]))
        return cells

    def _speeds(self, reading: Reading) -> Floats:
        """Density of the speed for a record held, turning, and moved by a hand."""
        if reading.speed is None:
            return np.ones(3)
        slow, fast = HAND_SPEEDS
        turning = max(self.pitch_range / 2, 0.03)
        v, e = reading.speed, min(reading.speed_error, 20.0)
        return np.array(
            [
                _normal(v, 0.0, np.hypot(HELD_SPEED, e)),
                _normal(v, 1.0, np.hypot(turning, e)),
                0.5 * _normal(v, 0.0, np.hypot(slow, e)) + 0.5 * _normal(v, 0.0, np.hypot(fast, e)),
            ]
        )

    def _places(self, x: float) -> Floats:
        """Density of the position by stretch and by how the record moves, bumps left out."""
        deck, usual = self.deck, self._usual
        places = np.repeat(usual[:, None], 3, axis=1)
        near = _outside(x, deck.from_s, deck.to_s)
        runs = deck.hand == RUNS
        slips = 0.02 * np.exp(-near) / (2.0 + self._passage) + 0.01 * usual
        places[runs] = slips[runs, None]
        works = deck.hand == WORKS
        span = np.where(near < 0.1, 0.9 / (self._passage + 0.2), 0.0)
        span += 0.08 * np.exp(-near) / (2.0 + self._passage) + 0.02 * usual
        places[works] = span[works, None]
        rests = deck.hand == RESTS
        places[rests] = self._resting(x)[rests]
        return places

    def _resting(self, x: float) -> Floats:
        usual = self._usual
        none = np.isnan(self.deck.next_cue_s)
        off = np.abs(x - np.where(none, 0.0, self.deck.next_cue_s))
        at_cue = np.where(none, usual, np.exp(-off / 0.15) / 0.3)
        by_cue = np.where(none, usual, np.exp(-off / 0.8) / 1.6)
        ran_on = self._ran_on(x)
        return np.stack(
            [
                0.5 * at_cue + 0.15 * ran_on + 0.35 * usual,
                0.02 * by_cue + 0.38 * ran_on + 0.6 * usual,
                0.3 * by_cue + 0.2 * ran_on + 0.5 * usual,
            ],
            axis=1,
        )

    def _ran_on(self, x: float) -> Floats:
        """Density of a record left turning after its passage, or taken out of it early."""
        deck = self.deck
        none = np.isnan(deck.left_to_s)
        past = x - np.where(none, 0.0, deck.left_to_s)
        beyond = np.where(past > -0.2, np.exp(-np.abs(past) / 1.5) / 1.7, 0.0)
        length = np.where(none, 1.0, deck.left_to_s - deck.left_from_s)
        inside = np.where((past <= 0.5) & (past > -length - 0.5), 1.0 / (length + 1.0), 0.0)
        return np.where(none, self._usual, 0.6 * beyond + 0.4 * inside)

    def _edges(self, cells: Floats, x: float, stretch: Floats, weight: float) -> None:
        """A worked record on its way to its next cue while the other hand plays out the bar."""
        hands = MOVES[WORKS].sum()
        for s in np.flatnonzero(self._far & (np.abs(x - self.deck.next_cue_s) < 1.5)):
            early = EARLY * hands * np.exp(-abs(x - self.deck.next_cue_s[s]) / 0.5)
            end = self.axis.first[s + 1]
            part = cells[max(end - EDGE_CELLS, self.axis.first[s]) : end]
            part *= (1.0 + early / stretch[s] * self._ramp[-part.size :]) ** weight

    def _phase(self, cells: Floats, s: int, reading: Reading, offset: float) -> None:
        """The beat's phase, off a record let go from its cue and running on."""
        ran_s = reading.position_s - self.deck.cue_s[s]
        if not -0.1 < ran_s < self._passage[s] + 0.3:
            return
        first, end = int(self.axis.first[s]), int(self.axis.first[s + 1])
        beats = (np.arange(end - first) + offset) / CELLS_PER_BEAT - ran_s / self.axis.beat_s[s]
        told = phase.told(beats, self.deck.strokes[s], float(self.axis.beat_s[s]))
        cells[first:end] *= told**reading.phase_weight

    def _bump(
        self, cells: Floats, s: int, reading: Reading, offset: float, share: float, weight: float
    ) -> None:
        """The narrow part of a running record's density, around the beat its position says."""
        beat_s = self.axis.beat_s[s]
        cell_s = beat_s / CELLS_PER_BEAT
        cell = (reading.position_s - self.deck.from_s[s]) / cell_s - offset
        first, end = self.axis.first[s], self.axis.first[s + 1]
        low = max(int(cell) - BUMP_CELLS, 0)
        high = min(int(cell) + BUMP_CELLS + 1, int(end - first))
        if low >= high:
            return
        width = float(np.hypot(np.hypot(TIMING_S, reading.jitter_s), cell_s * 0.29))
        density = 0.97 * _normal((np.arange(low, high) - cell) * cell_s, 0.0, width)
        cells[first + low : first + high] *= (1.0 + share * density) ** weight


def _normal(x: float | Floats, mean: float, deviation: float) -> float | Floats:
    z = (x - mean) / deviation
    return np.exp(-0.5 * z * z) / (deviation * 2.5066282746310002)


def _outside(x: float, low: Floats, high: Floats) -> Floats:
    """How far x lies outside each range, 0 inside; NaN ranges count as far."""
    return np.nan_to_num(np.maximum(np.maximum(low - x, x - high), 0.0), nan=1e3)
