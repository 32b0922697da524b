"""A stranger's floods during a simulated performance: does the page answer, is the beat right?

Run by hand:  python tests/bench/flood.py [--seconds 10] [--only singles bundles connections ...]

`perform` runs in a process of its own, a simulated performer's positions come at 200 a second and
deck, and one flood after another is laid on top from further processes. Beside each: the same
figures in the quiet stretch before it, and what a bare loop that answers one line takes to do so at
the same moments, in the same run: it is not flooded, and shows what the machine has left. The place
is compared with where the performer really was at the moment of asking.

Bars: the page answers within 0.5 s, the place is within a beat, all is well 1 s after the flood,
the log stays below 1 MB, what was sent is accounted for within 5 %.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import socket
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.routine import load_routine
from liveaid.simulate import Performance, perform
from liveaid.simulate.send import Sender

ROUTINE = Path(__file__).resolve().parent.parent / "routines" / "three.yaml"
SINGLES_PER_S, BUNDLES_PER_S, IN_A_BUNDLE = 50_000, 400, 256
UPGRADE = (
    b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
)


def position(address: str) -> bytes:
    builder = OscMessageBuilder(address)
    builder.add_arg(12.5, "f")
    return builder.build().dgram


def bundle() -> bytes:
    one = position("/deck/middle/position")
    return b"#bundle\0" + bytes(8) + (struct.pack(">i", len(one)) + one) * IN_A_BUNDLE


def datagrams(port: int, seconds: float, data: bytes, per_s: int, sent) -> None:
    """In a process of its own: so many a second, in steps of 2 ms."""
    out = socket.socket(type=socket.SOCK_DGRAM)
    out.connect(("127.0.0.1", port))
    begun_s, count = time.monotonic(), 0
    while (passed_s := time.monotonic() - begun_s) < seconds:
        due = int(passed_s * per_s)
        while count < due:
            out.send(data)
            count += 1
        time.sleep(0.002)
    sent.value = count


def connections(port: int, seconds: float, count: int, data: bytes, sent) -> None:
    """Connect over and over, so that `count` have been opened; say `data` and nothing more."""
    opened, begun_s = [], time.monotonic()
    while time.monotonic() - begun_s < seconds:
        if len(opened) < count:
            try:
                one = socket.create_connection(("127.0.0.1", port), 1)
                one.sendall(data)
                opened.append(one)
                sent.value += 1
            except OSError:
                time.sleep(0.01)
        else:
            time.sleep(0.05)


FLOODS: dict[str, tuple[str, Callable[..., None], tuple]] = {
    "singles": ("osc", datagrams, (position("/deck/middle/position"), SINGLES_PER_S)),
    "strangers": ("osc", datagrams, (position("/elsewhere/entirely"), SINGLES_PER_S)),
    "bundles": ("osc", datagrams, (bundle(), BUNDLES_PER_S)),
    "connections": ("http", connections, (2000, b"")),
    "half requests": ("http", connections, (2000, b"GET / HTTP/1.1\r\nHost: 127")),
    "mute pages": ("http", connections, (64, UPGRADE)),
}


TOGETHER = ("singles", "bundles", "connections", "mute pages")


@dataclass
class Seen:
    """What was seen of the page in one stretch."""

    answers_s: list[float] = field(default_factory=list)
    bare_s: list[float] = field(default_factory=list)
    off_beats: list[float] = field(default_factory=list)
    unsure: int = 0

    def row(self, name: str) -> str:
        ordered = sorted(self.answers_s)
        off = sorted(self.off_beats)
        return (
            f"{name:<24}{len(ordered):>5}{1000 * statistics.median(ordered):>9.0f}"
            f"{1000 * ordered[-1]:>8.0f}{1000 * statistics.median(self.bare_s):>9.0f}"
            f"{1000 * max(self.bare_s):>8.0f}{statistics.median(off):>10.2f}{off[-1]:>8.2f}"
            f"{100 * self.unsure / len(off):>8.0f}"
        )


BARE = """
import asyncio
async def answer(reader, writer):
    await reader.readuntil(b"\\r\\n\\r\\n")
    writer.write(b"HTTP/1.1 200 OK\\r\\nContent-Length: 2\\r\\nConnection: close\\r\\n\\r\\n{}")
    writer.close()
async def main():
    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()
asyncio.run(main())
"""


class Stage:
    """A running `perform`, heard by a simulated performer's positions."""

    def __init__(self, folder: Path) -> None:
        self.log = folder / "stage.log"
        ports = [free_port() for _ in range(2)]
        self.osc, self.http = ports
        self.routine = load_routine(ROUTINE)
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from liveaid.cli import main; main()", "perform", str(ROUTINE),
             "--osc", f"127.0.0.1:{self.osc}", "--http", f"127.0.0.1:{self.http}",
             "--log", str(self.log)],
            stdout=subprocess.DEVNULL, stderr=(folder / "stderr").open("w"),
        )  # fmt: skip
        self.bare = subprocess.Popen(
            [sys.executable, "-c", BARE], stdout=subprocess.PIPE, text=True
        )
        assert self.bare.stdout is not None
        self.bare_http = int(self.bare.stdout.readline())
        while not self.get("health"):
            time.sleep(0.1)

    def get(self, path: str, port: int | None = None) -> dict:
        try:
            with urllib.request.urlopen(
                f"http://127.0.0.1:{port or self.http}/{path}", timeout=5
            ) as answer:
                return json.load(answer)
        except OSError:
            return {}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def played(stage: Stage, seed: int):
    """The performance sent from a thread; yields it with its beginning."""
    performance = perform(stage.routine, seed=seed, lead_s=0.5)
    begin_s = time.monotonic() + 0.2
    ended = threading.Event()

    def send() -> None:
        with Sender(performance, "127.0.0.1", stage.osc, begin_s=begin_s) as sender:
            while not ended.is_set():
                wait_s = sender.send_due(time.monotonic())
                if wait_s is None:
                    return
                time.sleep(min(wait_s, 0.02))

    thread = threading.Thread(target=send)
    thread.start()
    yield performance, begin_s
    ended.set()
    thread.join()


