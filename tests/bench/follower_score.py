"""One performance, followed and scored; see follower.py for how."""

from __future__ import annotations

import math
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import accumulate
from pathlib import Path

import numpy as np
from follower_bound import best_path
from follower_ceiling import unknown
from follower_lookup import InOrder, LookUp
from other_hands import Played
from other_hands import perform as others
from other_hands import routines as others_routines

from liveaid.follow import Follower
from liveaid.routine import Routine, load_routine
from liveaid.simulate import Fault, Network, perform

ROUTINES = Path(__file__).resolve().parent.parent / "routines"
EVERY_S = 0.05
SURE = 0.9
BINS = ((0.7, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))
SIMULATED = {
    "clean": None,
    "skip": "skip",
    "early leave": "early",
    "needle jump": "needle-jump",
    "drop-out": "drop-out",
    "repeat": "repeat",
    "restart": "restart",
    "middle": "middle",
}
"""Faults as the table names them, and as the simulator does."""
OUR_FAULTS = tuple(SIMULATED)


@dataclass(frozen=True, slots=True)
class Task:
    """One performance to follow."""

    hands: str
    routine: str
    fault: str
    seed: int
    bound: bool = False

    def of_seed(self, seed: int, *, bound: bool) -> Task:
        """The same by another seed."""
        return replace(self, seed=seed, bound=bound)


@dataclass(slots=True)
class Score:
    """What one performance came to: counts of looks, and beats to recover."""

    task: Task
    looks: Counter[str] = field(default_factory=Counter)
    recovered: list[float] = field(default_factory=list)
    wrong: list[tuple[float, int, float, int, float, float]] = field(default_factory=list)
    """Time, true set piece and beat, told set piece, beat and confidence."""

    def story(self) -> str:
        """When it went wrong, for whoever mends the follower."""
        lines = [f"    {self.task.routine} {self.task.seed}: {len(self.wrong)} looks wrong"]
        last = -9.0
        for now, piece, beat, told, told_beat, sure in self.wrong:
            if now - last > 0.06:
                there = f"told {told}, {told_beat:.1f} at {sure:.2f}"
                lines.append(f"      {now:7.2f} s: {piece}, {beat:.1f}; {there}")
            last = now
        return "\n".join(lines)


def kinds_of(hands: str) -> list[str]:
    """The routines that these hands play."""
    if hands == "ours":
        return sorted(path.stem for path in ROUTINES.glob("*.yaml"))
    return list(others_routines())


def routine_of(task: Task) -> Routine:
    """The routine of a task."""
    if task.hands == "ours":
        return load_routine(ROUTINES / f"{task.routine}.yaml")
    return others_routines()[task.routine]


def played_of(task: Task, routine: Routine) -> Played:
    """The performance of a task: its messages, the truth at every look, the faults' ends."""
    if task.hands == "other":
        return others(routine, task.fault, task.seed)
    kind = SIMULATED[task.fault]
    faults = () if kind is None else (Fault(kind=kind),)
    told = perform(routine, seed=task.seed, faults=faults, network=network_of(task.seed))
    messages = [(m.now_s, m.side, m.position_s) for m in told.messages]
    times = np.arange(messages[0][0] + EVERY_S, told.duration_s, EVERY_S)
    pieces, beats = told.truth.places(times)
    looks = zip(times.tolist(), pieces.tolist(), beats.tolist(), strict=True)
    return Played(messages, [t for t in looks if t[1] >= 0], [f.until_s for f in told.faults])


def network_of(seed: int) -> Network:
    """A sender and a network of its own for each performance, from its seed."""
    rng = np.random.default_rng((seed, 7))
    return Network(
        rate_hz=float(rng.choice([50.0, 100.0, 200.0])),
        jitter_s=float(rng.choice([0.001, 0.003, 0.008])),
        loss=float(rng.choice([0.0, 0.01])),
        duplicates=float(rng.choice([0.0, 0.01])),
        reorder=float(rng.choice([0.0, 0.01])),
    )


def followed(task: Task) -> Score:
    """The score of one performance."""
    routine = routine_of(task)
    played = played_of(task, routine)
    starts = list(accumulate((routine.beats(i) for i in range(len(routine.pieces))), initial=0))
    follower, score = Follower(routine), Score(task)
    others = {"look-up": LookUp(routine, memory=True), "in order": InOrder(routine)}
    looks, at, last = score.looks, 0, None
    right: list[tuple[float, bool]] = []
    for now, piece, beat in played.truth:
        first, begun_s = at, time.process_time()
        while at < len(played.messages) and played.messages[at][0] <= now:
            when, side, position = played.messages[at]
            follower.hear(side, position=position, now=when)
            at += 1
        looks["us"] += int(1e6 * (time.process_time() - begun_s))
        for when, side, position in played.messages[first:at]:
            for other in others.values():
                other.hear(side, position=position, now=when)
        prompt = follower.prompt(now=now)
        index = -1 if prompt.piece is None else prompt.piece.index
        answers = {"": (index, prompt.beat_position or 0.0)}
        answers |= {name: other.place(now) for name, other in others.items()}
        for name, (told, told_beat) in answers.items():
            near = told >= 0 and abs(starts[told] + told_beat - starts[piece] - beat) <= 1.0
            looks[f"{name} piece".strip()] += told == piece
            looks[f"{name} beat".strip()] += near
            if not name:
                _sure(looks, prompt.confidence, near)
                right.append((now, near and told == piece))
                if not right[-1][1]:
                    told_place = (told, told_beat, prompt.confidence)
                    score.wrong.append((now, piece, beat, *told_place))
        early = index == piece + 1 and starts[piece + 1] - starts[piece] - beat < 1.0
        looks["renames"] += last not in (None, index) and index != piece and not early
        last = index
        looks["all"] += 1
    looks["messages"] = at
    fair = {"piece": 0.0, "beat": 0.0}
    for told in unknown(routine, played):
        fair["piece"] += told.piece_share
        fair["beat"] += told.beat_share
        for name, why in (("piece", told.piece), ("beat", told.beat)):
            looks[f"ceiling {name}"] += why != "order"
            looks[f"known {name}"] += not why
    for name, right_looks in fair.items():
        looks[f"fair {name}"] = round(right_looks)
    score.recovered = [_recovery(m, right, played, routine) for m in played.marks]
    if task.bound:
        for (told, told_beat), (_, piece, beat) in zip(
            best_path(routine, played), played.truth, strict=True
        ):
            near = told >= 0 and abs(starts[told] + told_beat - starts[piece] - beat) <= 1.0
            looks["bound piece"] += told == piece
            looks["bound beat"] += near
    return score


def _sure(looks: Counter[str], confidence: float, right: bool) -> None:
    looks["sure"] += confidence >= SURE
    looks["sure right"] += confidence >= SURE and right
    for low, high in BINS:
        if low <= confidence < high:
            looks[f"n {low}"] += 1
            looks[f"right {low}"] += right
            looks[f"told {low}"] += int(1e6 * confidence)


def _recovery(
    mark_s: float, right: list[tuple[float, bool]], played: Played, routine: Routine
) -> float:
    """Beats from a fault's end until right for a whole beat; infinite for never."""
    since_s = None
    for (now, both), (_, piece, _) in zip(right, played.truth, strict=True):
        if now < mark_s or not both:
            since_s = None
            continue
        since_s = now if since_s is None else since_s
        beat_s = 60.0 / routine.pieces[piece].tempo_bpm
        if now - since_s > beat_s:
            return max(since_s - mark_s, 0.0) / beat_s
    return math.inf
