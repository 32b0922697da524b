"""How senders are judged: wired wrong, and well but badly; beside the same performances sent well.

    python tests/bench/senders.py --seeds 2 --jobs 2
    python tests/bench/senders.py --well --seeds 4

A row a way of sending. `following`: share of the time; `off`: share in which it is followed while
the place told is off by more than a beat; `hint`: performances with the right hint within 3 s of
the first beat, and within 30; `false`: hints that are not the right one, an hour. Performances by
the hands of other_hands.py and by the simulator; the first row is the same ones sent well.

What no judge can know: positions 2 % too fast, where no pitch is told, are those of a performer who
set both records 2 % of their cues beside them and pitched up by 2 %. Both are within what hands do
until a record stands at a cue far from another's: by how many kinds' first two cues that is so is
printed below the row (three standard deviations of a hand at its cue, for each of two records), the
most that 3 s can tell. Where the sender tells its fader, speed against it tells: the next row.
"""

from __future__ import annotations

import argparse
import math
import random
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from pathlib import Path

import numpy as np
from other_hands import FAULTS
from other_hands import perform as by_other_hands
from other_hands import routines as other_routines

from liveaid.follow import Follower
from liveaid.follow.plan import plan_of
from liveaid.follow.senders import SENDERS_AT_CUE_S
from liveaid.routine import Routine, Side, load_routine
from liveaid.simulate import perform

ROUTINES = Path(__file__).resolve().parent.parent / "routines"
EVERY_S = 0.1
Told = tuple[float, Side, float]


@dataclass(frozen=True)
class Sent:
    """One performance as it is sent, with (time, set piece, beat) where it was."""

    routine: Routine
    messages: list[Told]
    truth: list[tuple[float, int, float]]


@cache
def performance(kind: str, fault: str, seed: int) -> Sent:
    """By other hands, or by the simulator for the routines in tests/routines."""
    if kind in other_routines():
        routine = other_routines()[kind]
        played = by_other_hands(routine, fault, seed)
        return Sent(routine, played.messages, played.truth[::2])
    routine = load_routine(ROUTINES / f"{kind}.yaml")
    simulated = perform(routine, seed=seed, lead_s=3.0)
    times = np.arange(0.0, simulated.duration_s, EVERY_S)
    pieces, beats = simulated.truth.places(times)
    rows = zip(times.tolist(), pieces.tolist(), beats.tolist(), strict=True)
    messages = [(m.now_s, m.side, m.position_s) for m in simulated.messages]
    return Sent(routine, messages, [row for row in rows if row[1] >= 0])


def _other(side: Side) -> Side:
    return "left" if side == "right" else "right"


Spoil = Callable[[Told, float], Iterator[Told] | list[Told]]
WRONG: dict[str, tuple[Spoil, str]] = {
    "turns": (lambda m, turn_s: [(m[0], m[1], m[2] / turn_s)], "turns"),
    "milliseconds": (lambda m, _: [(m[0], m[1], 1000.0 * m[2])], "milliseconds"),
    "samples": (lambda m, _: [(m[0], m[1], 48000.0 * m[2])], "samples"),
    "whole seconds": (lambda m, _: [(m[0], m[1], float(math.floor(m[2])))], "steps of 1 s"),
    "swapped": (lambda m, _: [(m[0], _other(m[1]), m[2])], "swapped"),
    "2 % too fast": (lambda m, _: [(m[0], m[1], 1.02 * m[2])], "% off the map"),
    "2 %, pitch told": (lambda m, _: [(m[0], m[1], 1.02 * m[2])], "% off the map"),
    "reversed": (lambda m, _: [(m[0], m[1], 250.0 - m[2])], "backwards"),
    "second sender": (lambda m, _: [m, (m[0], m[1], 77.7)], "two senders"),
}
"""What is sent of each message, and what the right hint says."""


def thinned(messages: list[Told], rate_hz: float) -> list[Told]:
    """At most so many messages a second and deck."""
    last, kept = {"left": -1.0, "right": -1.0}, []
    for message in messages:
        if message[0] - last[message[1]] >= 0.95 / rate_hz:
            last[message[1]] = message[0]
            kept.append(message)
    return kept


def doubled(messages: list[Told], rate_hz: float) -> list[Told]:
    """Each deck's position between two messages too, so many a second."""
    told: list[Told] = []
    for side in ("left", "right"):
        times = np.array([m[0] for m in messages if m[1] == side])
        places = np.array([m[2] for m in messages if m[1] == side])
        every = np.arange(times[0], times[-1], 1.0 / rate_hz)
        between = np.interp(every, times, places).tolist()
        told += [(t, side, x) for t, x in zip(every.tolist(), between, strict=True)]
    return sorted(told)


def jittered(messages: list[Told], late_s: float) -> list[Told]:
    """Each late by an exponential time of its own."""
    rng = random.Random(1)
    return sorted((t + rng.expovariate(1.0 / late_s), side, x) for t, side, x in messages)


def bursts(messages: list[Told]) -> list[Told]:
    """Held up and let through every 120 ms."""
    return [(math.ceil(t / 0.12) * 0.12, side, x) for t, side, x in messages]


def dropouts(messages: list[Told]) -> list[Told]:
    """One deck after the other silent for .8 s in every 7."""
    return [m for m in messages if not (m[0] + 3.5 * (m[1] == "left")) % 7.0 < 0.8]


