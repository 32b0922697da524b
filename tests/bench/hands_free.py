"""Ten minutes of practice without touching the terminal: by OSC, by pads over JACK, by keys.

Run by hand:  python tests/bench/hands_free.py [--minutes 10] [--by osc pads keys]

`liveaid rehearse` runs as a process of its own, its standard input shut. A simulated performer
brings both records to their cues, waits for the count-in that /status tells, plays, and says a
word after each take. Each word is held against what /status and the file of takes say of it. The
takes the performer knows to have played whole are the baseline of the takes kept.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.practice.aim import aim_of
from liveaid.practice.reading import TakeReader
from liveaid.routine import load_routine
from liveaid.routine.config_file import config_path, load_config
from liveaid.simulate import Hands, perform
from liveaid.simulate.send import datagrams
from liveaid.stage.lamp_layout import LampLayout

SCENE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
CYCLE = ("keep", "note", "slower", "drop", "faster", "again", "next")
KEYS = {"keep": "k", "note": "n", "slower": "s", "drop": "d", "faster": "f", "again": "a",
        "next": "x"}  # fmt: skip
LEAD_S = 1.5
ROW = load_config(config_path("row-16", "lamps"), LampLayout)
PORTS = """
import sys, rtmidi
lamps = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="stall-row-lamps")
lamps.open_virtual_port("stall-row")
pads = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="stall-row-pads")
pads.open_virtual_port("stall-row")
print("plugged", flush=True)
for line in sys.stdin:
    pads.send_message(list(bytes.fromhex(line.strip())))
"""


@dataclass
class Account:
    """What was done, and what came of it."""

    whole: int = 0
    given_up: int = 0
    said: dict[str, int] = field(default_factory=dict)
    answered: dict[str, int] = field(default_factory=dict)
    clean: int = 0
    kept: int = 0
    notes: int = 0
    minutes: float = 0.0


class Booth:
    """The running rehearsal, and what its performer sees of it."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.takes = folder / "takes.sqlite"
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from liveaid.cli import main; main()", "rehearse", str(SCENE),
             "--piece", "Pestle", "--start-at", "100%", "--takes", str(self.takes),
             "--osc", "127.0.0.1:0", "--http", "127.0.0.1:0", *more],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        lines = []
        while not any(line.startswith("Tempo") for line in lines):
            lines.append(self.process.stdout.readline())
            assert lines[-1], "the rehearsal did not start"
        self.page = next(line for line in lines if line.startswith("Page")).split()[1]
        self.port = int(next(line for line in lines if line.startswith("OSC in")).rsplit(":", 1)[1])
        self.out = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)

    def status(self) -> dict:
        with urllib.request.urlopen(self.page.replace("/rehearse", "/status"), timeout=20) as got:
            return json.load(got)["rehearsal"]

    def send(self, data: bytes) -> None:
        self.out.sendto(data, ("127.0.0.1", self.port))

    async def look(self, until: Callable[[dict], bool], for_s: float) -> dict | None:
        """The status as soon as it is so; None when it never is."""
        end = time.monotonic() + for_s
        while time.monotonic() < end:
            now = await asyncio.to_thread(self.status)
            if until(now):
                return now
            await asyncio.sleep(0.1)
        return None


async def osc(booth: Booth):
    def say(word: str) -> None:
        builder = OscMessageBuilder("/word")
        builder.add_arg(word)
        booth.send(builder.build().dgram)

    yield say


async def pads(booth: Booth):
    controller = booth.controller
    numbers = {word: pad for pad, (word, _) in ROW.pad_words().items()}

    def say(word: str) -> None:
        pad = numbers[word]
        for velocity in (100, 0):
            told = bytes((0x90 | pad.channel - 1, pad.number, velocity))
            controller.stdin.write(told.hex() + "\n")
            controller.stdin.flush()

    yield say


async def keys(booth: Booth):
    from playwright.async_api import async_playwright

    async with async_playwright() as driver:
        browser = await driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        page = await browser.new_page(bypass_csp=True)
        await page.goto(booth.page)
        given = "; ".join(f"giveKey({key!r}, {word!r})" for word, key in KEYS.items())
        await page.evaluate(
            f"(async () => {{ const {{ giveKey }} = await import('/keys.js'); {given}; }})()"
        )
        pressed = set()

        def say(word: str) -> None:
            task = asyncio.ensure_future(page.keyboard.press(KEYS[word]))
            pressed.add(task)
            task.add_done_callback(pressed.discard)

        yield say
        await asyncio.gather(*pressed)
        await browser.close()


