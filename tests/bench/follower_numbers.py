"""Estimate the follower's numbers again, by coordinate search on what it told of many performances.

    python tests/bench/follower_numbers.py --fields again,back,ahead,fade_s --seeds 2 --jobs 2

The objective is the mean log loss of the confidence plus a look's share of wrong beats, over the
other hands' performances (other_hands.py), every kind of routine and fault. Each field is tried a
step up and down and kept where it is better; what is printed is to be judged on seeds not used.
"""

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import accumulate

from other_hands import FAULTS, perform, routines

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
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    cases = [(k, f, s) for k in routines() for f in FAULTS for s in range(options.seeds)]
    with ProcessPoolExecutor(options.jobs) as pool:

        def mean(numbers: Numbers) -> float:
            return sum(pool.map(loss, [(numbers, *case) for case in cases])) / len(cases)

        best, least = USUAL, mean(USUAL)
        print(f"as they are: {least:.4f}", flush=True)
        for field in options.fields.split(","):
            for factor in (STEP, 1.0 / STEP):
                tried = replace(best, **{field: getattr(best, field) * factor})
                value = mean(tried)
                print(f"{field} {getattr(tried, field):.3f}: {value:.4f}", flush=True)
                if value < least:
                    best, least = tried, value
                    break
    print(best)


if __name__ == "__main__":
    main()
