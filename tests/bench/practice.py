"""How well practice hears: simulated takes over UDP, against the simulator's own record.

Run by hand:  python tests/bench/practice.py [--seeds 3] [--rate 200]

Every performance of the short routine goes out over a real UDP socket in real time, four at a
time, and comes in through the stage's receiver; the takes are found by a session and scored. Per
spread and bias of the hands: the errors as the simulator made them, as practice heard them, and as
the baseline did: the first message at which the record moves, at the last tempo told.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from liveaid.follow import Follower
from liveaid.practice.aim import aim_of
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.routine import Routine, load_routine
from liveaid.simulate import Hands, Network, Performance, perform
from liveaid.simulate.send import send
from liveaid.stage.address import Address
from liveaid.stage.osc import Heard
from liveaid.stage.osc_map import DEFAULT_MAP, table_for
from liveaid.stage.receiver import Receiver

ROUTINE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
LEAD_S = 3.0
SPREADS_MS = (5, 15, 30, 60)
BIASES_MS = (-25, 0, 25)
KINDS = ("start", "release", "return", "stroke", "stop")


@dataclass
class Tally:
    true_s: list[float] = field(default_factory=list)
    heard_s: list[float] = field(default_factory=list)
    plain_s: list[float] = field(default_factory=list)
    planned: int = 0
    missed: int = 0
    missed_found: int = 0
    false_missed: int = 0
    added: int = 0
    added_found: int = 0
    false_added: int = 0
    takes: int = 0
    unfound: int = 0
    late_s: list[float] = field(default_factory=list)
    """How much later than meant messages came, by this machine's doing."""


class Stand:
    """One receiver with a session behind it."""

    def __init__(self, routine: Routine) -> None:
        aim = aim_of(routine, "")
        assert aim is not None
        self.aim = aim
        self.session, self.follower = Session(aim, count_in_bars=0), Follower(routine)
        self.messages: list[tuple[float, str, float]] = []
        self.ended: list[Kept] = []
        self.told_s = 0.0
        self.receiver = Receiver(
            table_for(DEFAULT_MAP), hear=self.hear, settled=lambda heard, more: self.settled()
        )
        self.receiver.open(Address("127.0.0.1", 0))

    def hear(self, heard: Heard) -> None:
        self.session.hear_sent(heard)
        if heard.what == "position":
            self.messages.append((heard.now_s, heard.side, heard.value))
            self.follower.hear(heard.side, position=heard.value, now=heard.now_s)

    def settled(self) -> None:
        now = time.monotonic()
        if now - self.told_s > 0.03:
            self.look(now)

    def look(self, now: float) -> None:
        self.told_s = now
        found = self.session.tell(self.follower.prompt(now=now), now=now)
        self.ended += [one for one in found if isinstance(one, Kept)]


async def play(performance: Performance, begin_s: float):
    """Receive one performance, sent by a process of its own so that neither holds the other up."""
    stand = Stand(performance.routine)
    port = stand.receiver.address.port
    sending = multiprocessing.Process(target=send_all, args=(performance, port, begin_s))
    sending.start()
    until_s = begin_s + performance.duration_s + 4.0
    while time.monotonic() < until_s:
        await asyncio.sleep(0.1)
        stand.look(time.monotonic())
    sending.join()
    stand.receiver.close()
    return performance, stand, begin_s


def send_all(performance: Performance, port: int, begin_s: float) -> None:
    asyncio.run(send(performance, "127.0.0.1", port, also=(), begin_s=begin_s))


def tally(
    into: Tally, performance: Performance, stand: Stand, begin_s: float, delay_s: float
) -> None:
    into.takes += 1
    meant = performance.messages.now_s
    if len(meant) == len(stand.messages):
        into.late_s += [m[0] - begin_s - t for m, t in zip(stand.messages, meant, strict=True)]
    if not stand.ended:
        into.unfound += 1
        return
    ended = max(stand.ended, key=lambda one: len(one.visits))
    counted = begin_s + LEAD_S + delay_s
    kept = replace(ended, counted_in_s=counted)
    score = score_of(stand.aim, kept)
    acts = score.acts
    heard = {
        (act.kind, act.side, piece.index - stand.aim.first, round(act.beat, 3)): act
        for piece in score.pieces
        for act in piece.acts
        if act.outcome != "added"
    }
    plain = Plain(stand.messages)
    for event in performance.events:
        if event.added:
            into.added += 1
            near = [a for a in acts if a.outcome == "added" and a.side == event.side
                    and abs(a.heard_s - begin_s - event.actual_s) < 0.1]  # fmt: skip
            into.added_found += bool(near)
            continue
        into.planned += 1
        act = heard.get((event.kind, event.side, event.piece, round(event.beat, 3)))
        if event.missed:
            into.missed += 1
            into.missed_found += act is not None and act.outcome == "missed"
        elif act is None or act.outcome != "heard" or act.error_s is None:
            into.false_missed += 1
        else:
            into.true_s.append(event.error_s)
            into.heard_s.append(act.error_s)
            into.plain_s.append(
                plain.moved(event.side, begin_s + event.planned_s) - begin_s - event.planned_s
            )
    extra = sum(act.outcome == "added" for act in acts)
    into.false_added += max(0, extra - sum(event.added for event in performance.events))


