"""A player's MIDI time code over JACK's dummy driver: a second client sends, the page is told.

MIDI Time Code (MIDI Manufacturers Association): full message F0 7F dd 01 01 hr mn sc fr F7, hr
0rrhhhhh, the rate 01 being 25 frames; quarter frames F1 0nnndddd. mido makes the quarter frames.
"""

import json
import subprocess
import sys
import urllib.request

import pytest

from liveaid.stage.address import Address

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]

# The player: at a line it is at that second, at 25 frames a second, and runs on from there for half
# a second, a quarter frame every hundredth.
PLAYER = """
import sys, time, mido, rtmidi
port = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="nightplayer")
port.open_virtual_port("timecode")
print("plugged in", flush=True)
for line in sys.stdin:
    at_s = int(line)
    minutes, seconds = divmod(at_s, 60)
    port.send_message([0xF0, 0x7F, 0x7F, 1, 1, 0x20, minutes, seconds, 0, 0xF7])
    for quarter in range(48):
        time.sleep(0.01)
        frames = quarter // 8 * 2
        nibbles = [frames & 15, frames >> 4, seconds & 15, seconds >> 4, minutes & 15,
                   minutes >> 4, 0, 2]
        kind = quarter % 8
        port.send_message(
            mido.Message("quarter_frame", frame_type=kind, frame_value=nibbles[kind]).bytes()
        )
    print("sent", flush=True)
"""


# JACK's dummy driver drops MIDI without a word when the machine is busy.
@pytest.mark.flaky(reruns=2)
def test_time_code_from_a_player_is_a_deck_s_position(jack, eventually, routines, free_port):
    jack()
    http = free_port()

    def plugged():
        player = subprocess.Popen(
            [sys.executable, "-c", PLAYER], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        return player if "plugged in" in player.stdout.readline() else None

    player = eventually(plugged)  # the server may not be up yet
    stage = subprocess.Popen(
        [*LIVEAID, "perform", str(routines / "three.yaml"), "--log", "no", "--midi-api", "jack",
         "--osc", "127.0.0.1:0", "--http", str(Address("127.0.0.1", http)),
         "--timecode", "left=nightplayer"],
        stdout=subprocess.DEVNULL,
    )  # fmt: skip

    def status():
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{http}/status", timeout=5) as answer:
                return json.load(answer)
        except OSError:
            return {}

    try:
        eventually(lambda: status().get("timecode_left", {}).get("state") == "open")
        player.stdin.write("83\n")
        player.stdin.flush()
        assert player.stdout.readline() == "sent\n"
        told = eventually(lambda: status()["timecode_left"]["time_s"])
        # The last eight pieces begin at frame 10 and tell of seven quarters ago: 0.07 s at 25.
        assert told == pytest.approx(83 + 10 / 25 + 0.07, abs=0.011)
        position = status()["decks"]["left"]["position"]
        assert position == pytest.approx(told, abs=0.5)  # carried on from there
    finally:
        for process in (stage, player):
            process.terminate()
            process.wait(20)
