"""How long from a datagram in to a MIDI message out, beside a bare echo; and what the stage costs.

    python tests/bench/latency.py --samples 100

The stage runs as a process of its own on a placed routine, with a lamp port on JACK's dummy driver
(64 frames at 48 kHz: 1.33 ms a period) and both decks sending 200 messages a second. The baseline,
in the same run and turn about: a process of nothing but python-osc's server and rtmidi, which sends
a note for every datagram. What is timed is the lamp `heard_right` going on: the right deck was
unheard for a while, the left one goes on at its rate, and one datagram decides it; the whole way
is in it (read, follower, prompt, lamps, port). Beside it, how late the beat lamps come: from the
moment the running record crosses the beat, by the sender's clock, to the MIDI message. The first
three samples warm both up and don't count. What has come so far is printed every ten samples;
broken off by Ctrl-C or SIGTERM it leaves no process behind.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import queue
import random
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import rtmidi
from pythonosc.osc_message_builder import OscMessageBuilder

SERVER = "liveaid-latency"
RATE = 200  # messages a second from each deck
ROUTINE = """
title: Latency
decks: {left: {file: left.wav}, right: {file: right.wav}}
pieces:
  - {name: Long blend, bars: 88, tempo: 120, count: left,
     left: {hand: runs, at: 0.0}, right: {hand: rests}}
  - {name: Then, bars: 4, tempo: 120, count: right,
     left: {hand: rests}, right: {hand: runs, at: 30.0}}
"""
LAMPS = "lamps: {beats: [10, 11, 12, 13], heard_right: 20}\n"
ECHO = """
import sys, rtmidi
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_server import BlockingOSCUDPServer
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="echo")
out.open_port(out.get_ports().index("box-echo:echo"), "out")
dispatcher = Dispatcher()
dispatcher.map("/deck/right/position", lambda *_: out.send_message([0x90, 20, 127]))
server = BlockingOSCUDPServer(("127.0.0.1", 0), dispatcher)
print(server.server_address[1], flush=True)
server.serve_forever()
"""


def osc(address: str, value: float) -> bytes:
    builder = OscMessageBuilder(address)
    builder.add_arg(value, "f")
    return builder.build().dgram


class Box:
    """Two virtual MIDI inputs; what arrives is put in a queue with its time."""

    def __init__(self) -> None:
        self.ports = {}
        self.arrived: dict[str, queue.SimpleQueue[tuple[float, bytes]]] = {}
        for name in ("lamps", "echo"):
            port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f"box-{name}")
            arrived = self.arrived[name] = queue.SimpleQueue()
            port.set_callback(
                lambda event, put: put((time.monotonic(), bytes(event[0]))), arrived.put
            )
            port.open_virtual_port(name)
            self.ports[name] = port

    def close(self) -> None:
        """Before the server ends, or its library crashes this process."""
        for port in self.ports.values():
            port.cancel_callback()
            port.close_port()
            port.delete()

    def taken(self, name: str) -> Iterator[tuple[float, bytes]]:
        while not self.arrived[name].empty():
            yield self.arrived[name].get()


@contextmanager
def running(command: list[str], **options: object) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(command, text=True, **options)  # type: ignore[call-overload]
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def free_port() -> int:
    with socket.socket(type=socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def cpu_s(pid: int) -> dict[str, float]:
    """CPU seconds so far: of the whole process, and of its main thread alone."""
    places = {"all": f"/proc/{pid}/stat", "main": f"/proc/{pid}/task/{pid}/stat"}
    found = {}
    for name, place in places.items():
        fields = Path(place).read_text().rpartition(")")[2].split()
        found[name] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return found


class Run:
    """Both decks at their rate, with pauses in which the stage or the echo is sampled."""

    def __init__(self, box: Box, stage_port: int, echo_port: int) -> None:
        self.box = box
        self.socket = socket.socket(type=socket.SOCK_DGRAM)
        self.stage = ("127.0.0.1", stage_port)
        self.echo = ("127.0.0.1", echo_port)
        self.start_s = time.monotonic()
        self.stage_ms: list[float] = []
        self.echo_ms: list[float] = []
        self.beats_ms: list[float] = []
        self._sent_s: dict[str, float] = {}
        self._lit = 0

    def play(self, seconds: float, *, right: bool = True) -> None:
        """The left record turning at its rate; the right one standing on its cue, or unheard."""
        end_s = time.monotonic() + seconds
        tick_s = time.monotonic()
        while tick_s < end_s:
            self._sleep_until(tick_s)
            self._tell("left", time.monotonic() - self.start_s)
            if right:
                self._tell("right", 30.0)
            self._collect()
            tick_s += 1 / RATE

    def sample(self) -> None:
        """The right deck is not heard for a while, in which the echo is sampled twice; then, at any
        moment between the left one's messages, one datagram to the stage."""
        for _ in range(2):
            self.play(0.6, right=False)
            time.sleep(random.uniform(0, 1 / RATE))
            self._sent_s["echo"] = time.monotonic()
            self.socket.sendto(osc("/deck/right/position", 10.0), self.echo)
        self.play(0.1, right=False)
        time.sleep(random.uniform(0, 1 / RATE))
        self._sent_s["lamps"] = time.monotonic()
        self._tell("right", 30.0)
        self.play(0.3)

    def _tell(self, side: str, position_s: float) -> None:
        self.socket.sendto(osc(f"/deck/{side}/position", position_s), self.stage)

    def _collect(self) -> None:
        for now, data in self.box.taken("lamps"):
            if data == bytes((0x90, 20, 127)) and "lamps" in self._sent_s:
                self.stage_ms.append(1000 * (now - self._sent_s.pop("lamps")))
            elif 10 <= data[1] <= 13 and data[2] == 127 and data[1] != self._lit:
                self._lit = data[1]  # the same one again is a lamp renewed, not a beat
                beats = (now - self.start_s) * 2.0  # 120 BPM
                self.beats_ms.append(500 * (beats - round(beats)))
        for now, _ in self.box.taken("echo"):
            if "echo" in self._sent_s:
                self.echo_ms.append(1000 * (now - self._sent_s.pop("echo")))

    @staticmethod
    def _sleep_until(then_s: float) -> None:
        wait = then_s - time.monotonic()
        if wait > 0:
            time.sleep(wait)


