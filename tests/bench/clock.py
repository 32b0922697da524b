"""MIDI clock over JACK's dummy driver: tempo and jitter, beside a bare timer's in the same run.

Run by hand:  python tests/bench/clock.py [--seconds 40] [--bpm 120]

`perform` hears a record turning at a steady pitch and sends clock to one port; a bare process
sends clock by sleeping until each moment is due to another. A third process receives both. The
tempo is judged against the record's, the jitter is the intervals' spread.

Bars: 24 a beat, mean tempo within 0.05 %, jitter told beside the bare timer's.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from itertools import pairwise
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

SERVER = "liveaid-tests"
RATE = 100
ROUTINE = """
title: Clock
decks: {{left: {{file: left.wav}}, right: {{file: right.wav}}}}
pieces:
  - {{name: Long blend, bars: 200, tempo: {bpm}, count: left,
     left: {{hand: runs, at: 0.0}}, right: {{hand: rests}}}}
"""
BOX = """
import os, sys, time, rtmidi
ports = []
for name in ("stage", "bare"):
    port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f"box-{name}")
    port.ignore_types(timing=False)
    port.set_callback(
        lambda e, n: os.write(1, f"{n} {time.monotonic()} {bytes(e[0]).hex()}\\n".encode()), name
    )
    port.open_virtual_port(name)
    ports.append(port)
print("ready 0 0", flush=True)
sys.stdin.read()
"""
BARE = """
import sys, time, rtmidi
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="bare")
out.open_port(out.get_ports().index("box-bare:bare"), "out")
every_s, until_s = float(sys.argv[1]), time.monotonic() + float(sys.argv[2])
due_s = time.monotonic()
while due_s < until_s:
    time.sleep(max(0.0, due_s - time.monotonic()))
    out.send_message([0xF8])
    due_s += every_s
"""


def position(side: str, seconds: float) -> bytes:
    builder = OscMessageBuilder(f"/deck/{side}/position")
    builder.add_arg(seconds, "f")
    return builder.build().dgram


def free_port() -> int:
    with socket.socket(type=socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def clock_sent(http: int) -> int:
    """Messages that the driver took, by the stage's own count."""
    with urllib.request.urlopen(f"http://127.0.0.1:{http}/status", timeout=10) as answer:
        return int(json.load(answer)["clock"]["sent"])


def numbered(times: list[float], every_s: float) -> list[int]:
    """Which clock each one was: the dummy driver of a busy machine loses some, the bare timer's as
    well, and hands others over late. Each is the nearest to a place that follows slowly."""
    place_s, number, found = times[0], 0, []
    for at in times:
        steps = round((at - place_s) / every_s)
        number += steps
        place_s += steps * every_s
        place_s += 0.02 * (at - place_s)
        found.append(number)
    return found