class Plain:
    """The baseline: the message at which the record's way changes most, by its neighbours."""

    def __init__(self, messages) -> None:
        self.decks = {
            side: np.array([(t, x) for t, s, x in messages if s == side])
            for side in ("left", "right")
        }

    def moved(self, side: str, near_s: float) -> float:
        table = self.decks[side]
        t, x = table.T
        first, last = np.searchsorted(t, [near_s - 0.15, near_s + 0.15])
        if last - first < 4:
            return near_s
        speed = np.diff(x[first:last]) / np.maximum(np.diff(t[first:last]), 1e-4)
        return float(t[first + 1 + int(np.abs(np.diff(speed)).argmax())])


async def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seeds", type=int, default=3)
    options.add_argument("--rate", type=float, default=200.0)
    options.add_argument("--jitter-ms", type=float, default=1.0)
    options.add_argument("--spreads", type=int, nargs="+", default=SPREADS_MS)
    options.add_argument("--at-once", type=int, default=4)
    chosen = options.parse_args()
    routine = load_routine(ROUTINE)
    network = Network(rate_hz=chosen.rate, jitter_s=chosen.jitter_ms / 1000)
    delay_s = network.delay_s + network.jitter_s
    jobs = [
        (spread, bias, seed)
        for spread in chosen.spreads for bias in BIASES_MS for seed in range(chosen.seeds)
    ]  # fmt: skip
    tallies = {(spread, bias): Tally() for spread in chosen.spreads for bias in BIASES_MS}
    for at in range(0, len(jobs), chosen.at_once):
        batch = jobs[at : at + chosen.at_once]
        ready = [
            perform(routine, seed=1000 * seed + 10 * spread + bias, hands=hands_of(spread, bias),
                    network=network, lead_s=LEAD_S)
            for spread, bias, seed in batch
        ]  # fmt: skip
        begin_s = time.monotonic() + 3.0
        done = await asyncio.gather(*(play(performance, begin_s) for performance in ready))
        for (spread, bias, _), (performance, stand, begin_s) in zip(batch, done, strict=True):
            tally(tallies[spread, bias], performance, stand, begin_s, delay_s)
    show(tallies)


def hands_of(spread_ms: int, bias_ms: int) -> Hands:
    return Hands(
        timing_error_s=spread_ms / 1000, stroke_error_s=spread_ms / 1000,
        timing_bias_s=bias_ms / 1000, stroke_bias_s=bias_ms / 1000,
        miss_rate=0.05, added_rate=0.05,
    )  # fmt: skip


def show(tallies: dict[tuple[int, int], Tally]) -> None:
    print("hands set    |  bias: true  heard  plain |  spread: true  heard  plain |"
          "  acts  missed  false   added  false  takes lost | late ms: 99 %  most")  # fmt: skip
    worst = [0.0, 0.0]
    for (spread, bias), t in tallies.items():
        columns = [1000 * np.array(part) for part in (t.true_s, t.heard_s, t.plain_s)]
        means, spreads = [c.mean() for c in columns], [c.std(ddof=1) for c in columns]
        worst = [
            max(worst[0], abs(means[1] - means[0])),
            max(worst[1], abs(spreads[1] - spreads[0])),
        ]
        late_ms = 1000 * np.array(t.late_s or [0.0])
        print(
            f"{bias:+4d} +- {spread:2d} ms |      {means[0]:6.1f} {means[1]:6.1f} {means[2]:6.1f} |"
            f"        {spreads[0]:6.1f} {spreads[1]:6.1f} {spreads[2]:6.1f} | {t.planned:5d}"
            f"  {t.missed_found:2d}/{t.missed:<2d}  {t.false_missed:4d}"
            f"   {t.added_found:2d}/{t.added:<2d}  {t.false_added:4d}  {t.unfound}/{t.takes}"
            f"        | {np.quantile(late_ms, 0.99):8.1f} {late_ms.max():6.1f}"
        )
    print(f"largest difference to the truth: bias {worst[0]:.2f} ms, spread {worst[1]:.2f} ms")


if __name__ == "__main__":
    asyncio.run(main())
