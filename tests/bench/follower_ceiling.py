"""The ceiling: what the messages could tell at each look, worked out with no model of the follower.

Only the map, the truth and the messages are asked. A place is alive while both records have been
where it says since the performer last left the order, for as long as at the true place and
`SLACK_S` more. Where another place is alive, nobody can be sure of the true one. While the order
that was left still fits, it may as well be left at a later end of a set piece: that is another
place for every set piece it may be left for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from other_hands import Played

from liveaid.routine import SIDES, Routine, Side

Floats = NDArray[np.float64]
SLACK_S = 0.15
"""So long a record has to be elsewhere before messages tell it: a line of .1 s and a look."""
NEAR_S = 0.3
"""So near its place a record is on it: half a beat at 100 a minute."""
SPAN_S = 0.5
"""So far beyond its span a worked record is still worked: hands overshoot."""
MOVES = 0.3
"""Speed from which a record moves."""
WOUND_S = 3.0
"""So long in all a record at rest is moved without being played: wound, and listened to."""
GRID = 0.25
"""Places are tried so many beats apart."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """Why set piece and beat cannot be known at one look: '' where they can.

    `order`: the order that was left would still fit. `twin`: another place fits.
    """

    piece: str
    beat: str
    piece_share: float = 1.0
    """How often one is right who guesses evenly among the set pieces that fit, and who is wrong
    while the order does."""
    beat_share: float = 1.0
    """The same among the beats that fit."""


class Places:
    """Places of the routine on the axis of its whole beats, and what each has against it."""

    def __init__(self, routine: Routine, at: Floats) -> None:
        """`at`: whole beats."""
        self.routine = routine
        self.ends = np.cumsum([routine.beats(i) for i in range(len(routine.pieces))])
        self.starts = np.concatenate(([0.0], self.ends[:-1]))
        self.beat_s = np.array([piece.beat_s for piece in routine.pieces])
        self.at, self.against = at, np.zeros(len(at))
        self.wound = {side: np.zeros(len(at)) for side in SIDES}
        self.cue, self.end, self.hand = {}, {}, {}
        for side in SIDES:
            plans = [piece.plan(side) for piece in routine.pieces]
            self.hand[side] = np.array([plan.hand for plan in plans])
            self.cue[side] = np.array([_low(plan) for plan in plans])
            self.end[side] = np.array([getattr(plan, "to_s", None) or math.nan for plan in plans])

    @property
    def piece(self) -> NDArray[np.intp]:
        """Which set piece each place is in."""
        found = np.searchsorted(self.ends, self.at, side="right")
        return np.minimum(found, len(self.ends) - 1)

    def go_on(self, seconds: float) -> None:
        """All places so much of record later."""
        self.at = self.at + seconds / self.beat_s[self.piece]

    def leave(self, which: int, to: Floats) -> None:
        """More places, which are come to from one of them: they have against them what it has."""
        self.at = np.concatenate((self.at, to))
        self.against = np.concatenate((self.against, np.full(len(to), self.against[which])))
        for side in SIDES:
            self.wound[side] = np.concatenate((self.wound[side], np.zeros(len(to))))

    def see(self, records: dict[Side, tuple[float, float]], seconds: float) -> None:
        """Hold where both records are, and how fast, against what each place says."""
        piece = self.piece
        into_s = (self.at - self.starts[piece]) * self.beat_s[piece]
        self.against += np.where(self.at > self.ends[-1] + 1.0, np.inf, 0.0)
        for side, (place_s, speed) in records.items():
            hand, cue = self.hand[side][piece], self.cue[side][piece]
            off_s = np.abs(place_s - cue - into_s)
            outside = (place_s < cue - SPAN_S) | (place_s > self.end[side][piece] + SPAN_S)
            rests = hand == "rests"
            if abs(speed) > MOVES:
                self.wound[side] += np.where(rests, seconds, 0.0)
            played = rests & (abs(speed) > MOVES) & (self.wound[side] > WOUND_S)
            wrong = played | (hand == "runs") & (off_s > NEAR_S) | (hand == "works") & outside
            self.against += np.where(wrong, seconds, 0.0)


def _low(plan: object) -> float:
    """Where a record's passage or span begins; NaN for one that rests."""
    low = getattr(plan, "at_s", None)
    low = getattr(plan, "from_s", None) if low is None else low
    return math.nan if low is None else float(low)


