"""Minutes of performance in real time, every fault at once: memory, handles, stale prompts, log.

Run by hand:  python tests/bench/stage_faults.py [--minutes 10]

`perform` runs in a process of its own; performances with other faults each are sent to it over a
network that loses, doubles and delays. All the while: junk, floods of bundles and of connections,
mute and malformed pages, a receiver of OSC that is not there, a controller that is not there, a map
that is edited and broken, a process that is stopped for a second and a half. Each minute: resident
memory, open handles, threads, the worst the page took to answer. A prompt is stale when the page
says `following` with nothing sent for two seconds. At the end: what the log holds of each fault.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from pathlib import Path

from flood import UPGRADE, bundle, free_port, position
from stage_soak import KINDS, ROUTINE, junk

from liveaid.routine import load_routine
from liveaid.simulate import Network, perform
from liveaid.simulate.faults import Fault, FaultError
from liveaid.simulate.send import Sender

STALE_S = 2.0
SILENT_S = 6.0
"""Between two performances nothing is sent for so long."""
ROUGH = Network(rate_hz=100, loss=0.05, duplicates=0.05, reorder=0.05, jitter_s=0.005)
SAYS = {
    "junk and strangers": "not understood", "bundles": "left out", "pages": "page after page",
    "a stopped process": "held up", "the controller": "night-grid", "the map": "routine.yaml",
    "positions that stop": "silent",
}  # fmt: skip


class Faults:
    """What is laid on top of the performance, each in its own thread until `ended`."""

    def __init__(self, osc: int, http: int, map_file: Path, pid: int) -> None:
        self.osc, self.http, self.map_file, self.pid = osc, http, map_file, pid
        self.ended = threading.Event()
        self.done: Counter[str] = Counter()
        self.chance = random.Random(5)
        jobs = ((self.junk, 0.05), (self.flood, 20), (self.crowd, 25), (self.edit, 30),
                (self.stop, 40))  # fmt: skip
        for job, every_s in jobs:
            threading.Thread(target=self._over_and_over, args=(job, every_s), daemon=True).start()

    def _over_and_over(self, job, every_s: float) -> None:
        while not self.ended.wait(every_s):
            self.done[job.__name__] += 1
            try:
                job()
            except OSError:
                self.done[f"{job.__name__} failed"] += 1

    def junk(self) -> None:
        with socket.socket(type=socket.SOCK_DGRAM) as out:
            out.sendto(junk(self.chance), ("127.0.0.1", self.osc))
            out.sendto(position("/elsewhere"), ("127.0.0.1", self.osc))

    def flood(self) -> None:
        """400 bundles of 256 a second for two seconds."""
        many = bundle()
        with socket.socket(type=socket.SOCK_DGRAM) as out:
            for _ in range(400):
                for _ in range(2):
                    out.sendto(many, ("127.0.0.1", self.osc))
                time.sleep(0.005)

    def crowd(self) -> None:
        """Mute connections, half requests, malformed ones, and pages that give no sign of life."""
        said = (b"", b"GET / HT", b"\0\xff\r\n\r\n", UPGRADE)
        opened = []
        for number in range(600):
            one = socket.create_connection(("127.0.0.1", self.http), 2)
            one.sendall(said[number % 4])
            opened.append(one)
        time.sleep(2)
        for one in opened:
            one.close()

    def edit(self) -> None:
        """Broken, and put right again."""
        text = self.map_file.read_text()
        self.map_file.write_text(text + "pieces: [\n")
        time.sleep(4)
        self.map_file.write_text(text)

    def stop(self) -> None:
        os.kill(self.pid, signal.SIGSTOP)
        time.sleep(1.5)
        os.kill(self.pid, signal.SIGCONT)


def get(http: int, path: str) -> tuple[dict, float]:
    asked_s = time.monotonic()
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{http}/{path}", timeout=10) as answer:
            return json.load(answer), time.monotonic() - asked_s
    except OSError:
        return {}, time.monotonic() - asked_s


def held(pid: int) -> tuple[float, int, int]:
    """Resident megabytes, handles, threads."""
    found = dict(
        line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines()
    )
    return (
        int(found["VmRSS"].split()[0]) / 1024,
        len(os.listdir(f"/proc/{pid}/fd")),
        int(found["Threads"]),
    )


class Performer:
    """Performance after performance, each with other faults, silence between them."""

    def __init__(self, osc: int) -> None:
        self.osc, self.sent_s, self.ended = osc, time.monotonic(), threading.Event()
        self.routine, self.chance, self.played = load_routine(ROUTINE), random.Random(1), 0
        threading.Thread(target=self._play, daemon=True).start()

    def _play(self) -> None:
        while not self.ended.is_set():
            self.played += 1
            faults = [Fault(kind=kind) for kind in self.chance.sample(KINDS, 2)]
            try:
                one = perform(self.routine, seed=self.played, faults=faults, network=ROUGH)
            except FaultError:  # two faults that cannot happen together
                one = perform(self.routine, seed=self.played, network=ROUGH)
            until_s = time.monotonic() + self.chance.uniform(20, 60)
            with Sender(one, "127.0.0.1", self.osc, begin_s=time.monotonic()) as sender:
                while not self.ended.is_set() and time.monotonic() < until_s:
                    wait_s = sender.send_due(time.monotonic())
                    if wait_s is None:
                        break
                    if wait_s < 0.5:
                        self.sent_s = time.monotonic() + wait_s
                    time.sleep(min(wait_s, 0.05))
            self.ended.wait(SILENT_S)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, default=10.0)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        map_file, log = Path(folder) / "routine.yaml", Path(folder) / "stage.log"
        shutil.copy(ROUTINE, map_file)
        osc, http = free_port(), free_port()
        process = subprocess.Popen(
            [sys.executable, "-c", "from liveaid.cli import main; main()", "perform", folder,
             "--osc", f"127.0.0.1:{osc}", "--http", f"127.0.0.1:{http}", "--log", str(log),
             "--midi", "night-grid", "--send-osc", f"127.0.0.1:{free_port()}"],
            stdout=subprocess.DEVNULL, stderr=(Path(folder) / "stderr").open("w"),
        )  # fmt: skip
        while not get(http, "health")[0]:
            time.sleep(0.2)
        performer = Performer(osc)
        time.sleep(5)
        faults = Faults(osc, http, map_file, process.pid)
        stale, states, worst_s = 0, Counter(), 0.0
        begun_s = minute_s = time.monotonic()
        print(
            f"{'min':>4}{'MB':>8}{'handles':>9}{'threads':>9}{'worst ms':>10}  states", flush=True
        )
        while time.monotonic() - begun_s < 60 * chosen.minutes:
            silent_before_s = time.monotonic() - performer.sent_s
            status, took_s = get(http, "status")
            silent_s = time.monotonic() - performer.sent_s
            worst_s = max(worst_s, took_s)
            states[status.get("state")] += 1
            # Two seconds of silence, and not yet played on when it was answered.
            quiet = silent_before_s > STALE_S and silent_s >= silent_before_s
            stale += quiet and status.get("state") == "following"
            if time.monotonic() - minute_s >= 60:
                minute_s += 60
                mb, handles, threads = held(process.pid)
                print(
                    f"{(minute_s - begun_s) / 60:>4.0f}{mb:>8.1f}{handles:>9}{threads:>9}"
                    f"{1000 * worst_s:>10.0f}  {dict(states)}",
                    flush=True,
                )
                worst_s, states = 0.0, Counter()
            time.sleep(0.2)
        faults.ended.set()
        performer.ended.set()
        time.sleep(3)
        health, _ = get(http, "health")
        process.terminate()
        ended = process.wait(20)
        lines = [json.loads(line)["says"] for f in Path(folder).glob("stage.log*")
                 for line in f.read_text().splitlines()]  # fmt: skip
        size = sum(f.stat().st_size for f in Path(folder).glob("stage.log*"))
        print(f"played {performer.played}, faults {dict(faults.done)}, stale prompts {stale}")
        print(f"OSC {health.get('osc')}\npage {health.get('page')}\nerrors {health.get('errors')}")
        for name, says in SAYS.items():
            print(f"    in the log of {name}: {sum(says in line for line in lines)}")
        errors = (Path(folder) / "stderr").read_text()
        print(f"log {size / 1e3:.0f} kB in {len(lines)} lines; status {ended}; "
              f"tracebacks {errors.count('Traceback')}")  # fmt: skip


if __name__ == "__main__":
    main()