def faders(messages: list[Told]) -> list[Told]:
    """(time, deck, per cent): where each pitch fader stands, told from when the record last turned
    at another: the middle speed of every second or more in which it turns by itself."""
    told: list[Told] = []
    for side in ("left", "right"):
        deck = np.array([(t, x) for t, s, x in messages if s == side])
        every = np.arange(deck[0, 0], deck[-1, 0], 0.1)
        speeds = np.diff(np.interp(every, *deck.T)) / 0.1
        own, since = np.abs(speeds - 1.0) < 0.08, every[0]
        edges = np.flatnonzero(np.diff(own, prepend=False, append=False))
        for a, b in edges.reshape(-1, 2).tolist():
            if b - a > 10:
                told.append((float(since), side, 100.0 * float(np.median(speeds[a:b]) - 1.0)))
                since = every[b]
    return sorted(told)


WELL: dict[str, Callable[[list[Told]], list[Told]]] = {
    "as it is": lambda ms: ms,
    "pitch told": lambda ms: ms,
    "10 Hz": lambda ms: thinned(ms, 10.0),
    "25 Hz": lambda ms: thinned(ms, 25.0),
    "500 Hz": lambda ms: doubled(ms, 500.0),
    "late by 30 ms": lambda ms: jittered(ms, 0.03),
    "steps of 1/75 s": lambda ms: [(t, s, math.floor(x * 75.0) / 75.0) for t, s, x in ms],
    "a fifth lost": lambda ms: sorted(random.Random(2).sample(ms, len(ms) * 4 // 5)),
    "bursts": bursts,
    "drop-outs": dropouts,
    "0.15 s ahead": lambda ms: [(t, s, x + 0.15) for t, s, x in ms],
}


def judged(task: tuple[str, str, int, str]) -> dict[str, float]:
    """What came of one performance sent one way."""
    kind, fault, seed, way = task
    sent = performance(kind, fault, seed)
    spoil, word = WRONG.get(way, (None, ""))
    turn_s = sent.routine.turntable.turn_s
    if spoil is None:
        messages = WELL[way](sent.messages)
    else:
        messages = [told for message in sent.messages for told in spoil(message, turn_s)]
    starts = [0, *accumulate(sent.routine.beats(i) for i in range(len(sent.routine.pieces)))]
    follower, at, hinted = Follower(sent.routine), 0, math.inf
    pitches = deque(faders(sent.messages) if way.endswith("pitch told") else ())
    row = dict.fromkeys(("looks", "following", "off", "right", "false"), 0.0)
    said: set[str] = set()
    for now, piece, beat in sent.truth:
        while at < len(messages) and messages[at][0] <= now:
            when, side, position = messages[at]
            while pitches and pitches[0][0] <= when:
                follower.hear_pitch(pitches[0][1], percent=pitches.popleft()[2], now=when)
            follower.hear(side, position=position, now=when)
            at += 1
        prompt = follower.prompt(now=now)
        follows = prompt.state == "following"
        place = starts[prompt.piece.index] + (prompt.beat_position or 0.0) if prompt.piece else -9.0
        near = abs(place - starts[piece] - beat) <= 1.0
        row["looks"] += 1
        row["following"] += follows
        row["off"] += follows and not near
        row["right"] += near
        if word and any(word in hint for hint in prompt.hints):
            hinted = min(hinted, now - sent.truth[0][0])
        new = {hint for hint in prompt.hints if not word or word not in hint} - said
        said |= new
        row["false"] += len(new)
    return {**row, "soon": hinted <= 3.0, "later": hinted <= 30.0}


def line(way: str, rows: list[dict[str, float]]) -> str:
    """One row of the table."""
    total = {name: sum(row[name] for row in rows) for name in rows[0]}
    share = {name: 100.0 * total[name] / total["looks"] for name in ("following", "off", "right")}
    hours = total["looks"] * EVERY_S / 3600.0
    hints = (
        f"{100.0 * total['soon'] / len(rows):5.1f} {100.0 * total['later'] / len(rows):6.1f}"
        if way in WRONG
        else "    -      -"
    )
    return (
        f"{way:16} {len(rows):4} {share['following']:9.1f} {share['off']:6.1f}"
        f" {share['right']:6.1f}  {hints}  {total['false'] / hours:6.1f}"
    )


def known_by_first_cues(routine: Routine, part: float) -> bool:
    """Whether records at their first cues tell a scale that is off by this part from an offset."""
    cues = [
        next(
            s.parts[side].cue_s for s in plan_of(routine).sections if s.parts[side].hand != "rests"
        )
        for side in ("left", "right")
    ]
    return part * abs(cues[0] - cues[1]) > 3.0 * math.sqrt(2.0) * SENDERS_AT_CUE_S


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--seed", type=int, default=300, help="the first")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--well", action="store_true", help="only those sent well, faults too")
    parser.add_argument("--way", help="only this one")
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.seeds)
    kinds = [*other_routines(), *sorted(file.stem for file in ROUTINES.glob("*.yaml"))]
    ways = ["as it is", *([] if options.well else WRONG), *list(WELL)[1:]]
    print("                    n following    off  right  hint 3 s   30 s   false/h")
    with ProcessPoolExecutor(options.jobs) as pool:
        for way in [options.way] if options.way else ways:
            tasks = [(kind, "clean", seed, way) for kind in kinds for seed in seeds]
            if options.well:
                own = list(other_routines())
                tasks += [(k, fault, s, way) for k in own for fault in FAULTS[1:] for s in seeds]
            print(line(way, list(pool.map(judged, tasks))), flush=True)
            if way == "2 % too fast":
                known = sum(known_by_first_cues(performance(*t[:3]).routine, 0.02) for t in tasks)
                print(f"    the first cues tell it in {100.0 * known / len(tasks):.1f}")


if __name__ == "__main__":
    main()
