"""Estimate the follower's numbers again, by coordinate search on what it told of many performances.

    python tests/bench/follower_numbers.py --fields again,back,ahead,fade_s --seeds 2 --jobs 2

The objective is the mean log loss of the confidence plus the share of looks with the beat wrong,
over other hands (other_hands.py: every kind of routine and fault, drags, spin-backs, pre-listening,
needle drops) with a sender of its own each. Each field is tried a quarter up and down and kept
where it is better. What comes of it is judged on as many performances of seeds not searched on,
beside the numbers as they are.
"""

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import accumulate

from other_hands import FAULTS, HABITS, perform, routines

from liveaid.follow import follower as room
from liveaid.follow.habits import Habits
from liveaid.follow.numbers import USUAL, Numbers

STEP = 1.25


def loss(task: tuple[Numbers, str, str, int]) -> float:
    """Mean log loss and share wrong of one performance."""
    numbers, kind, fault, seed = task
    routine = routines()[kind]
    played = perform(routine, fault, seed)
    starts = list(accumulate((routine.beats(i) for i in range(len(routine.pieces))), initial=0))

    class Bent(Habits):
        def numbers(self, usual: Numbers = USUAL) -> Numbers:
            return numbers

    follower, at, total = room.Follower(routine, habits=Bent()), 0, 0.0
    for now, piece, beat in played.truth:
        while at < len(played.messages) and played.messages[at][0] <= now:
            when, side, position = played.messages[at]
            follower.hear(side, position=position, now=when)
            at += 1
        prompt = follower.prompt(now=now)
        told = starts[prompt.piece.index] + prompt.beat_position if prompt.piece else math.inf
        right = abs(told - starts[piece] - beat) <= 1.0
        sure = min(max(prompt.confidence, 0.002), 0.998)
        total -= math.log(sure if right else 1.0 - sure) - (not right)
    return total / len(played.truth)


def main() -> None:
    """Search and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", default="again,back,ahead,next_early,fade_s,lost,sharpness")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--seed", type=int, default=0, help="the first to search on")
    parser.add_argument("--kind", help="faults and habits to play; all else")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    faults = options.kind.split(",") if options.kind else (*FAULTS, *HABITS)
    with ProcessPoolExecutor(options.jobs) as pool:

        def mean(numbers: Numbers, first: int) -> float:
            seeds = range(first, first + options.seeds)
            cases = [(numbers, k, f, s) for k in routines() for f in faults for s in seeds]
            return sum(pool.map(loss, cases)) / len(cases)

        best, least = USUAL, mean(USUAL, options.seed)
        print(f"as they are: {least:.4f}", flush=True)
        for field in options.fields.split(","):
            for factor in (STEP, 1.0 / STEP):
                tried = replace(best, **{field: getattr(best, field) * factor})
                value = mean(tried, options.seed)
                print(f"{field} {getattr(tried, field):.3f}: {value:.4f}", flush=True)
                if value < least:
                    best, least = tried, value
                    break
        apart = options.seed + 5000
        was, now = mean(USUAL, apart), mean(best, apart)
        print(f"on seeds apart: {was:.4f} as they are, {now:.4f} found")
        kept = {f: getattr(best, f) for f in options.fields.split(",")}
        print(*(f"{f} = {v:.3f}" for f, v in kept.items() if v != getattr(USUAL, f)), sep="\n")


if __name__ == "__main__":
    main()