def row(name: str, times: list[float], bpm: float) -> str:
    gaps = [1000 * (b - a) for a, b in pairwise(times)]
    numbers = numbered(times, 60 / bpm / 24)
    lost = numbers[-1] + 1 - len(times)
    told = 60 / 24 / statistics.linear_regression(numbers, times).slope
    ordered = sorted(abs(gap - statistics.fmean(gaps)) for gap in gaps)
    return (
        f"{name:<20}{len(times):>7}{lost:>6}{told:>10.3f}{100 * (told / bpm - 1):>9.3f}"
        f"{statistics.pstdev(gaps):>9.2f}{ordered[int(0.95 * len(ordered))]:>9.2f}"
        f"{ordered[-1]:>9.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=40.0)
    parser.add_argument("--bpm", type=float, default=120.0)
    parser.add_argument("--from-s", type=float, default=0.0, help="second the record begins at")
    parser.add_argument(
        "--synchronous", action="store_true", help="JACK waits for its clients: none loses a period"
    )
    chosen = parser.parse_args()
    jackd = shutil.which("jackd")
    if jackd is None:
        sys.exit("needs jackd (Debian package jackd2)")
    os.environ |= {"JACK_DEFAULT_SERVER": SERVER, "JACK_NO_START_SERVER": "1"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started: list[subprocess.Popen] = []
    with tempfile.TemporaryDirectory() as folder:
        try:
            waits = ["-S"] if chosen.synchronous else []
            dummy = [jackd, "-r", *waits, "-n", SERVER, "-d", "dummy", "-r", "48000", "-p", "64"]
            started.append(subprocess.Popen(dummy, **quiet))
            time.sleep(2)
            box = subprocess.Popen(
                [sys.executable, "-c", BOX],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
            started.append(box)
            heard: list[tuple[str, float, str]] = []

            def read() -> None:
                for line in box.stdout:
                    name, at, data = line.split()
                    heard.append((name, float(at), data))

            threading.Thread(target=read, daemon=True).start()
            while not heard:
                time.sleep(0.1)
            osc = free_port()
            (Path(folder) / "routine.yaml").write_text(ROUTINE.format(bpm=chosen.bpm))
            http = free_port()
            started.append(subprocess.Popen(
                [sys.executable, "-c", "from liveaid.cli import main; main()", "perform", folder,
                 "--osc", f"127.0.0.1:{osc}", "--http", f"127.0.0.1:{http}",
                 "--clock", "box-stage:stage", "--midi-api", "jack", "--log", "no"], **quiet,
            ))  # fmt: skip
            for _ in range(600):  # until it serves, however busy this machine
                with contextlib.suppress(OSError):
                    urllib.request.urlopen(f"http://127.0.0.1:{http}/health", timeout=5).close()
                    break
                time.sleep(0.1)
            time.sleep(2)
            every_s = 60 / chosen.bpm / 24
            started.append(subprocess.Popen(
                [sys.executable, "-c", BARE, str(every_s), str(chosen.seconds)], **quiet
            ))  # fmt: skip
            out, start_s = socket.socket(type=socket.SOCK_DGRAM), time.monotonic()
            while (now := time.monotonic() - start_s) < chosen.seconds:
                for side, at in (("left", chosen.from_s + now), ("right", 5.0)):
                    out.sendto(position(side, at), ("127.0.0.1", osc))
                time.sleep(1 / RATE)
            asked_s, sent = time.monotonic(), clock_sent(http)
            time.sleep(2)
            received = sum(who == "stage" and at <= asked_s for who, at, _ in heard)
        finally:
            for process in reversed(started):
                process.terminate()
                process.wait(15)
    print(
        f"{'':<20}{'clocks':>7}{'lost':>6}{'BPM':>10}{'off %':>9}{'sd ms':>9}{'95 % ms':>9}"
        f"{'most ms':>9}"
    )
    begun_s = start_s + 5.0  # the follower has found its place
    for name, title in (("stage", "perform --clock"), ("bare", "bare timer")):
        times = [
            at for who, at, data in heard
            if who == name and data == "f8" and begun_s < at < start_s + chosen.seconds
        ]  # fmt: skip
        print(row(title, times, chosen.bpm))
    others = [data for who, _, data in heard if who == "stage" and data != "f8"]
    print(
        f"messages the stage handed to JACK: {sent}; that the second client received: {received} "
        f"({100 * (received / sent - 1):+.2f} %): what is missing the driver lost"
    )
    print(f"other messages of the stage: {others[:8]} ({len(others)})")
    for (_, _, data), (_, at, then) in pairwise(one for one in heard if one[0] == "stage"):
        if data.startswith("f2") and then == "fb":
            low, high = bytes.fromhex(data)[1:]
            told, was = (low + 128 * high) / 4, (chosen.from_s + at - start_s) * chosen.bpm / 60
            print(f"song position {data} is beat {told:.2f}; the record was at {was:.2f} then")


if __name__ == "__main__":
    main()