def unknown(routine: Routine, played: Played) -> list[Unknown]:
    """What cannot be known at each look of the truth."""
    starts = np.cumsum([0.0, *(routine.beats(i) for i in range(len(routine.pieces)))])
    records, marks = _records(played), sorted(played.marks)
    leaps, alone, left, waits, waited = None, False, 0, False, 0.0
    found: list[Unknown] = []
    before: tuple[float, int, float] | None = None
    for (now, piece, beat), seen in zip(played.truth, records, strict=True):
        here = float(starts[piece] + beat)
        clock = all(routine.pieces[piece].plan(side).hand != "runs" for side in SIDES)
        if before is None or before[1] != piece:
            waits, waited = False, 0.0
        if marks and now >= marks[0]:
            # Who leaves the order begins another set piece; who begins late begins anywhere.
            came = here if before is None else min(starts[before[1]] + before[2], starts[-1])
            to = np.arange(0.0, starts[-1], GRID) if before is None else starts[:-1]
            marks = [mark for mark in marks if mark > now]
            leaps, alone = Places(routine, np.concatenate(([here, came], to))), before is None
            before, left, waits, waited = None, int(leaps.piece[1]), clock, 0.0
        told = Unknown("", "")
        if leaps is not None:
            if before is not None:
                leaps.go_on(_ahead(routine, before, (piece, beat), starts))
            leaps.at[0] = here
            if leaps.piece[1] != left and not alone:
                left = int(leaps.piece[1])
                leaps.leave(1, starts[:-1])
            leaps.see(seen, 0.05)
            alive = leaps.against <= leaps.against[0] + SLACK_S
            other = alive & (leaps.piece != piece)
            far = alive & (np.abs(leaps.at - here) > 1.0)
            # A count that no record carries begins, for whoever listens, with the first move.
            waits = waits and all(abs(speed) < MOVES for _, speed in seen.values())
            waited = beat if waits else waited
            why = "order" if far[1] and not alone else "twin"
            lost = why if far.any() else "twin" if waited > 1.0 else ""
            waiting = bool(lost) and not far.any()
            pieces, beats = np.unique(leaps.piece[other]), np.unique(np.floor(leaps.at[far]))
            share = 0.0 if why == "order" else 1.0
            told = Unknown(
                why if other.any() else "",
                lost,
                (share if other.any() else 1.0) / (1 + len(pieces)),
                (share if far.any() else 1.0) / (1 + len(beats) + waiting),
            )
        found.append(told)
        before = (now, piece, beat)
    return found


def _ahead(
    routine: Routine, before: tuple[float, int, float], here: tuple[int, float], starts: Floats
) -> float:
    """Seconds of record that the performer went on by from one look to the next."""
    beats = starts[here[0]] + here[1] - starts[before[1]] - before[2]
    return float(max(beats, 0.0) * routine.pieces[here[0]].beat_s)


def _records(played: Played) -> list[dict[Side, tuple[float, float]]]:
    """Where each record is, and how fast it went over the last tenth of a second, at every look."""
    looks = np.array([now for now, *_ in played.truth])
    told: dict[Side, tuple[Floats, Floats]] = {}
    for side in SIDES:
        heard = [(when, place) for when, each, place in played.messages if each == side]
        times, places = np.array(heard).T
        here = places[np.maximum(np.searchsorted(times, looks, side="right") - 1, 0)]
        then = places[np.maximum(np.searchsorted(times, looks - 0.1, side="right") - 1, 0)]
        told[side] = here, (here - then) / 0.1
    return [
        {side: (float(told[side][0][k]), float(told[side][1][k])) for side in SIDES}
        for k in range(len(looks))
    ]
