"""How long the best order takes to find, and how good it is where it cannot be proven.

Run by hand: python tests/bench/arrange.py [most free set pieces of the second table]

First table: seconds and peak memory for 10 to 16 free set pieces, all free to trade decks too, each
beside trying all orders (time per order measured in the same run, times the number of orders).
Second table: the search used beyond that, on instances where the best is known, and on larger ones
against the bound; beside it the order a greedy hand would take, always the cheapest next.
"""

from __future__ import annotations

import math
import random
import sys
import time
import tracemalloc

from liveaid.routine import Piece, Rests, Routine, Runs, Sound, Works
from liveaid.routine.arrange import Weights
from liveaid.routine.arrange.beyond import Weigh, best_found
from liveaid.routine.arrange.cost import costs_of
from liveaid.routine.arrange.exact import EXACT_FREE, ExactTask, exact_orders

TECHNIQUES = ["scratch", "drop", "blend", "beat juggle", "cut"]


def _plan(draw: random.Random) -> Runs | Works | Rests:
    hand = draw.choice(["runs", "works", "rests"])
    at = round(draw.uniform(0, 500), 1)
    if hand == "runs":
        return Runs(sound="s", at_s=at)
    if hand == "works":
        return Works(sound="s", from_s=at, to_s=at + draw.choice([0.6, 1.3, 2.6]))
    return Rests()


def instance(count: int, seed: int) -> ExactTask:
    """Fragments as they come: any part, energy, tempo, deck."""
    draw = random.Random(seed)
    pieces = [
        Piece(
            name=f"F{number}",
            part=draw.choice(["intro", "story", "story", "climax", "outro"]),
            technique=draw.choice(TECHNIQUES),
            bars=draw.choice([4, 8]),
            tempo_bpm=draw.choice([88, 92, 94, 96, 100]),
            energy=draw.randint(1, 5),
            left=_plan(draw),
            right=_plan(draw),
        )
        for number in range(count)
    ]
    routine = Routine(title="B", pieces=tuple(pieces), sounds={"s": Sound(file="s.wav")})
    return ExactTask(costs_of(routine, [True] * count, Weights()), tuple(range(count)))


def greedy(task: ExactTask) -> int:
    """Always the cheapest next, from the cheapest first."""
    order: list[int] = []
    left = set(task.free)
    while left:
        may = [i for i, item in enumerate(task.costs.items) if item.piece in left]
        item = min(may, key=lambda i: task.costs.total([*order, i]))
        order.append(item)
        left.discard(task.costs.items[item].piece)
    return task.costs.total(order)


def exact_table() -> None:
    print("free  tables s  search s  peak MB  best cost  all orders would take")
    for count in range(10, EXACT_FREE + 1):
        started = time.perf_counter()
        task = instance(count, count)
        built = time.perf_counter()
        best = next(exact_orders(task)).cost
        done = time.perf_counter()
        tracemalloc.start()
        next(exact_orders(task))
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        weigh = Weigh(task)
        batch = weigh.near(next(exact_orders(task)).order)
        begun = time.perf_counter()
        weigh.costs(batch)
        one = (time.perf_counter() - begun) / len(batch)
        years = one * math.factorial(count) * 2**count / 3.15e7
        print(f"{count:4d}  {built - started:8.2f}  {done - built:8.2f}  {peak:7.0f}  {best:9d}  "
              f"{years:.2g} years")  # fmt: skip


def beyond_table(most: int) -> None:
    print("\nfree  instance  seconds   found   best or bound   gap %   greedy above found %")
    for count in [n for n in (10, 12, 14, 18, 20, 24, 30, 40, 60) if n <= most]:
        for seed in range(3):
            task = instance(count, 1000 + 10 * count + seed)
            started = time.perf_counter()
            found, bound = best_found(task)
            took = time.perf_counter() - started
            known = count <= 14
            floor = next(exact_orders(task)).cost if known else bound
            cost = found[0].cost
            gap = 100 * (cost - floor) / cost
            worse = 100 * (greedy(task) - cost) / cost
            word = "best " if known else "bound"
            print(f"{count:4d}  {seed:8d}  {took:7.1f}  {cost:6d}  {floor:7d} {word}  {gap:6.1f}"
                  f"  {worse:10.0f}")  # fmt: skip


if __name__ == "__main__":
    exact_table()
    beyond_table(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
