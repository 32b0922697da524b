"""rehearse, render and gather killed at random moments, over and over.

Run by hand:  python tests/bench/kills.py [--rehearse 100] [--render 100] [--gather 100]

rehearse --restart: take after take is played; each time the stage process is killed (SIGKILL) and
the time is taken until its page is there again, and until it is right: following, within a beat of
the record, while it is played; else no longer waiting. Every take the page told of must be there,
in the database or in its journal, and no take that was there may go. render:
the scene's map is edited, rendering begins (in a copy of this process, so that few kills fall into
loading) and is killed; afterwards the folder must hold either the old set of files whole or the
new one. gather: the shelf must open and hold what it held.
Bars: following within 2 s, every ended take there, old or new set whole. Times are a busy
machine's where others work on it; the start of a bare interpreter with liveaid imported stands
beside them.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import multiprocessing
import os
import random
import shutil
import signal
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.cli import main as main_of_liveaid

PLAYED_S, HELD_S = 8.0, 1.2
ROUTINE = """
title: Over and over
decks: {left: {file: left.wav}, right: {file: right.wav}}
pieces:
  - {name: Stall song, bars: 4, tempo: 120, count: left,
     left: {hand: runs, at: 10.0}, right: {hand: rests}}
"""
LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def get(port: int, path: str) -> dict:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/{path}", timeout=1) as answer:
            return json.load(answer)
    except OSError:
        return {}


class Hands:
    """The left record held at its cue, let go for the set piece's eight seconds, stopped, wound
    back: over and over, from a thread. The right one stands."""

    def __init__(self, port: int) -> None:
        self._port, self._begun_s, self._ended = port, time.monotonic(), threading.Event()
        threading.Thread(target=self._play, daemon=True).start()

    def at(self, now_s: float) -> tuple[float, bool]:
        """Where the left record is, in seconds, and whether it is played."""
        t = (now_s - self._begun_s) % (HELD_S + PLAYED_S + 2.0)
        if t < HELD_S:
            return 10.0, False
        if t < HELD_S + PLAYED_S + 0.3:
            return 10.0 + t - HELD_S, t < HELD_S + PLAYED_S
        wound = min(max((t - HELD_S - PLAYED_S - 0.8) / 1.0, 0.0), 1.0)
        return 10.0 + (PLAYED_S + 0.3) * (1.0 - wound), False

    def right(self, status: dict) -> bool:
        """Whether that is what the page should say now."""
        at_s, played = self.at(time.monotonic())
        if not played:
            return status.get("state") in ("before", "following", "over")
        beat = status.get("beat_position")
        return status.get("state") == "following" and abs((at_s - 10.0) * 2 - beat) < 1

    def end(self) -> None:
        self._ended.set()

    def _play(self) -> None:
        out = socket.socket(type=socket.SOCK_DGRAM)
        while not self._ended.wait(0.005):
            for side, at in (("left", self.at(time.monotonic())[0]), ("right", 2.0)):
                builder = OscMessageBuilder(f"/deck/{side}/position")
                builder.add_arg(at, "f")
                out.sendto(builder.build().dgram, ("127.0.0.1", self._port))


def wait_for(look, for_s: float = 60.0) -> float:
    begun_s = time.monotonic()
    while not look():
        if time.monotonic() - begun_s > for_s:
            return float("nan")
        time.sleep(0.01)
    return time.monotonic() - begun_s


def takes_in(file: Path) -> int:
    """Takes in the database and in the journal beside it; one that is in both is one."""
    codes = {path.stem for path in file.with_name(f"{file.name}.waiting").glob("*.take")}
    if file.is_file():
        with sqlite3.connect(f"file:{file}?mode=ro", uri=True) as opened:
            codes |= {code for (code,) in opened.execute("select code from take")}
    return len(codes)


def told_of(http: int) -> int:
    """The number of the last take that the page tells of."""
    last = (get(http, "status").get("rehearsal") or {}).get("last") or {}
    return last.get("number") or 0


def rehearse(kills: int, chance: random.Random, folder: Path) -> None:
    osc, http, takes = free_port(), free_port(), folder / "takes.sqlite"
    (folder / "routine.yaml").write_text(ROUTINE)
    keeper = subprocess.Popen(
        [*LIVEAID, "rehearse", str(folder), "--restart", "--log", "no", "--takes", str(takes),
         "--count-in", "0", "--osc", f"127.0.0.1:{osc}", "--http", f"127.0.0.1:{http}"], **QUIET,
    )  # fmt: skip
    hands = Hands(osc)
    wait_for(lambda: get(http, "status").get("state") == "following")
    times, begun, lost, most = [], [], 0, 0
    for _ in range(kills):
        until_s = time.monotonic() + chance.uniform(2.0, 16.0)
        pid = get(http, "health").get("pid")
        while time.monotonic() < until_s:
            most = max(most, told_of(http), takes_in(takes))
            time.sleep(0.05)
        if pid is None:
            continue
        os.kill(pid, signal.SIGKILL)
        begun.append(wait_for(lambda pid=pid: get(http, "health").get("pid", pid) != pid))
        times.append(begun[-1] + wait_for(lambda: hands.right(get(http, "status"))))
        lost += takes_in(takes) < most
    time.sleep(12.0)
    hands.end()
    keeper.terminate()
    keeper.wait(30)
    ordered = sorted(times)
    print(
        f"rehearse: {len(times)} kills, page there again after median "
        f"{statistics.median(begun):.2f} s, most {max(begun):.2f} s; right again after median "
        f"{statistics.median(ordered):.2f} s, most {ordered[-1]:.2f} s, within 2 s "
        f"{100 * sum(t <= 2 for t in times) / len(times):.0f} %; kills that cost an ended take "
        f"{lost}, takes kept {takes_in(takes)}",
        flush=True,
    )


def picture(folder: Path) -> dict[str, str]:
    return {
        str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and not file.name.startswith(".") and "/." not in str(file)
    }


def scene_of(folder: Path) -> Path:
    """The night market's scene, with sounds and rendered."""
    scene = folder / "market"
    subprocess.run([*LIVEAID, "demo", "--fast", "--into", str(scene)], check=True, **QUIET)
    return scene


