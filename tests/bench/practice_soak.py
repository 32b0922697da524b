"""An hour of rehearsal in virtual time: the file's size, memory, and what an hour costs.

Run by hand:  python tests/bench/practice_soak.py [--minutes 60] [--rate 200]

One set piece is looped on a simulated performer, through follower, session, scoring and store, as
fast as the machine goes. Memory is the process's own resident size; it is read after each tenth.
The baseline beside the file's size is the same trace as plain JSON lines.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from liveaid.follow import Follower
from liveaid.practice.aim import aim_of
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.routine import load_routine
from liveaid.simulate import Hands, Network, perform

ROUTINE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
PIECES = ("Pestle", "Mortar twins")
GAP_S = 3.0


def resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return float("nan")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, default=60.0)
    options.add_argument("--rate", type=float, default=200.0)
    chosen = options.parse_args()
    routine = load_routine(ROUTINE)
    network = Network(rate_hz=chosen.rate)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "takes.sqlite"
        store = TakeStore(file)
        began, now, seed, takes, plain, kept_most, told = time.perf_counter(), 0.0, 0, 0, 0, 0, 0.0
        waits: list[float] = []
        print("minutes  takes  file MB  memory MB  messages held")
        while now < 60 * chosen.minutes:
            aim = aim_of(routine, PIECES[seed % 2])
            session, follower = Session(aim, count_in_bars=0), Follower(aim.routine)
            until = now + 60 * chosen.minutes / 10
            last = float("-inf")
            while now < until:
                played = perform(aim.routine, seed=seed, hands=Hands(), network=network)
                for message in played.messages:
                    at = now + message.now_s
                    session.hear(message.side, position_s=message.position_s, now=at)
                    follower.hear(message.side, position=message.position_s, now=at)
                    plain += len(json.dumps([at, message.side, message.position_s]))
                    kept_most = max(kept_most, session.finder.held)
                    if at - last < 0.02:
                        continue
                    last = at
                    for ended in session.tell(follower.prompt(now=at), now=at):
                        if isinstance(ended, Kept):
                            waits.append(at - ended.start_s - ended.duration_s)
                            kept = replace(ended, at=at)
                            score = score_of(aim, kept)
                            number = store.keep(kept).result()
                            store.score(number, score).result()
                            session.scored(ended, score)
                            takes += 1
                now += played.duration_s + GAP_S
                seed += 1
            size = sum(p.stat().st_size for p in Path(folder).iterdir()) / 1e6
            told = resident_mb()
            print(f"{now / 60:7.1f}  {takes:5d}  {size:7.2f}  {told:9.1f}  {kept_most:8d}")
        store.close()
        with TakeReader(file) as reader:
            print(f"{len(reader.takes())} takes kept, {len(reader.unscored())} unscored")
        print(f"file {file.stat().st_size / 1e6:.2f} MB; as plain JSON lines {plain / 1e6:.1f} MB")
        print(f"a take ended at most {max(waits):.2f} s after its last beat")
        print(f"an hour of rehearsal costs {time.perf_counter() - began:.0f} s of one core")


if __name__ == "__main__":
    main()
