"""A controller both ways over JACK's dummy driver: a second client sees every lamp, presses every
pad, and is put right when a message is lost."""

import json
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from liveaid.routine.config_file import config_path, load_config
from liveaid.stage.lamp_layout import LampLayout

GRID = load_config(config_path("grid-8x8", "lamps"), LampLayout)

# The controller: prints "<monotonic> <hex>" for what it is sent, sends the hex lines it is given.
CONTROLLER = """
import sys, time, rtmidi
lamps = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="nightgrid-lamps")
lamps.set_callback(lambda e, _: print(time.monotonic(), bytes(e[0]).hex(), flush=True))
lamps.open_virtual_port("nightgrid")
pads = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="nightgrid-pads")
pads.open_virtual_port("nightgrid")
print("0 plugged", flush=True)
for line in sys.stdin:
    pads.send_message(list(bytes.fromhex(line.strip())))
"""


class Lines:
    """A process with what it printed so far."""

    def __init__(self, *command):
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            text=True, bufsize=1,
        )  # fmt: skip
        self.printed = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        self.printed.extend(line.strip() for line in self.process.stdout)

    def tell(self, line):
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def end(self):
        self.process.stdin.close()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@pytest.fixture
def stage_and_controller(jack, eventually, routines):
    jack()
    controller = None

    def plugged():
        nonlocal controller
        if controller is None or controller.process.poll() is not None:
            controller = Lines(sys.executable, "-c", CONTROLLER)  # the server may not be up yet
            time.sleep(0.3)
        return "0 plugged" in controller.printed

    eventually(plugged)
    script = Path(__file__).parent / "told_stage.py"
    stage = Lines(
        sys.executable, str(script), str(routines / "three.yaml"), "nightgrid", "grid-8x8"
    )
    eventually(lambda: "ready" in stage.printed)
    yield stage, controller
    stage.end()
    controller.end()


def lamps(controller, since=0):
    """Each lamp's level as the messages left it: note-on on channel 1 is 90, note, velocity."""
    shown = {}
    for line in controller.printed[since:]:
        _, _, data = line.partition(" ")
        if data.startswith("90"):
            shown[int(data[2:4], 16)] = int(data[4:6], 16)
    return shown


# What the grid must show, by hand: note -> velocity, for each thing told. Off 0, dim 24, on 127
# (configs/lamps-grid-8x8.yaml). Bars are notes 0 to 7, beats 10 to 13.
MEANINGS = [
    ({}, {0: 127, 4: 127, 5: 0, 11: 127, 10: 0, 58: 127, 59: 0, 60: 0, 57: 0, 61: 0, 14: 0, 15: 0}),
    ({"state": "unsure", "confidence": 0.4}, {0: 24, 4: 24, 5: 0, 11: 24, 58: 0, 59: 127}),
    ({"state": "silent"}, {4: 127, 58: 0, 60: 127}),
    ({"state": "before"}, {7: 24, 0: 0, 11: 0, 57: 127, 58: 0}),
    ({"state": "over", "bars_left": 0, "limit_kept": False}, {0: 24, 7: 24, 3: 0, 61: 127}),
    ({"state": "over", "bars_left": 0, "limit_kept": False}, {15: 127}),
    ({"bars_left": 1}, {0: 127, 1: 0, 14: 127}),
    ({"bars_left": 14}, {4: 127, 5: 24, 7: 24, 14: 0}),
    ({"elapsed_s": 170.0}, {15: 24}),
    ({"left": {"way": "by hand", "wind": 1.5}}, {16: 127, 17: 127, 18: 0, 19: 0, 23: 0}),
    ({"right": {"way": "by hand", "wind": -0.5}}, {23: 0, 20: 127, 16: 0}),
    ({"right": {"way": "needle"}}, {20: 127, 21: 127, 22: 127, 23: 127}),
    ({"left": {"ready": True}}, {32: 127, 16: 0, 39: 0}),
    ({"left": {"age_ms": 900.0}}, {40: 0, 47: 127}),
    ({"beat": 4}, {13: 127, 11: 0}),
]  # fmt: skip


def test_a_second_client_sees_every_lamp_and_presses_every_pad(stage_and_controller, eventually):
    stage, controller = stage_and_controller
    for told, expected in MEANINGS:
        stage.tell(json.dumps(told))
        eventually(lambda e=expected: lamps(controller).items() >= e.items(), 30)
    # The lamp that lives, note 63, goes on and dim by itself.
    seen = len(controller.printed)
    eventually(
        lambda: {line.split()[1] for line in controller.printed[seen:]} >= {"903f7f", "903f18"}, 30
    )
    words = GRID.pad_words()
    assert len(words) == 15
    for pad, (word, piece) in words.items():
        controller.tell(bytes((0x90 | pad.channel - 1, pad.number, 100)).hex())
        controller.tell(bytes((0x90 | pad.channel - 1, pad.number, 0)).hex())
        said = json.dumps([word, piece])
        eventually(lambda said=said: said in stage.printed, 30)
    # A message is lost on its way, on purpose: the one that puts lamp 4 (bar five) out. Nothing
    # changes after it; the controller shows what is wrong, and is put right within two seconds.
    stage.tell(json.dumps({"bars_left": 5}))
    eventually(lambda: lamps(controller).get(4) == 127, 30)
    stage.tell(json.dumps({"bars_left": 3, "lose": "900400"}))
    lost = eventually(lambda: [line for line in stage.printed if line.startswith("lost ")], 30)
    eventually(lambda: lamps(controller).get(4) == 0, 30)
    put_right = [line for line in controller.printed if line.endswith("900400")][-1]
    after_s = float(put_right.split()[0]) - float(lost[0].split()[1])
    assert 0 < after_s <= 2.0
