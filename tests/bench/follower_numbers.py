"""Estimate the follower's numbers again, and say which of them matter.

    python tests/bench/follower_numbers.py --seeds 1 --jobs 2
    python tests/bench/follower_numbers.py --fields again,ahead,renamed --factor 4

The objective, the less the better: the mean log loss of the confidence (of the place told being
right to a beat) plus the share of looks with it wrong, over other hands (other_hands.py: every kind
of routine, fault and habit, a sender of its own each). What was heard is worked out once a
performance, up to gestures, and believed anew by every trial: numbers of how a record looks are
therefore not among those tried.

Each number in turn is tried up and down by a factor. It is taken over where the objective falls by
more than twice the standard error of the difference, performance by performance. All that was taken
over is then judged on as many performances of seeds apart, and is better only if it is there too.

  before, up, down  the objective as the numbers stand, and with this one changed
  taken             the new value, where one is; "tells nothing" where neither changes the objective
                    by 1e-5: with --factor 4 such a number does no work
"""

from __future__ import annotations

import argparse
import math
import statistics
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, fields, replace
from itertools import accumulate

from other_hands import FAULTS, HABITS, perform, routines

from liveaid.follow import Follower
from liveaid.follow.belief import Belief
from liveaid.follow.guess import GestureHeard
from liveaid.follow.numbers import USUAL, Numbers
from liveaid.routine import Side

APART = 5000
"""Seeds judged on lie so far from those searched on."""
FIRST_TRIED = "place_s"
"""Those before it in the table say how a record looks."""


@dataclass(slots=True)
class Noting(Belief):
    """A belief that notes what it is told, and believes nothing."""

    steps: list[tuple[GestureHeard, dict[Side, bool], float]] = field(default_factory=list)

    def step(self, heard: GestureHeard, ended: dict[Side, bool], seconds: float) -> None:
        """Keep it as it is now: a gesture goes on changing."""
        now = {side: g and replace(g) for side, g in heard.gestures.items()}
        self.steps.append((replace(heard, gestures=now), ended, seconds))


@dataclass(frozen=True, slots=True)
class Heard:
    """A performance up to its gestures, and the truth at its looks."""

    follower: Follower
    steps: Sequence[tuple[GestureHeard, dict[Side, bool], float]]
    truth: Sequence[tuple[float, int, float]]

    def loss(self, numbers: Numbers) -> float:
        """Mean log loss plus share wrong, by these numbers."""
        plan, total, steps = self.follower.plan, 0.0, iter(self.steps)
        belief = Belief(plan, self.follower.routine.turntable.turn_s, numbers)
        starts = list(accumulate((plan.at(i).beats for i in range(plan.pieces)), initial=0))
        ahead = next(steps)
        for now, piece, beat in self.truth:
            while ahead is not None and ahead[0].now_s <= now:
                belief.step(*ahead)
                ahead = next(steps, None)
            told = plan.whole_beat(belief.told.section, belief.told.beat)
            right = abs(told - starts[piece] - beat) <= 1.0
            sure = min(max(belief.confidence()[1], 0.002), 0.998)
            total -= math.log(sure if right else 1.0 - sure) - (not right)
        return total / len(self.truth)


def heard(task: tuple[str, str, int]) -> Heard:
    """One performance, heard."""
    kind, fault, seed = task
    routine = routines()[kind]
    played, follower = perform(routine, fault, seed), Follower(routine)
    noting = Noting(follower.plan, routine.turntable.turn_s, USUAL)
    follower._belief = noting
    for when, side, position in played.messages:
        follower.hear(side, position=position, now=when)
    return Heard(Follower(routine), noting.steps, played.truth)


PLAYED: dict[int, list[Heard]] = {}
"""By first seed; filled before the workers begin, which inherit it."""


def loss(task: tuple[int, int, Numbers]) -> float:
    """The loss of one performance: first seed, which, and the numbers."""
    first, which, numbers = task
    return PLAYED[first][which].loss(numbers)


def trials(before: Numbers, name: str, factor: float) -> Iterator[Numbers]:
    """The numbers with one of them up and down."""
    value = getattr(before, name)
    for tried in (value * factor, value / factor):
        yield replace(before, **{name: max(round(tried), 1) if isinstance(value, int) else tried})


def surely_less(one: Sequence[float], other: Sequence[float]) -> bool:
    """Whether losses are less by more than twice the standard error of the difference."""
    less = [b - a for a, b in zip(one, other, strict=True)]
    error = statistics.stdev(less) / math.sqrt(len(less))
    return statistics.mean(less) > 2.0 * error


def main() -> None:
    """Search, judge apart, and print."""
    names = [f.name for f in fields(Numbers)]
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", default=",".join(names[names.index(FIRST_TRIED) :]))
    parser.add_argument("--factor", type=float, default=1.25)
    parser.add_argument("--seeds", type=int, default=1, help="performances a routine and kind")
    parser.add_argument("--seed", type=int, default=300, help="the first to search on")
    parser.add_argument("--kind", help="faults and habits to play, comma between; all else")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    faults = options.kind.split(",") if options.kind else (*FAULTS, *HABITS)
    with ProcessPoolExecutor(options.jobs) as pool:
        for first in (options.seed, options.seed + APART):
            seeds = range(first, first + options.seeds)
            tasks = [(kind, fault, s) for kind in routines() for fault in faults for s in seeds]
            PLAYED[first] = list(pool.map(heard, tasks))
    with ProcessPoolExecutor(options.jobs) as pool:

        def losses(numbers: Numbers, first: int) -> list[float]:
            return list(pool.map(loss, [(first, n, numbers) for n in range(len(PLAYED[first]))]))

        best, least = USUAL, losses(USUAL, options.seed)
        print(f"{len(least)} performances from seed {options.seed}, judged {APART} on")
        print(f"{'':18} {'before':>7} {'up':>7} {'down':>7}  taken", flush=True)
        for name in options.fields.split(","):
            tried = [(n, losses(n, options.seed)) for n in trials(best, name, options.factor)]
            mean = statistics.mean(least)
            means = [statistics.mean(each) for _, each in tried]
            taken = "tells nothing" if all(abs(m - mean) < 1e-5 for m in means) else ""
            numbers, found = min(tried, key=lambda pair: statistics.mean(pair[1]))
            if surely_less(found, least):
                best, least, taken = numbers, found, f"{getattr(numbers, name):.3f}"
            print(f"{name:18} {mean:7.4f} {means[0]:7.4f} {means[1]:7.4f}  {taken}", flush=True)
        apart = options.seed + APART
        was, now = losses(USUAL, apart), losses(best, apart)
        verdict = "take them over" if surely_less(now, was) else "no better there: leave them"
        means = [statistics.mean(each) for each in (was, now)]
        print(f"on seeds apart: {means[0]:.4f} before, {means[1]:.4f} after: {verdict}")
        for name in names:
            if getattr(best, name) != getattr(USUAL, name):
                print(f"{name} = {getattr(best, name):.3f}")


if __name__ == "__main__":
    main()
