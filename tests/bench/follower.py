"""How well the follower follows: one table, a row a kind of routine, of hand and of fault.

    python tests/bench/follower.py --seeds 2 --jobs 2
    python tests/bench/follower.py --hands other --kind clean,skip --seeds 4 --bound

Two sets of hands play, neither of which shares a model with the follower: the simulator's (`ours`,
over tests/routines) and other_hands.py (`other`, routines made there: doubles and juggles on one
region, shared cues with other partners, solos by the clock, one-bar set pieces, the usual ones).
Every performance is looked at each 50 ms inside the routine, with no grace after a fault.

  piece, beat  share of looks with the set piece right, the beat right to one beat
  bar          what was asked of the row, set piece / beat
  sure         share of looks with confidence .9 and over, and how many of these are right
  off          right less told, in bins of confidence from .7, .8, .9, .97; * below 1 % of looks
  ren          changes of the name to a wrong one, a minute
  rec          beats from the fault's end until right and right for a beat: median, and at 90 %
  look-up      set piece / beat of a look-up of the positions with memory (follower_lookup.py)
  in order     the same of a counter that only knows the order
  ceiling      the same of one who is wrong only while the order that was left still fits what is
               played (follower_ceiling.py: no score of the follower's is asked), and guesses right
               wherever two places fit
  fair         the same of one who guesses evenly there: what can be expected
  known        the same of one who is wrong there too
  bound        the same of the best path found with all the future in hand, under the same scores
  us           processor time of `hear`, a message

Below each set of hands, all rows together: a bin of confidence a line, with its looks, how many
performances they are from, the mean told, the share right, and what that is off by, with its
standard error from performance to performance: looks of one performance are one witness.
"""

from __future__ import annotations

import argparse
import math
import statistics
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from follower_score import BINS, OUR_FAULTS, Score, Task, followed, kinds_of
from other_hands import FAULTS as OTHER_FAULTS
from other_hands import HABITS

CLEAN = {"doubles": (98.5, 98.0), "shared cue": (99.5, 99.5), "solo": (99.7, 99.5)}
FAULT = {"repeat": (99.7, 98.0), "middle": (99.0, 97.0), "twice": (99.7, 98.0)}


def bar_of(row: str) -> tuple[float, float] | None:
    """Set piece and beat asked of a row, per cent; None where nothing was."""
    if row in ("late", "running"):
        return None
    if row in CLEAN or row in FAULT:
        return CLEAN.get(row) or FAULT[row]
    return (99.7, 99.6) if row in (*OUR_FAULTS[1:], *OTHER_FAULTS[1:]) else (99.9, 99.9)


def rows(hands: str, faults: Sequence[str], routines: Sequence[str]) -> dict[str, list[Task]]:
    """What each row plays: clean by kind of routine, habits and faults over all of them."""
    told: dict[str, list[Task]] = {}
    for fault in faults:
        for routine in routines:
            row = routine if fault == "clean" else fault
            if fault not in HABITS or routine in ("solo", "usual"):
                told.setdefault(row, []).append(Task(hands, routine, fault, 0))
    return told


HEAD = (
    f"{'':13} {'n':>3} {'piece':>6} {'beat':>6} {'bar':>9}  {'sure':>5} {'right':>6}"
    f"  {'off':>23}  {'ren':>4} {'rec':>9}  {'look-up':>9} {'in order':>9}"
    f" {'ceiling':>9} {'fair':>9} {'known':>9} {'bound':>9} {'us':>3}"
)


