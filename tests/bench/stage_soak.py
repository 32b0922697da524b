"""A day of performances in virtual time under every fault: memory flat, no stale prompt.

Run by hand:  python tests/bench/stage_soak.py [--hours 24] [--rate 50]

Performance after performance, each with other faults, runs through the stage's own parts without
sockets: datagrams read by the sender's map, the follower, lamps and their gate, OSC out, MIDI
clock. Among them, junk and floods through the backlog. After each hour: resident memory, objects
that Python keeps, and the real seconds that hour took, the first hour being the baseline. A prompt
is stale when it says `following` with no position heard for two seconds.
"""

from __future__ import annotations

import argparse
import gc
import random
import time
from pathlib import Path

from liveaid.follow import Follower
from liveaid.routine import load_routine
from liveaid.routine.config_file import config_path, load_config
from liveaid.simulate import Network, perform
from liveaid.simulate.faults import Fault, FaultError
from liveaid.simulate.send import datagrams
from liveaid.stage.backlog import Backlog
from liveaid.stage.beat_clock import BeatClock
from liveaid.stage.follows import tell
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.lamps import Gate, lamps_for, living
from liveaid.stage.osc import read_positions
from liveaid.stage.osc_map import DEFAULT_MAP, table_for
from liveaid.stage.osc_packet import count_messages
from liveaid.stage.prompt_osc import prompt_bundle
from liveaid.stage.stage_notes import Notes, Vitals

ROUTINE = Path(__file__).resolve().parent.parent / "routines" / "three.yaml"
KINDS = (
    "skip", "repeat", "early", "late", "needle-jump", "wrong-cue", "drop-out", "restart",
    "platter-stop",
)  # fmt: skip
SHOWN_S = 0.25
STALE_S = 2.0


def resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return float("nan")


def junk(chance: random.Random) -> bytes:
    """A stranger's datagram."""
    return bytes(chance.randrange(256) for _ in range(chance.randrange(60)))


class Parts:
    """The stage's parts, as the service wires them."""

    def __init__(self) -> None:
        self.routine = load_routine(ROUTINE)
        self.table = table_for(DEFAULT_MAP)
        self.layout = load_config(config_path("grid-8x8", "lamps"), LampLayout)
        self.follower = Follower(self.routine)
        self.gate, self.clock, self.notes = Gate(), BeatClock(), Notes()
        self.backlog = Backlog()
        self.shown_s = self.looked_s = self.heard_s = float("-inf")
        self.counts = dict.fromkeys(("heard", "refused", "dropped", "lamps", "clocks", "stale"), 0)

    def take(self, data: bytes, now: float, sender: str) -> None:
        self.counts["dropped"] += self.backlog.put(data, now, sender, count_messages(data))

    def turn(self, now: float) -> None:
        while (datagram := self.backlog.take()) is not None:
            reading = read_positions(datagram.data or b"", self.table, datagram.arrived_s)
            self.counts["refused"] += len(reading.refused)
            for heard in reading.heard:
                self.heard_s = now
                self.counts["heard"] += 1
                tell(self.follower, heard)
        if now - self.shown_s >= SHOWN_S:
            self.show(now)

    def show(self, now: float) -> None:
        self.shown_s = now
        prompt = self.follower.prompt(now=now)
        self.counts["stale"] += prompt.state == "following" and now - self.heard_s > STALE_S
        levels = living(lamps_for(prompt, self.layout), now)
        self.counts["lamps"] += len(self.gate.ask(levels, now)) + len(self.gate.renew(2, now))
        if now - self.looked_s >= 1.0:
            prompt_bundle(prompt)
        runs = prompt.state in ("following", "silent") and prompt.beat_position is not None
        rate = (prompt.tempo or 0.0) / 60
        self.clock.told(prompt.beat_position if runs else None, rate, now)
        while (due_s := self.clock.due_s()) is not None and due_s <= now:
            self.counts["clocks"] += len(self.clock.clock(now))
        if now - self.looked_s >= 1.0:
            self.looked_s = now
            counts = self.counts
            self.notes.look(
                Vitals(
                    heard=counts["heard"], refused=counts["refused"], over_budget=counts["dropped"]
                ),
                now,
            )
            self.notes.sentences()


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--hours", type=float, default=24.0)
    options.add_argument("--rate", type=float, default=50.0)
    chosen = options.parse_args()
    parts, chance, now, seed = Parts(), random.Random(1), 0.0, 0
    faults = [Fault(kind=kind) for kind in KINDS]
    hour, began_s = 1, time.perf_counter()
    print(f"{'hour':>4}{'MB':>9}{'objects':>10}{'real s':>8}  counts")
    while now < 3600 * chosen.hours:
        seed += 1
        chosen_faults = chance.sample(faults, k=min(len(faults), chance.randrange(3)))
        try:
            played = perform(
                parts.routine, seed=seed, faults=chosen_faults, network=Network(rate_hz=chosen.rate)
            )
        except FaultError:  # two faults that cannot happen together
            played = perform(parts.routine, seed=seed, network=Network(rate_hz=chosen.rate))
        begin_s = now
        for at_s, data in datagrams(played):
            now = begin_s + at_s
            parts.take(data, now, "decks")
            if chance.random() < 0.02:
                parts.take(junk(chance), now, f"stranger {chance.randrange(2000)}")
            parts.turn(now)
        for _ in range(3000):  # a flood in the pause between two performances
            parts.take(b"/deck/middle/position\0\0\0,f\0\0AAAA", now, "flood")
        for _ in range(100):  # silence
            now += 0.1
            parts.turn(now)
        if now >= 3600 * hour:
            gc.collect()
            real_s = time.perf_counter() - began_s
            print(
                f"{hour:>4}{resident_mb():>9.1f}{len(gc.get_objects()):>10}{real_s:>8.0f}"
                f"  {parts.counts}",
                flush=True,
            )
            hour, began_s = int(now // 3600) + 1, time.perf_counter()


if __name__ == "__main__":
    main()