def render(kills: int, chance: random.Random, scene: Path) -> None:
    file, decks = scene / "routine.yaml", scene / "decks"
    text = file.read_text()
    editions = [text, text.replace("title: Night Market", "title: Night Market, late")]
    whole = []
    for edition in editions:
        file.write_text(edition)
        begun_s = time.monotonic()
        ended = begun(["render", str(scene)])
        ended.join()
        assert ended.exitcode == 0
        takes_s = time.monotonic() - begun_s
        whole.append(placed(decks))
    torn, came = 0, 0
    for number in range(kills):
        file.write_text(editions[number % 2])
        before = placed(decks)
        killed(begun(["render", str(scene)]), chance.uniform(0.0, 1.1) * takes_s)
        torn += placed(decks) not in whole
        came += placed(decks) != before
    ended = begun(["render", str(scene)])
    ended.join()
    torn += placed(decks) != whole[(kills - 1) % 2]
    print(
        f"render: {kills} kills within {takes_s:.1f} s, in {came} the new set had come, neither "
        f"old nor new: {torn}",
        flush=True,
    )


def begun(words: list[str]) -> multiprocessing.Process:
    """A command, run in a copy of this process."""

    def run() -> None:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        main_of_liveaid(words)

    importlib.import_module(f"liveaid.commands.{words[0]}")
    running = multiprocessing.get_context("fork").Process(target=run)
    running.start()
    return running


def killed(running: multiprocessing.Process, after_s: float) -> None:
    time.sleep(after_s)
    running.kill()
    running.join()


def placed(decks: Path) -> tuple:
    """The set of files that belong together: names and contents, pictures left aside."""
    return tuple((n, d) for n, d in picture(decks).items() if n.endswith((".wav", ".yaml")))


def gather(kills: int, chance: random.Random, scene: Path, folder: Path) -> None:
    shelf, most, torn = folder / "shelf.sqlite", 0, 0
    begun_s = time.monotonic()
    begun(["gather", str(scene / "sounds"), "--shelf", str(folder / "whole.sqlite")]).join()
    longest_s = time.monotonic() - begun_s
    for _ in range(kills):
        killed(
            begun(["gather", str(scene / "sounds"), "--shelf", str(shelf)]),
            chance.uniform(0.0, longest_s),
        )
        if shelf.is_file():
            try:
                with sqlite3.connect(shelf) as opened:
                    fine = opened.execute("pragma integrity_check").fetchone()[0] == "ok"
                    held = sum(
                        opened.execute(f"select count(*) from {name}").fetchone()[0]
                        for (name,) in opened.execute(
                            "select name from sqlite_master where type = 'table' and name = 'sound'"
                        ).fetchall()
                    )
                torn += not fine or held < most
                most = max(most, held)
            except sqlite3.Error:
                torn += 1
    print(
        f"gather: {kills} kills within {longest_s:.1f} s, shelves torn or with less than before: "
        f"{torn}; {most} sounds at the end"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    for name in ("rehearse", "render", "gather"):
        options.add_argument(f"--{name}", type=int, default=100)
    options.add_argument("--scene", type=Path, help="a rendered copy of the night market")
    chosen = options.parse_args()
    chance = random.Random(3)
    bare = []
    for _ in range(3):
        begun_s = time.monotonic()
        subprocess.run([sys.executable, "-c", "import liveaid.commands.rehearse"], check=True)
        bare.append(time.monotonic() - begun_s)
    print(f"bare start with all imported: {statistics.median(bare):.2f} s", flush=True)
    folder = Path(tempfile.mkdtemp())
    os.environ |= {"XDG_DATA_HOME": str(folder), "XDG_CACHE_HOME": str(folder / "cache")}
    try:
        if chosen.rehearse:
            rehearse(chosen.rehearse, chance, folder)
        if chosen.render or chosen.gather:
            scene = chosen.scene or scene_of(folder)
            render(chosen.render, chance, scene) if chosen.render else None
            gather(chosen.gather, chance, scene, folder) if chosen.gather else None
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
