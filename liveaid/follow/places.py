"""Where a record may be, by what the hand does with it: densities per second of record.

The shares are common practice (no source), kept broad: they say what is usual and what is rare,
not how often to a per cent.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liveaid.follow.axis import FREE, RESTS, RUNS, WORKS, Axis, DeckMap, Floats, Ints

NOWHERE_S = 1e7
"""Stands for a second that is none: beyond any record."""
RUN_ON_S = 3.0
"""A record let run on after its passage, or before its cue, goes no further as a rule."""
HELD, TURNING, HANDLED = range(3)
"""How a record moves: held, turning by itself, moved by a hand."""


@dataclass(slots=True)
class Places:
    """Densities of one deck's position in every stretch."""

    axis: Axis
    deck: DeckMap
    _each: Ints = field(init=False)
    _usual: Floats = field(init=False)
    _length: Floats = field(init=False)
    _from: Floats = field(init=False)
    _to: Floats = field(init=False)
    _cue: Floats = field(init=False)
    _wind_from: Floats = field(init=False)
    _wind_to: Floats = field(init=False)
    """The stretch of record between where it last sounded and the next cue, both in it."""
    _left_to: Floats = field(init=False)
    _left_length: Floats = field(init=False)
    _way_from: Floats = field(init=False)
    _way_to: Floats = field(init=False)
    """The stretch of record between the span and the next cue, both in it."""

    def __post_init__(self) -> None:
        deck = self.deck
        self._each = np.arange(len(deck.hand))
        self._usual = np.full(len(deck.hand), 1.0 / self.axis.reach_s)
        self._from, self._to = _far_if_none(deck.from_s), _far_if_none(deck.to_s)
        self._length = np.maximum(self._to - self._from, 0.01)
        self._cue, self._left_to = _far_if_none(deck.next_cue_s), _far_if_none(deck.left_to_s)
        self._wind_from = _far_if_none(np.fmin(deck.left_from_s, deck.next_cue_s))
        self._wind_to = _far_if_none(np.fmax(deck.left_to_s, deck.next_cue_s))
        self._left_length = np.nan_to_num(deck.left_to_s - deck.left_from_s, nan=1.0)
        self._way_from = _far_if_none(np.fmin(deck.from_s, deck.next_cue_s))
        self._way_to = _far_if_none(np.fmax(deck.to_s, deck.next_cue_s))

    def density(self, x: float) -> Floats:
        """Density at a position, shape (stretches, 3) by how the record moves.

        Of a record that runs, only what lies beside the beat its position should tell: slips.
        """
        away = _outside(x, self._from, self._to)
        beside = np.exp(-away) / (2.0 + self._length)
        runs = 0.02 * beside + 0.01 * self._usual
        inside = np.where(away < 0.1, 0.9 / (self._length + 0.2), 0.0)
        works = inside + 0.05 * beside + 0.02 * self._usual
        on_way = _outside(x, self._way_from, self._way_to) < 0.3
        works += 0.05 * on_way / (self._way_to - self._way_from + 1.0)
        by_hand = np.empty((4, len(self._usual), 3))
        by_hand[RUNS], by_hand[WORKS] = runs[:, None], works[:, None]
        by_hand[RESTS], by_hand[FREE] = self._resting(x), self._usual[:, None]
        return by_hand[self.deck.hand, self._each]

    def stays(self, x: float, turns: float) -> Floats:
        """How well a position that follows from the last one fits: 1, or less off a span.

        `turns` is the probability that the record turns by itself. A worked record may be on its
        way to its next cue before the set piece is over; one that rests before its next cue is
        not left to run far from there and from where it sounded.
        """
        way = _outside(x, self._way_from - 0.3, self._way_to + 0.3)
        works = np.exp(-2.0 * np.minimum(way, 1.0))
        wind = _outside(x, self._wind_from - RUN_ON_S, self._wind_to + RUN_ON_S)
        rests = np.where(self._cue < NOWHERE_S, np.exp(-turns * np.minimum(wind, 1.0)), 1.0)
        return np.select([self.deck.hand == WORKS, self.deck.hand == RESTS], [works, rests], 1.0)

    def near_next(self, x: float) -> Floats:
        """Density of a record brought to its next cue, 0 where that is far or none.

        Even for half a second either way, since a record that is wound overshoots; most at it.
        """
        off = np.abs(x - self._cue)
        near = 0.5 * np.exp(-np.maximum(off - 0.5, 0.0) / 0.3) + 1.5 * np.exp(-off / 0.1)
        return np.where(off < 1.5, near, 0.0)

    def _resting(self, x: float) -> Floats:
        """At the next cue or on the way there, or running on from where it last sounded."""
        off = np.abs(x - self._cue)
        none = off > NOWHERE_S / 2
        at_cue = np.where(none, self._usual, np.exp(-off / 0.15) / 0.3)
        by_cue = np.where(none, self._usual, np.exp(-off / 0.8) / 1.6)
        ran_on = self._ran_on(x)
        return np.stack(
            [
                0.4 * at_cue + 0.35 * ran_on + 0.25 * self._usual,
                0.02 * by_cue + 0.38 * ran_on + 0.6 * self._usual,
                0.3 * by_cue + 0.2 * ran_on + 0.3 * self._under_way(x) + 0.2 * self._usual,
            ],
            axis=1,
        )

    def _under_way(self, x: float) -> Floats:
        """A record being wound from where it last sounded to its next cue."""
        low, high = self._wind_from, self._wind_to
        on_way = (x > low - 0.5) & (x < high + 0.5)
        return np.where(on_way & (high < NOWHERE_S), 1.0 / (high - low + 1.0), self._usual)

    def _ran_on(self, x: float) -> Floats:
        """A record left turning after its passage, or taken out of it early."""
        past = x - self._left_to
        beyond = np.where(past > -0.2, np.exp(-np.abs(past) / 1.5) / 1.7, 0.0)
        within = (past <= 0.5) & (past > -self._left_length - 0.5)
        inside = np.where(within, 1.0 / (self._left_length + 1.0), 0.0)
        return np.where(past < -NOWHERE_S / 2, self._usual, 0.6 * beyond + 0.4 * inside)


def _far_if_none(seconds: Floats) -> Floats:
    return np.nan_to_num(seconds, nan=NOWHERE_S)


def _outside(x: float, low: Floats, high: Floats) -> Floats:
    """How far x lies outside each range, 0 inside."""
    return np.maximum(np.maximum(low - x, x - high), 0.0)