async def practise(booth: Booth, say: Callable[[str], None], minutes: float) -> Account:
    whole, account, seed = load_routine(SCENE), Account(), 0
    began = time.monotonic()
    while time.monotonic() - began < 60 * minutes:
        seed += 1
        word = CYCLE[seed % len(CYCLE)]
        before = await asyncio.to_thread(booth.status)
        await take(booth, whole, before, seed, say if word == "again" else None)
        if word == "again":
            account.given_up += 1
            await word_said(booth, account, word, lambda now: now["phase"] == "count-in")
            continue
        ended = await booth.look(lambda now: now["takes"] > before["takes"], 25.0)  # noqa: B023
        account.whole += 1
        account.clean += bool(ended and ended["last"]["clean"])
        if ended is not None:
            say(word)
            await word_said(booth, account, word, meant(word, ended))
    account.minutes = (time.monotonic() - began) / 60
    return account


async def word_said(booth: Booth, account: Account, word: str, so: Callable[[dict], bool]) -> None:
    account.said[word] = account.said.get(word, 0) + 1
    found = await booth.look(so, 5.0)
    account.answered[word] = account.answered.get(word, 0) + (found is not None)


def meant(word: str, before: dict) -> Callable[[dict], bool]:
    """What the status must say after a word."""
    if word in ("keep", "drop"):
        return lambda now: now["last"] is not None and now["last"].get("said") == word
    if word in ("slower", "faster"):
        sign = 1 if word == "faster" else -1
        rung, last = before["ladder"]["rung"], before["ladder"]["rungs"]
        wanted = min(max(rung + sign, 1), last)
        return lambda now: now["ladder"]["rung"] == wanted
    if word == "next" and before["piece"] != "Lids down":
        return lambda now: now["piece"] != before["piece"]
    return lambda now: now["error"] is None


async def take(
    booth: Booth, whole, before: dict, seed: int, again: Callable[[str], None] | None
) -> None:
    """Both records at their cues, the count-in waited for, and the stretch played once."""
    aim = aim_of(whole, before["piece"])
    part = before["ladder"]["part"]
    played = perform(aim.routine, seed=seed, lead_s=LEAD_S, hands=Hands(timing_error_s=0.008))
    timed = list(datagrams(played, also=()))
    hold = [data for at, data in timed if at < 0.1][-4:]
    count, asked = None, time.monotonic()
    while count is None or time.monotonic() < count["start_s"] + count["beats"] * count["beat_s"] \
            - LEAD_S / part - 0.02:  # fmt: skip
        for data in hold:
            booth.send(data)
        await asyncio.sleep(0.02)
        if count is None and time.monotonic() - asked > 1.0:
            count = (await asyncio.to_thread(booth.status))["count_in"]
            if count and count["start_s"] + count["beats"] * count["beat_s"] < time.monotonic():
                count = None
        if time.monotonic() - asked > 30.0:
            return None
    begin_s = count["start_s"] + count["beats"] * count["beat_s"] - LEAD_S / part
    for at, data in timed:
        while (wait_s := begin_s + at / part - time.monotonic()) > 0:
            await asyncio.sleep(min(wait_s, 0.05))
        booth.send(data)
        if again and at > LEAD_S + 4.0:
            return again("again")
    return None


async def run(by: str, minutes: float) -> Account:
    with tempfile.TemporaryDirectory() as folder:
        more = ("--midi", "stall-row", "--midi-api", "jack", "--lamps", "row-16")
        controller = plugged() if by == "pads" else None
        booth = Booth(Path(folder), *(more if by == "pads" else ()))
        booth.controller = controller
        try:
            async for say in {"osc": osc, "pads": pads, "keys": keys}[by](booth):
                await asyncio.sleep(2.0)
                account = await practise(booth, say, minutes)
        finally:
            booth.process.terminate()
            booth.process.wait(30)
            if controller:
                controller.terminate()
        with TakeReader(booth.takes) as reader:
            account.kept, account.notes = len(reader.takes(limit=9999)), len(reader.notes())
        return account


def plugged() -> subprocess.Popen:
    """A controller's two ports."""
    for _ in range(50):
        found = subprocess.Popen(
            [sys.executable, "-c", PORTS], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        if "plugged" in found.stdout.readline():
            return found
        time.sleep(0.3)
    raise SystemExit("no JACK server")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, default=10.0)
    options.add_argument("--by", nargs="+", default=["osc", "pads", "keys"])
    chosen = options.parse_args()
    os.environ |= {"JACK_DEFAULT_SERVER": "liveaid-tests", "JACK_NO_START_SERVER": "1"}
    server = None
    if "pads" in chosen.by:
        server = subprocess.Popen(
            ["jackd", "-r", "-n", "liveaid-tests", "-d", "dummy", "-r", "48000", "-p", "256"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    print("by   | minutes | played whole, given up | kept | clean | notes | words as meant")
    try:
        for by in chosen.by:
            found = asyncio.run(run(by, chosen.minutes))
            words = ", ".join(f"{w} {found.answered[w]}/{n}" for w, n in found.said.items())
            print(f"{by:4s} | {found.minutes:7.1f} | {found.whole:12d}, {found.given_up:8d} |"
                  f" {found.kept:4d} | {found.clean:5d} | {found.notes:5d} | {words}",
                  flush=True)  # fmt: skip
    finally:
        if server:
            server.terminate()


if __name__ == "__main__":
    main()