def line(row: str, scores: Sequence[Score]) -> str:
    """One row as text."""
    looks: Counter[str] = sum((s.looks for s in scores), Counter())
    found = sorted(r for s in scores for r in s.recovered)
    bar = bar_of(row)

    def share(key: str, whole: str = "all") -> float:
        return 100.0 * looks[key] / max(looks[whole], 1)

    def both(name: str) -> str:
        known = looks[f"{name} piece"] or looks[f"{name} beat"]
        return f"{share(f'{name} piece'):.1f}/{share(f'{name} beat'):.1f}" if known else "-"

    off = " ".join(
        f"{(looks[f'right {low}'] - 1e-6 * looks[f'told {low}']) / looks[f'n {low}']:+.2f}"
        + ("*" if share(f"n {low}") < 1.0 else " ")
        if looks[f"n {low}"]
        else "  -  "
        for low, _ in BINS
    )
    recovered = (
        f"{statistics.median(found):.2f}/{found[int(0.9 * len(found))]:.1f}" if found else "-"
    )
    return (
        f"{row:13} {len(scores):3} {share('piece'):6.2f} {share('beat'):6.2f}"
        f" {'/'.join(f'{b:g}' for b in bar) if bar else '':>9}"
        f"  {share('sure'):5.1f} {share('sure right', 'sure'):6.2f}  {off:>23}"
        f"  {looks['renames'] / (looks['all'] / 1200):4.2f} {recovered:>9}"
        f"  {both('look-up'):>9} {both('in order'):>9} {both('ceiling'):>9}"
        f" {both('fair'):>9} {both('known'):>9}"
        f" {both('bound'):>9}"
        f" {looks['us'] / max(looks['messages'], 1):3.0f}"
    )


def reliability(scores: Sequence[Score]) -> Iterator[str]:
    """A line a bin of confidence: told beside right (a reliability diagram's numbers).

    The error is that of a ratio over whole performances (from memory: Cochran, Sampling
    Techniques, 1977, cluster sampling).
    """
    yield f"{'confidence':13} {'looks':>7} {'share':>7} {'from':>5} {'told':>6} {'right':>6}  off"
    every = sum(s.looks["all"] for s in scores)
    for low, high in BINS:
        inside = [s.looks for s in scores if s.looks[f"n {low}"]]
        looks = sum(each[f"n {low}"] for each in inside)
        if not looks:
            continue
        told = sum(each[f"told {low}"] for each in inside) / 1e6 / looks
        right = sum(each[f"right {low}"] for each in inside) / looks
        squares = 0.0
        for each in inside:
            off = each[f"right {low}"] - 1e-6 * each[f"told {low}"]
            squares += (off - each[f"n {low}"] * (right - told)) ** 2
        error = math.sqrt(squares) / looks
        yield (
            f"{low:.2f} to {min(high, 1.0):.2f}  {looks:7} {100.0 * looks / every:6.2f} %"
            f" {len(inside):5} {told:6.3f} {right:6.3f} {right - told:+.3f}, error {error:.3f}"
        )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", choices=("ours", "other", "both"), default="both")
    parser.add_argument("--kind", help="faults or habits, comma between; clean is one")
    parser.add_argument("--routine", help="routines of either hands, comma between")
    parser.add_argument("--seeds", type=int, default=1, help="performances a routine and kind")
    parser.add_argument("--seed", type=int, default=0, help="the first")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--bound", action="store_true", help="the bound too: six times the time")
    parser.add_argument("--wrong", action="store_true", help="the worst performances of each row")
    options = parser.parse_args()
    with ProcessPoolExecutor(options.jobs) as pool:
        for hands, faults in (("ours", OUR_FAULTS), ("other", (*OTHER_FAULTS, *HABITS))):
            if options.hands not in (hands, "both"):
                continue
            print(f"{hands} hands\n{HEAD}", flush=True)
            asked = [f for f in faults if not options.kind or f in options.kind.split(",")]
            every: list[Score] = []
            names = [r for r in kinds_of(hands) if not options.routine or r in options.routine]
            for row, tasks in rows(hands, asked, names).items():
                seeds = range(options.seed, options.seed + options.seeds)
                tasks = [t.of_seed(seed, bound=options.bound) for t in tasks for seed in seeds]
                scores = list(pool.map(followed, tasks))
                every += scores
                print(line(row, scores), flush=True)
                if options.wrong:
                    for score in sorted(scores, key=lambda s: -len(s.wrong))[:3]:
                        print(score.story())
            print(*reliability(every), sep="\n", flush=True)


if __name__ == "__main__":
    main()
