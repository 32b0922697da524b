"""How well each cell explains what one deck does.

A record keeps one line of motion for a while: let run, held, wound. When a line begins, where it
is and how fast it goes tell one hand's doing from another's, once. As it goes on, its next
position follows from the last whatever the hand means, so it tells only which beat a running
record is at, and that a hand that works would have changed something by now.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liveaid.follow import phase
from liveaid.follow.axis import (
    CELLS_PER_BEAT,
    FREE,
    RESTS,
    RUNS,
    WORKS,
    Axis,
    DeckMap,
    Floats,
    Ints,
)
from liveaid.follow.places import HANDLED, HELD, TURNING, Places

# Shares of how a record moves, by what the hand does with it (common practice, no source).
MOVES = np.zeros((4, 3))
MOVES[RUNS, [HELD, TURNING, HANDLED]] = 0.01, 0.96, 0.03
MOVES[WORKS, [HELD, TURNING, HANDLED]] = 0.25, 0.35, 0.40
MOVES[RESTS, [HELD, TURNING, HANDLED]] = 0.55, 0.15, 0.30
MOVES[FREE, [HELD, TURNING, HANDLED]] = 0.40, 0.30, 0.30

# How often a second each such line of motion comes to an end (common practice, no source).
ENDS = np.zeros((4, 3))
ENDS[RUNS, [HELD, TURNING, HANDLED]] = 5.0, 0.0, 5.0
ENDS[WORKS, [HELD, TURNING, HANDLED]] = 0.8, 0.8, 2.0
ENDS[RESTS, [HELD, TURNING, HANDLED]] = 0.5, 0.8, 2.0
ENDS[FREE, [HELD, TURNING, HANDLED]] = 0.5, 0.5, 2.0

ENDS_BETWEEN = 0.05, 2.0
"""A line seen to end is no surer sign than these rates make it: a nudge may end one too."""
HELD_SPEED = 0.05
HAND_SPEEDS = (1.5, 7.0)
"""Strokes, and a record wound at up to 6 turns a second (10.8 times nominal at 33 1/3)."""
TIMING_S = 0.030
"""A running record against the map: a hand's release (Repp 2005: some 20 ms) and the network."""
KEPT_S = 0.06
"""A running record this near to a cell is at it, three hand's errors wide."""
SLIP = 1e-3
"""Share of moments in which a running record is not where the map says."""
LOOSE = 0.8
"""The same for a record that runs beside the one that carries the count: it may be let slip."""
WITNESS_S = 0.15
"""Readings closer together than this are one witness, not several."""
FIRST_WITNESSES = 1.0
"""How many witnesses the beginning of a line is worth."""
NEAR_CELLS = 6
EDGE_CELLS = 4 * CELLS_PER_BEAT
EARLY, AT_ONCE = 0.5, 0.1
"""How often a worked record is brought to its next cue at the very end of its set piece, and the
part of that for any earlier beat: a performer about to leave early prepares it too."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one deck says at one moment, and how much of it is new."""

    position_s: float
    speed: float | None
    speed_error: float
    jitter_s: float
    begins: float
    """Witnesses that a line of motion begins like this; 0 once that has been told."""
    goes_on: float
    """Witnesses that it goes on."""
    alone: bool
    """Whether nothing is heard of the other deck."""
    phase: float = 0.0
    """Witnesses that a run from the cue tells the phase of the beat."""


@dataclass(frozen=True, slots=True, eq=False)
class LineBegun:
    """Likelihood of a line's beginning: a value a stretch, and factors over some cells."""

    stretch: Floats
    lengths: Ints
    parts: list[tuple[int, int, Floats]]

    def cells(self, witnesses: float) -> Floats:
        """The likelihood of every cell, told by so many witnesses."""
        cells = np.repeat(self.stretch**witnesses, self.lengths)
        for low, high, factor in self.parts:
            cells[low:high] *= factor**witnesses
        return cells