def look(stage: Stage, performance: Performance, begin_s: float, seconds: float) -> Seen:
    """Ask for /status over and over, and compare with the truth at the moment of the answer."""
    seen, until_s = Seen(), time.monotonic() + seconds
    before = [0]
    for index in range(len(stage.routine.pieces)):
        before.append(before[-1] + stage.routine.beats(index))
    while time.monotonic() < until_s:
        asked_s = time.monotonic()
        status = stage.get("status")
        answered_s = time.monotonic()
        seen.answers_s.append(answered_s - asked_s)
        truth = performance.truth.at((asked_s + answered_s) / 2 - begin_s)
        if truth is not None:
            told = status.get("piece")
            if told is None:
                off = 99.0
            else:
                off = before[told["index"]] + status["beat_position"] - before[truth[0]] - truth[1]
            seen.off_beats.append(abs(off))
            seen.unsure += status.get("state") != "following"
        asked_s = time.monotonic()
        stage.get("bare", stage.bare_http)
        seen.bare_s.append(time.monotonic() - asked_s)
        time.sleep(0.05)
    return seen


def accounted(before: dict, after: dict, datagrams_sent: int, each: int) -> str:
    """What was sent of OSC, and what the stage says became of it: the performer's own besides."""
    read = after["osc"]["messages"] - before["osc"]["messages"]
    lost = after["osc"]["dropped"].get("by the system", 0)
    lost -= before["osc"]["dropped"].get("by the system", 0)
    over = after["osc"]["dropped"]["over budget"] - before["osc"]["dropped"]["over budget"]
    refused = sum(after["osc"]["refused"].values()) - sum(before["osc"]["refused"].values())
    heard = sum(after["osc"]["heard"].values()) - sum(before["osc"]["heard"].values())
    told = heard + refused + over + lost * each + after["osc"]["waiting"]
    sent = datagrams_sent * each + heard  # nearly all that was heard is the performer's
    return (
        f"sent {sent}, told of {told} ({100 * told / sent:.1f} %): heard {heard}, refused "
        f"{refused}, over budget {over}, by the system {lost} x {each}; read {read} messages"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seconds", type=float, default=10.0)
    options.add_argument("--only", nargs="+", choices=[*FLOODS, "all"], default=[*FLOODS, "all"])
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        stage = Stage(Path(folder))
        print(
            f"{'':<24}{'asked':>5}{'ms med.':>9}{'most':>8}{'bare ms':>9}{'most':>8}"
            f"{'off med.':>10}{'most':>8}"
            f"{'unsure%':>8}"
        )
        for name in chosen.only:
            floods = [FLOODS[one] for one in (TOGETHER if name == "all" else (name,))]
            with played(stage, seed=7) as (performance, begin_s):
                time.sleep(6.0)
                print(look(stage, performance, begin_s, 4.0).row(f"quiet before {name}"))
                before = stage.get("health")
                counts = [multiprocessing.Value("i", 0) for _ in floods]
                processes = [
                    multiprocessing.Process(
                        target=flood,
                        args=(getattr(stage, port), chosen.seconds, *arguments[:2], sent)
                        if flood is datagrams
                        else (stage.http, chosen.seconds, *arguments, sent),
                    )
                    for (port, flood, arguments), sent in zip(floods, counts, strict=True)
                ]
                for process in processes:
                    process.start()
                print(look(stage, performance, begin_s, chosen.seconds).row(name))
                for process in processes:
                    process.join()
                time.sleep(1.0)
                after = stage.get("health")
                print(look(stage, performance, begin_s, 3.0).row(f"from 1 s after {name}"))
                print(
                    f"    notes: {after.get('notes')}; worst lag {after['loop']['worst_10s_ms']} ms"
                )
                for (_, flood, _), sent in zip(floods, counts, strict=True):
                    if flood is datagrams and name != "all":
                        each = IN_A_BUNDLE if name == "bundles" else 1
                        print("    " + accounted(before, after, sent.value, each))
                    elif name != "all":
                        print(
                            f"    opened {sent.value}; turned away {after['page']['turned_away']}"
                        )
            time.sleep(2.0)
        size = sum(f.stat().st_size for f in Path(folder).glob("stage.log*"))
        errors = (Path(folder) / "stderr").stat().st_size
        handles = len(os.listdir(f"/proc/{stage.process.pid}/fd"))
        print(
            f"log {size / 1e6:.3f} MB, standard error {errors} bytes, {handles} handles at the end"
        )
        for process in (stage.process, stage.bare):
            process.terminate()
            process.wait(15)


if __name__ == "__main__":
    main()
