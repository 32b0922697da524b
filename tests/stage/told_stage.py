"""A stage whose follower shows what it is told on standard input: for tests in their own process.

python told_stage.py MAP PORT LAYOUT: lines of JSON in, each the changes to a prompt in the middle
of a set piece; `ready` and the pads' words come out. `lose` among the changes is a message, in hex,
that the cable loses once: `lost` comes out with the second.
"""

import asyncio
import json
import sys
import time
from dataclasses import replace

from liveaid.follow.prompt import DeckNow, PieceNow, Prompt
from liveaid.routine import load_routine
from liveaid.routine.config_file import config_path, load_config
from liveaid.stage.address import Address
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.midi_ports import Ports
from liveaid.stage.service import Service
from liveaid.stage.settings import Controller, Settings
from liveaid.stage.watcher import Watcher

DECK = DeckNow(31.2, 1.0, 8.0, "rests", 72.0, None, False)
MIDDLE = Prompt(
    state="following", confidence=0.99, elapsed_s=41.2, limit_s=180.0,
    piece=PieceNow(2, "Lanterns", "story", "beat juggle", 8, "clock"),
    beat_position=13.42, bar=4, beat=2, bars_left=5, beats_left=18.58, seconds_left=12.1,
    tempo=92.3, next=None, decks={"left": DECK, "right": DECK},
)  # fmt: skip


class Told:
    """A follower that shows what it was given."""

    shown = MIDDLE

    def wake_at(self):
        return None

    def prompt(self, *, now):
        return self.shown


class Words(Watcher):
    """Prints the words it hears."""

    def told_word(self, word, piece):
        print(json.dumps([word, piece]), flush=True)
        return True


class Lossy:
    """A port's cable: it loses what it is told to, once, and carries all else."""

    lose = None

    def __init__(self, port):
        self._port = port

    def __getattr__(self, name):
        return getattr(self._port, name)

    def send_message(self, message):
        if bytes(message).hex() == Lossy.lose:
            Lossy.lose = None
            print(f"lost {time.monotonic()}", flush=True)
        else:
            self._port.send_message(message)


whole = Ports.open, Ports.release, Ports.forget
Ports.open = lambda self, api, name: Lossy(whole[0](self, api, name))
Ports.release = lambda self, lossy: whole[1](self, getattr(lossy, "_port", lossy))
Ports.forget = lambda self, lossy: whole[2](self, getattr(lossy, "_port", lossy))


async def main():
    file, port, layout = sys.argv[1:4]
    settings = Settings(
        osc=Address("127.0.0.1", 0), http=None, midi_api="jack",
        controllers=(Controller(port, load_config(config_path(layout, "lamps"), LampLayout)),),
    )  # fmt: skip
    told = Told()
    stage = Service(load_routine(file), settings, follower=told, watchers=[Words()])
    async with stage:
        print("ready", flush=True)
        lines = asyncio.StreamReader()
        loop = asyncio.get_running_loop()
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(lines), sys.stdin)
        while line := await lines.readline():
            changes = json.loads(line)
            Lossy.lose = changes.pop("lose", None)
            decks = {side: replace(DECK, **changes.pop(side, {})) for side in ("left", "right")}
            told.shown = replace(MIDDLE, decks=decks, **changes)
            stage.push()


asyncio.run(main())
