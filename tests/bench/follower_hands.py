"""How well the follower follows other hands than the simulator's, beside two baselines.

    python tests/bench/follower_hands.py --seeds 2 --jobs 2

A row a kind of routine, clean, and a row a fault over all kinds. Looked at every 50 ms, with no
grace. `renames`: changes of the name to a wrong one, a minute; `calibration`: right less
told, in bins of confidence above .7; `in order`: a counter that only knows the order, drawn to the
deck that counts; `look-up`: the one with memory of follower_lookup.py.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from itertools import accumulate

from follower_lookup import LookUp
from other_hands import FAULTS, Played, perform, routines

from liveaid.follow import Follower
from liveaid.routine import Routine

BINS = ((0.7, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))


class InOrder:
    """Counts through by the clock, drawn to the deck that counts; knows the order and no more."""

    def __init__(self, routine: Routine) -> None:
        self.routine, self.index, self.beat, self.now_s = routine, 0, 0.0, None
        self.positions: dict[str, float] = {}
        self.begun = False

    def hear(self, side, *, position, now) -> None:
        before = self.positions.get(side)
        self.positions[side] = position
        first = self.routine.pieces[0]
        if not self.begun and side == first.count and before is not None and position > before:
            at_s = first.plan(side).at_s
            self.begun = 0.05 < position - at_s < 3.0

    def place(self, now: float) -> tuple[int, float]:
        seconds, self.now_s = 0.0 if self.now_s is None else now - self.now_s, now
        piece = self.routine.pieces[self.index]
        self.beat += seconds * piece.tempo_bpm / 60.0 if self.begun else 0.0
        if piece.count != "clock" and piece.count in self.positions:
            at_s = piece.plan(piece.count).at_s
            read = (self.positions[piece.count] - at_s) * piece.tempo_bpm / 60.0
            self.beat = read if abs(read - self.beat) < 1.5 or not self.begun else self.beat
        beats = self.routine.beats(self.index)
        if self.beat >= beats and self.index + 1 < len(self.routine.pieces):
            self.index, self.beat = self.index + 1, self.beat - beats
        return self.index, max(self.beat, 0.0)


def followed(task: tuple[str, str, int]) -> Counter[str]:
    """Counts of looks of one performance."""
    kind, fault, seed = task
    routine = routines()[kind]
    played: Played = perform(routine, fault, seed)
    starts = list(accumulate((routine.beats(i) for i in range(len(routine.pieces))), initial=0))
    follower, others = Follower(routine), (LookUp(routine, memory=True), InOrder(routine))
    looks: Counter[str] = Counter()
    at, last = 0, None
    for now, piece, beat in played.truth:
        begun = time.process_time()
        first = at
        while at < len(played.messages) and played.messages[at][0] <= now:
            when, side, position = played.messages[at]
            follower.hear(side, position=position, now=when)
            at += 1
        looks["us"] += int(1e6 * (time.process_time() - begun))
        for _, side, position in played.messages[first:at]:
            for other in others:
                other.hear(side, position=position, now=now)
        prompt = follower.prompt(now=now)
        answers = (
            {"": (prompt.piece.index, prompt.beat_position)} if prompt.piece else {"": (-1, 0)}
        )
        answers |= {"look-up ": others[0].place(now), "in order ": others[1].place(now)}
        for name, (index, told) in answers.items():
            looks[f"{name}piece"] += index == piece
            near = index >= 0 and abs(starts[index] + told - starts[piece] - beat) <= 1.0
            looks[f"{name}beat"] += near
            if not name:
                _sure(looks, prompt, near)
        index = answers[""][0]
        early = index == piece + 1 and starts[piece + 1] - starts[piece] - beat < 1.0
        looks["renames"] += last not in (None, index) and index != piece and not early
        last = index
        looks["all"] += 1
    looks["messages"] = at
    return looks


def _sure(looks: Counter[str], prompt, right: bool) -> None:
    looks["following"] += prompt.state == "following"
    for low, high in BINS:
        if low <= prompt.confidence < high:
            looks[f"n{low}"] += 1
            looks[f"r{low}"] += right
            looks[f"c{low}"] += int(1e6 * prompt.confidence)


def line(name: str, looks: Counter[str]) -> str:
    """One row."""
    share = {k: 100 * v / max(looks["all"], 1) for k, v in looks.items()}
    bins = [
        f"{looks[f'r{low}'] / looks[f'n{low}'] - 1e-6 * looks[f'c{low}'] / looks[f'n{low}']:+.2f}"
        if looks[f"n{low}"]
        else "  -  "
        for low, _ in BINS
    ]
    return (
        f"{name:14} {share.get('piece', 0):6.2f} {share.get('beat', 0):6.2f}"
        f"  {looks['renames'] / (looks['all'] / 1200):5.2f}  {' '.join(bins)}"
        f"  {share.get('look-up piece', 0):5.1f} / {share.get('look-up beat', 0):5.1f}"
        f"  {share.get('in order piece', 0):5.1f} / {share.get('in order beat', 0):5.1f}"
        f"  {looks['us'] / max(looks['messages'], 1):4.0f}"
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0, help="the first")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.seeds)
    kinds = list(routines())
    with ProcessPoolExecutor(options.jobs) as pool:
        print("                piece   beat  renames  calibration  look-up  in order  us")
        rows = [(k, [(k, "clean", s) for s in seeds]) for k in kinds]
        rows += [(f, [(k, f, s) for k in kinds for s in seeds]) for f in FAULTS[1:]]
        for name, tasks in rows:
            print(line(name, sum(pool.map(followed, tasks), Counter())), flush=True)


if __name__ == "__main__":
    main()
