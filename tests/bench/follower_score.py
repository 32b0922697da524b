"""One simulated performance, followed and scored; see follower.py for how."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import Path

import numpy as np
from follower_lookup import LookUp

from liveaid.follow import Follower
from liveaid.routine import SIDES, Routine, load_routine
from liveaid.simulate import Fault, Network, Performance, perform

EVERY_S = 0.05
RIGHT_BEATS = 1.0
SURE = 0.9

KINDS: dict[str, str | None] = {
    "clean": None,
    "skip": "skip",
    "early leave": "early",
    "needle jump": "needle-jump",
    "drop-out": "drop-out",
    "repeat": "repeat",
    "restart": "restart",
    "start in the middle": "middle",
    "late": "late",
    "wrong cue": "wrong-cue",
    "platter stop": "platter-stop",
}
"""As the table names them, and as the simulator does; the last three have no bar."""


@dataclass(frozen=True, slots=True)
class Task:
    """One performance to follow."""

    file: Path
    kind: str
    seed: int
    rate_hz: float | None = None
    jitter_s: float | None = None


@dataclass(slots=True)
class Score:
    """What one performance came to: counts of looks, seconds, and beats to recover."""

    task: Task
    looks: Counter[str] = field(default_factory=Counter)
    messages: int = 0
    hear_s: float = 0.0
    recovery_beats: float | None = None
    deck_runs: bool = False
    """Whether a deck runs where the performance was found again."""
    wrong: list[tuple[float, int, float, int, float, float]] = field(default_factory=list)
    """Time, true set piece and beat, told set piece, beat and confidence, for --wrong."""


def network_of(task: Task) -> Network:
    """A sender and a network of its own for each performance, from its seed."""
    rng = np.random.default_rng((task.seed, 7))
    rate, jitter = rng.choice([50.0, 100.0, 200.0]), rng.choice([0.001, 0.003, 0.008])
    return Network(
        rate_hz=float(rate) if task.rate_hz is None else task.rate_hz,
        jitter_s=float(jitter) if task.jitter_s is None else task.jitter_s,
        loss=float(rng.choice([0.0, 0.01])),
        duplicates=float(rng.choice([0.0, 0.01])),
        reorder=float(rng.choice([0.0, 0.01])),
    )


def followed(task: Task) -> Score:
    """The score of one performance."""
    routine = load_routine(task.file)
    kind = KINDS[task.kind]
    faults = () if kind is None else (Fault(kind=kind),)
    played = perform(routine, seed=task.seed, faults=faults, network=network_of(task))
    score = Score(task, messages=len(played.messages))
    starts = list(accumulate((routine.beats(i) for i in range(len(routine.pieces))), initial=0))
    right_since: float | None = None
    for now, truth, told, looked in _looks(routine, played, score):
        piece_right = told.piece is not None and told.piece.index == truth[0]
        place = starts[told.piece.index] + told.beat_position if told.piece else np.inf
        beat_right = abs(place - starts[truth[0]] - truth[1]) <= RIGHT_BEATS
        both = piece_right and beat_right
        for name, (index, beat) in zip(("plain", "memory"), looked, strict=True):
            off = starts[index] + beat - starts[truth[0]] - truth[1]
            score.looks[f"{name}_piece"] += index == truth[0]
            score.looks[f"{name}_beat"] += abs(off) <= RIGHT_BEATS
        score.looks.update(
            all=1,
            piece=piece_right,
            beat=beat_right,
            sure=told.confidence >= SURE,
            sure_right=told.confidence >= SURE and both,
            following=told.state == "following",
            following_right=told.state == "following" and both,
        )
        if not both:
            told_place = (told.piece.index, told.beat_position) if told.piece else (-1, 0.0)
            score.wrong.append((now, *truth, *told_place, told.confidence))
        right_since = None if not both else now if right_since is None else right_since
        _recover(score, routine, played, now, truth, right_since)
    return score


def _looks(routine: Routine, played: Performance, score: Score) -> Iterator[tuple]:
    """Every moment looked at inside the routine: time, truth, prompt, the look-up's answer."""
    follower = Follower(routine)
    lookups = [LookUp(routine, memory=memory) for memory in (False, True)]
    messages, at = list(played.messages), 0
    first = messages[0].now_s
    times = np.arange(first + EVERY_S, played.duration_s, EVERY_S)
    pieces, beats = played.truth.places(times)
    for now, piece, beat in zip(times.tolist(), pieces.tolist(), beats.tolist(), strict=True):
        begun = at
        while at < len(messages) and messages[at].now_s <= now:
            at += 1
        before = time.process_time()
        for message in messages[begun:at]:
            follower.hear(message.side, position=message.position_s, now=message.now_s)
        score.hear_s += time.process_time() - before
        for message in messages[begun:at]:
            for lookup in lookups:
                lookup.hear(message.side, position=message.position_s, now=message.now_s)
        looked = [lookup.place(now) for lookup in lookups]
        if piece >= 0:
            yield now, (piece, beat), follower.prompt(now=now), looked


def _recover(
    score: Score,
    routine: Routine,
    played: Performance,
    now: float,
    truth: tuple[int, float],
    right_since: float | None,
) -> None:
    """Note the beats from the fault's end until right, and right for a beat from there on."""
    if not played.faults or score.recovery_beats is not None or right_since is None:
        return
    since_s = played.faults[0].until_s
    beat_s = 60.0 / routine.pieces[truth[0]].tempo_bpm
    if now < since_s or now - max(right_since, since_s) < beat_s:
        return
    score.recovery_beats = max(right_since - since_s, 0.0) / beat_s
    score.deck_runs = any(routine.pieces[truth[0]].plan(side).hand == "runs" for side in SIDES)
