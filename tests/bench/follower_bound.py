"""The bound: the best path found with all the future in hand, under the follower's own scores.

The same guesses, thirty-two instead of eight, each of which remembers the way it came. Whichever
is best when the routine is over tells where the performer was all along: a place that the future
decided is told as decided before it was.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass, replace

from other_hands import Played

from liveaid.follow import Follower
from liveaid.follow.belief import Belief
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.numbers import USUAL
from liveaid.routine import Routine, Side


@dataclass(slots=True)
class Traced(Guess):
    """A guess with its way: where it was at each step, the last first, as linked pairs."""

    way: tuple = ()


class Tracing(Belief):
    """A belief whose guesses note where they are, each step."""

    def step(self, heard: GestureHeard, ended: dict[Side, bool], seconds: float) -> None:
        Belief.step(self, heard, ended, seconds)
        for guess in (*self.guesses, self.lost):
            if isinstance(guess, Traced):
                guess.way = (guess.way, (heard.now_s, guess.section, guess.beat, guess.since_s))


def best_path(routine: Routine, played: Played) -> list[tuple[int, float]]:
    """Set piece and beat at every look of the truth; set piece -1 for none."""
    follower = Follower(routine)
    belief = Tracing(follower.plan, routine.turntable.turn_s, replace(USUAL, guesses=32))
    belief.told = Traced(-1, 0.0, -math.inf)
    belief.guesses = [belief.told]
    follower._belief = belief
    for when, side, position in played.messages:
        follower.hear(side, position=position, now=when)
    best = max(belief.guesses, key=lambda g: g.score)
    way = _straight(best.way) or [(0.0, -1, 0.0, 0.0)]
    times = [place[0] for place in way]
    answers = []
    for now, *_ in played.truth:
        at = min(bisect_left(times, now), len(way) - 1)
        if way[at][3] > now and at:
            at -= 1
        time_s, section, beat, _ = way[at]
        inside = 0 <= section < len(routine.pieces)
        rate = routine.pieces[section].tempo_bpm / 60.0 if inside else 0.0
        answers.append((section if inside else -1, beat + (now - time_s) * rate))
    return answers


def _straight(way: tuple) -> list[tuple[float, int, float, float]]:
    """The way from its first place on; where it leapt, from when the leap's gesture began."""
    kept, until_s = [], math.inf
    while way:
        before, place = way
        if place[0] < until_s:
            kept.append(place)
        if before and (before[1][1] != place[1] or abs(before[1][2] - place[2]) > 1.0):
            until_s = min(until_s, place[3])
        way = before
    return kept[::-1]