@dataclass(slots=True)
class Evidence:
    """Likelihood of one deck's readings over the axis."""

    axis: Axis
    deck: DeckMap
    pitch_range: float
    """Reach of the pitch fader as a ratio, 0.08 for 8 per cent."""
    _places: Places = field(init=False)
    _last_beats: dict[int, Floats] = field(init=False)
    """Of worked stretches, how far each cell is into the last beats, 0 to 1."""
    _runs: list[int] = field(init=False)
    _works: list[int] = field(init=False)
    _phased: list[int] = field(init=False)
    """Stretches where this deck is worked and no deck runs: the hands alone carry the beat."""

    def __post_init__(self) -> None:
        self._places = Places(self.axis, self.deck)
        self._runs = np.flatnonzero(self.deck.hand == RUNS).tolist()
        self._works = np.flatnonzero(self.deck.hand == WORKS).tolist()
        self._last_beats = {
            s: np.clip(1.0 - np.arange(int(self.axis.lengths[s]))[::-1] / EDGE_CELLS, AT_ONCE, 1.0)
            for s in self._works
        }
        run = np.any([deck.hand == RUNS for deck in self.axis.decks.values()], axis=0)
        self._phased = [s for s in self._works if not run[s]]

    def line(self, reading: Reading, offset: Floats) -> LineBegun:
        """What the beginning of the present line of motion says; `offset` as in Motion."""
        x, speeds = reading.position_s, self._speeds(reading)
        moves = MOVES[self.deck.hand] * speeds
        stretch = (moves * self._places.density(x)).sum(axis=1)
        shares = moves.sum(axis=1) / stretch
        parts = []
        for s in self._runs:
            low, high, off = self._near(s, reading, float(offset[s]))
            if low < high:
                bump = _normal(off, self._width(s, reading))
                parts.append((low, high, 1.0 + float(shares[s]) * bump))
        early = EARLY * (MOVES[WORKS] @ speeds) * self._places.near_next(x) / stretch
        for s in self._works:
            if early[s] > 0.0:
                low, high = int(self.axis.first[s]), int(self.axis.first[s + 1])
                parts.append((low, high, 1.0 + early[s] * self._last_beats[s]))
        return LineBegun(stretch, self.axis.lengths, parts)

    def likelihood(self, reading: Reading, offset: Floats, begun: LineBegun | None) -> Floats:
        """Likelihood of every cell; `begun` from `line`, where a line has still to tell."""
        cells = np.ones(self.axis.size)
        if reading.goes_on > 0.0:
            cells = self._goes_on(reading, offset)
        if begun is not None and reading.begins > 0.0:
            cells *= begun.cells(reading.begins)
        if reading.phase > 0.0:
            for stretch in self._phased:
                self._phase(cells, stretch, reading, float(offset[stretch]))
        return cells

    def _goes_on(self, reading: Reading, offset: Floats) -> Floats:
        """What it says that a line of motion goes on."""
        weight = reading.goes_on
        speeds = self._speeds(reading)
        turns = float(speeds[TURNING] / speeds.sum())
        stretch = self._places.stays(reading.position_s, turns) ** weight
        stretch *= np.exp(-self._ends(reading) * weight * WITNESS_S)
        slip = np.where(self.deck.leads | reading.alone, SLIP, LOOSE)
        stretch[self._runs] *= slip[self._runs] ** weight
        cells = np.repeat(stretch, self.axis.lengths)
        for s in self._runs:
            low, high, off = self._near(s, reading, float(offset[s]))
            if low == high:
                continue
            beside = np.maximum(np.abs(off) - KEPT_S, 0.0) / self._width(s, reading)
            cells[low:high] *= (1.0 + np.exp(-0.5 * beside * beside) / slip[s]) ** weight
        return cells

    def ended(self, before: Reading) -> Floats:
        """What it says that the line of motion of an earlier reading came to an end."""
        return np.repeat(np.clip(self._ends(before), *ENDS_BETWEEN), self.axis.lengths)

    def _ends(self, reading: Reading) -> Floats:
        """How often a second such a line ends, in every stretch."""
        hand = self.deck.hand
        moving = MOVES[hand] * self._speeds(reading)
        ends: Floats = (moving * ENDS[hand]).sum(axis=1) / moving.sum(axis=1)
        return ends

    def _speeds(self, reading: Reading) -> Floats:
        """Density of the speed for a record held, turning, and moved by a hand."""
        if reading.speed is None:
            return np.ones(3)
        slow, fast = HAND_SPEEDS
        turning = max(self.pitch_range / 2, 0.03)
        error = min(reading.speed_error, 20.0)
        means: Floats = np.array([0.0, 1.0, 0.0, 0.0])
        widths: Floats = np.hypot([HELD_SPEED, turning, slow, fast], error)
        held, turns, stroke, wind = _normal(reading.speed - means, widths)
        return np.array([held, turns, 0.5 * stroke + 0.5 * wind])

    def _width(self, s: int, reading: Reading) -> float:
        """Standard deviation of a running record's position about a cell's, in seconds."""
        cell_s = float(self.axis.beat_s[s]) / CELLS_PER_BEAT
        return float(np.sqrt(TIMING_S**2 + reading.jitter_s**2 + cell_s**2 / 12.0))

    def _near(self, s: int, reading: Reading, offset: float) -> tuple[int, int, Floats]:
        """Cells around the beat a running record tells, and how far off each is in seconds."""
        cell_s = float(self.axis.beat_s[s]) / CELLS_PER_BEAT
        cell = (reading.position_s - float(self.deck.from_s[s])) / cell_s - offset
        first, end = int(self.axis.first[s]), int(self.axis.first[s + 1])
        low = min(max(int(cell) - NEAR_CELLS, 0), end - first)
        high = max(min(int(cell) + NEAR_CELLS + 1, end - first), low)
        off: Floats = (np.arange(low, high, dtype=np.float64) - cell) * cell_s
        return first + low, first + high, off

    def _phase(self, cells: Floats, s: int, reading: Reading, offset: float) -> None:
        """The beat's phase, off a record let go from its cue and running on."""
        ran_s = reading.position_s - float(self.deck.cue_s[s])
        if not -0.1 < ran_s < self.deck.to_s[s] - self.deck.from_s[s] + 0.3:
            return
        first, end = int(self.axis.first[s]), int(self.axis.first[s + 1])
        beat_s = float(self.axis.beat_s[s])
        released = (np.arange(end - first) + offset) / CELLS_PER_BEAT - ran_s / beat_s
        cells[first:end] *= phase.told(released, self.deck.strokes[s], beat_s) ** reading.phase


def _normal(off: Floats, width: float | Floats) -> Floats:
    z: Floats = off / width
    return np.asarray(np.exp(-0.5 * z * z) / (width * 2.5066282746310002))