def row(name: str, values: list[float]) -> str:
    ordered = sorted(values)
    q10, q95 = (ordered[int(part * (len(ordered) - 1))] for part in (0.10, 0.95))
    return (
        f"{name:<34}{len(values):>5}{q10:>9.2f}{statistics.median(values):>9.2f}{q95:>9.2f}"
        f"{max(values):>9.2f}"
    )


def table(run: Run) -> str:
    """All that was measured so far."""
    ratio = statistics.median(run.stage_ms) / statistics.median(run.echo_ms)
    undisturbed = statistics.quantiles(run.stage_ms, n=10)[0]
    undisturbed /= statistics.quantiles(run.echo_ms, n=10)[0]
    return "\n".join([
        f"{'milliseconds':<34}{'n':>5}{'10 %':>9}{'median':>9}{'95 %':>9}{'most':>9}",
        row("stage: datagram to lamp", run.stage_ms),
        row("bare echo: datagram to note", run.echo_ms),
        row("beat lamp after the beat", run.beats_ms),
        f"stage to echo: median {ratio:.2f} (bar: at most 1.3); the tenth that other programs "
        f"disturbed least {undisturbed:.2f}",
    ])  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=10.0, help="of steady playing, for CPU")
    arguments = parser.parse_args()
    jackd = shutil.which("jackd")
    if jackd is None:
        sys.exit("needs jackd (Debian package jackd2)")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # as Ctrl-C: all that runs is ended
    os.environ |= {"JACK_DEFAULT_SERVER": SERVER, "JACK_NO_START_SERVER": "1"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        (folder / "routine.yaml").write_text(ROUTINE)
        (folder / "lamps.yaml").write_text(LAMPS)
        dummy = [jackd, "-r", "-n", SERVER, "-d", "dummy", "-r", "48000", "-p", "64"]
        stack.enter_context(running(dummy, **quiet))
        time.sleep(2)
        box = Box()
        stack.callback(box.close)
        osc_port, http_port = free_port(), free_port()
        stage = stack.enter_context(running([
            sys.executable, "-c", "from liveaid.cli import main; main()", "perform",
            str(folder / "routine.yaml"), "--osc", f"127.0.0.1:{osc_port}",
            "--http", f"127.0.0.1:{http_port}", "--midi", "box-lamps:lamps", "--midi-api", "jack",
            "--lamps", str(folder / "lamps.yaml"), "--log", "no",
        ], **quiet))  # fmt: skip
        echo = stack.enter_context(running([sys.executable, "-c", ECHO], stdout=subprocess.PIPE))
        assert echo.stdout is not None
        run = Run(box, osc_port, int(echo.stdout.readline()))
        for _ in range(600):  # until it serves, however busy this machine
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"http://127.0.0.1:{http_port}/health", timeout=5).close()
                break
            time.sleep(0.1)
        time.sleep(2)
        run.start_s = begun_s = time.monotonic()
        before_s = cpu_s(stage.pid)
        run.play(arguments.seconds)
        seconds, after_s = time.monotonic() - begun_s, cpu_s(stage.pid)
        used = {name: 100 * (after_s[name] - before_s[name]) / seconds for name in after_s}
        print(
            f"CPU at 2 x {RATE} messages a second: {used['all']:.1f} % of a core (bar: below 10), "
            f"of it {used['all'] - used['main']:.1f} in JACK's own threads",
            flush=True,
        )
        for _ in range(3):
            run.sample()
        for measured in (run.stage_ms, run.echo_ms, run.beats_ms):
            measured.clear()
        for number in range(1, arguments.samples + 1):
            run.sample()
            if number % 10 == 0 or number == arguments.samples:
                print(table(run), flush=True)
        with urllib.request.urlopen(f"http://127.0.0.1:{http_port}/health") as answer:
            health = json.load(answer)
        print(f"heard {health['osc']['heard']}, refused {health['osc']['refused']}")


if __name__ == "__main__":
    main()
