"""`liveaid perform` as the performer starts it: a process, a foreign OSC sender, a real MIDI port,
a real browser; and how it ends."""

import asyncio
import json
import os
import re
import signal
import subprocess
import sys
import textwrap
import time
import urllib.error
import urllib.request

import pytest

from liveaid.routine.config_file import read_config
from liveaid.stage.address import Address
from liveaid.stage.ending import ENDINGS, ends_by_signal
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.midi_ports import NOT_INSTALLED

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]

# A second client on the JACK server: prints every MIDI message it is sent, as hex.
LISTENER = """
import sys, time, rtmidi
port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="nightbox")
port.set_callback(lambda event, _: print(bytes(event[0]).hex(), flush=True))
port.open_virtual_port("pads")
print("listening", flush=True)
time.sleep(60)
"""


class Stage:
    """A running `perform`, with what it serves."""

    def __init__(self, scene, free_port, eventually, *options):
        self.osc, self.http = free_port(), free_port()
        self.process = subprocess.Popen(
            [*LIVEAID, "perform", str(scene), "--osc", f"127.0.0.1:{self.osc}",
             "--http", f"127.0.0.1:{self.http}", *options],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        eventually(lambda: self.get("health") or self.process.poll() is not None, 30)

    def get(self, path):
        try:
            with urllib.request.urlopen(
                f"http://127.0.0.1:{self.http}/{path}", timeout=5
            ) as answer:
                return json.load(answer)
        except OSError:
            return None

    def end(self, number=signal.SIGTERM):
        """Ask it to end; its exit status and all it printed."""
        self.process.send_signal(number)
        printed, _ = self.process.communicate(timeout=15)
        return self.process.returncode, printed


@pytest.fixture
def perform(routines, free_port, eventually):
    stages = []

    def start(*options, scene=routines / "three.yaml"):
        stages.append(Stage(scene, free_port, eventually, *options))
        return stages[-1]

    yield start
    for stage in stages:
        stage.process.kill()
        stage.process.communicate()


def test_a_foreign_sender_moves_the_prompt(perform, needs, eventually):
    """Debian's oscsend (liblo) in place of a DVS: the left record lies in Ticket seller."""
    oscsend = needs("oscsend", "liblo-tools")
    stage = perform()
    assert stage.get("status")["state"] == "waiting"

    def tell(at_s):
        for side, position in (("left", at_s), ("right", 2.0)):
            address = f"/deck/{side}/position"
            subprocess.run(
                [oscsend, f"osc.udp://127.0.0.1:{stage.osc}", address, "f", str(position)],
                check=True,
            )

    steps = iter(range(1000))

    def found():
        tell(30.0 + 0.03 * next(steps))
        status = stage.get("status")
        return status["state"] != "waiting" and status

    status = eventually(found)
    assert status["decks"]["left"]["position"] == pytest.approx(30.0, abs=2.0)
    assert status["decks"]["right"]["position"] == pytest.approx(2.0, abs=0.1)

    def named():
        found()
        return stage.get("status")["piece"]["name"] == "Ticket seller"

    eventually(named, 20)
    assert stage.get("health")["osc"]["refused"] == {}


def test_it_starts_without_a_controller_says_so_and_ends_when_told(perform):
    stage = perform()
    status, printed = stage.end(signal.SIGHUP)
    assert status == 0
    assert f"Page     http://127.0.0.1:{stage.http}/" in printed
    assert f"OSC in   127.0.0.1:{stage.osc}" in printed
    assert "no controller" in printed
    assert printed.rstrip().endswith("Lamps off, ports closed.")


@pytest.mark.parametrize("number", ENDINGS)
def test_every_ending_is_asked_for_politely(number):
    """SIGINT, SIGTERM and SIGHUP alike, sent to this very process."""

    async def run():
        asked = asyncio.Event()
        with ends_by_signal(asked.set):
            os.kill(os.getpid(), number)
            await asyncio.wait_for(asked.wait(), 10)

    before = signal.getsignal(number)
    asyncio.run(run())
    assert signal.getsignal(number) == before


def test_a_missing_controller_is_said_and_no_obstacle(perform, eventually):
    stage = perform("--midi", "nightbox")
    # A machine that is too busy to answer in time is asked again.
    eventually(lambda: stage.get("health")["midi"]["state"] in (
        "no MIDI system on this machine", "no port of that name", NOT_INSTALLED
    ))  # fmt: skip
    status, printed = stage.end(signal.SIGINT)
    assert status == 0
    assert re.search("Lamps    nightbox: (no |MIDI is not installed)", printed)


def test_a_taken_port_is_said_and_the_exit_status_is_1(perform):
    first = perform()
    again = subprocess.run(
        [*LIVEAID, "perform", "tests/routines/three.yaml", "--osc", f"127.0.0.1:{first.osc}",
         "--http", "127.0.0.1:0"],
        capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    assert again.returncode == 1
    assert f"127.0.0.1:{first.osc}: another program listens there already" in again.stderr
    assert "Traceback" not in again.stderr


@pytest.mark.parametrize(
    ("options", "status", "said"),
    [
        (["--osc", "nowhere"], 2, "HOST:PORT"),
        (["--osc-map", "no-such-map"], 2, "deck-in-argument"),
        (["--lamps", "no-such-layout"], 2, "grid-8x8"),
        (["--token", "two words"], 2, "--token two words: letters, digits, -, _, . and ~ would do"),
        (["--osc", "stage..local:9000"], 1, "it is no host's name"),
        (["--midi-api", "carrier pigeon"], 2, "auto"),
        (["--osc-map", "fraction"], 1, "file_s"),
    ],
)
def test_wrong_use_is_said_with_what_would_do(liveaid, routines, options, status, said):
    ended = liveaid("perform", routines / "three.yaml", "--http", "127.0.0.1:0", *options)
    assert ended.status == status
    assert said in ended.err
    assert "Traceback" not in ended.err


def test_a_routine_that_is_not_placed_is_sent_to_render(liveaid, tmp_path):
    plain = tmp_path / "routine.yaml"
    plain.write_text(
        textwrap.dedent("""
        title: Not yet
        pieces:
          - {name: One, bars: 4, tempo: 100, count: left, left: {hand: runs}}
    """)
    )
    ended = liveaid("perform", plain, "--osc", "127.0.0.1:0", "--http", "127.0.0.1:0")
    assert ended.status == 1
    assert "liveaid render" in ended.err


def test_beyond_this_machine_a_token_is_made_up_and_printed(routines):
    stage = subprocess.Popen(
        [*LIVEAID, "perform", str(routines / "three.yaml"), "--osc", "127.0.0.1:0",
         "--http", "0.0.0.0:0"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    line = stage.stdout.readline()
    port, token = re.search(r":(\d+)/\?token=(\S{8,})", line).groups()
    with pytest.raises(urllib.error.HTTPError, match="401"):
        urllib.request.urlopen(f"http://127.0.0.1:{port}/status", timeout=5)
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/status?token={token}", timeout=5) as told:
        assert json.load(told)["state"] == "waiting"
    stage.terminate()
    stage.communicate(timeout=15)
    assert stage.returncode == 0


def test_lamps_arrive_on_a_second_client(perform, jack, eventually, tmp_path):
    """Over JACK's dummy driver: lit when the controller is there, all again when it is plugged in
    anew, through a server that dies and comes back, and dark at the end."""
    server = jack()
    log = tmp_path / "midi.log"

    def plug_in():
        listener = subprocess.Popen(
            [sys.executable, "-c", LISTENER], stdout=log.open("w"), stderr=subprocess.DEVNULL
        )
        eventually(lambda: log.read_text().startswith("listening") or listener.poll())
        return listener

    def lit():
        return {line for line in log.read_text().split()[1:] if len(line) == 6}

    def server_is_up():
        ports = subprocess.run(
            [*LIVEAID, "ports", "--json", "--midi-api", "jack"],
            capture_output=True, text=True, timeout=30,
        )  # fmt: skip
        return json.loads(ports.stdout)["absent"] == {}

    eventually(server_is_up)
    listener = plug_in()
    stage = perform("--midi", "nightbox", "--midi-api", "jack", "--lamps", "row-16")
    # MIDI 1.0: note-on on channel 1 is 90; while it waits the pulse, note 45 (hex 2d), lives: on
    # (127, hex 7f) and dim (16, hex 10); the rest are put out by note-on with velocity 0.
    shown = {"902d7f", "902d10", "902400", "903300"}
    eventually(lambda: shown <= lit())
    assert stage.get("health")["midi"]["state"] == "open"

    listener.kill()
    eventually(lambda: stage.get("health")["midi"]["state"] != "open")
    listener = plug_in()
    eventually(lambda: shown <= lit())

    server.terminate()
    server.wait(10)
    eventually(lambda: stage.get("health")["midi"]["state"] != "open")
    listener.kill()
    jack()
    eventually(server_is_up)
    listener = plug_in()
    eventually(lambda: "902d7f" in lit())

    status, _ = stage.end()
    assert status == 0
    eventually(lambda: "902d00" in lit())
    listener.kill()


# A controller on the JACK server: presses its pads (notes 40, 41, 50, then 60) when told to.
PADS = """
import sys, time, rtmidi
port = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="nightpads")
port.open_virtual_port("keys")
print("plugged in", flush=True)
sys.stdin.readline()
for number in (40, 41, 41, 50, 60):
    port.send_message([0x91, number, 100])
    time.sleep(0.05)
    port.send_message([0x91, number, 0])
    time.sleep(0.05)
time.sleep(30)
"""


def test_a_layout_is_learned_from_pads_pressed_on_a_second_client(jack, eventually, tmp_path):
    jack()
    out = tmp_path / "lamps-mine.yaml"
    learn = [*LIVEAID, "learn", "midi", "--midi", "nightpads", "--midi-api", "jack", "--bars", "2",
             "--beats", "1", "--out", str(out)]  # fmt: skip
    eventually(
        lambda: "no port of that name" in subprocess.run(
            learn, capture_output=True, text=True, timeout=60).stderr, 90,
    )  # fmt: skip
    pads = subprocess.Popen(
        [sys.executable, "-c", PADS], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert "plugged in" in pads.stdout.readline()
    learning = subprocess.Popen(learn, stdout=subprocess.PIPE, text=True)
    assert "bars.0" in learning.stdout.readline()
    assert "Listening to nightpads:keys" in learning.stdout.readline()
    pads.stdin.write("\n")
    pads.stdin.flush()
    while "next_left is note 60" not in learning.stdout.readline():
        assert learning.poll() is None
    learning.send_signal(signal.SIGINT)
    learning.communicate(timeout=15)
    pads.kill()
    pads.communicate()
    assert learning.returncode == 0
    layout = read_config(out.read_bytes(), str(out), LampLayout)
    assert [place.number for place in layout.lamps.bars] == [40, 41]
    assert [place.number for place in layout.lamps.beats] == [50]
    assert (layout.channel, layout.lamps.next_left.number) == (2, 60)


# Ends with this module: while it runs, the thread has an event loop, and asyncio.run has no place.
@pytest.fixture(scope="module")
def chromium(needs):
    sync_api = pytest.importorskip("playwright.sync_api")
    program = needs("chromium", "chromium")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


def spun(message, send, to):
    """The left record turning at pitch 0 in Ticket seller, the right held: one step a `next`."""
    start = time.monotonic()
    while True:
        send(to, message("/deck/left/position", 31.8 + time.monotonic() - start))
        send(to, message("/deck/right/position", 2.0))
        yield True


def test_the_page_shows_the_performance_and_marks_itself_old(
    perform, chromium, message, send, eventually
):
    # A small window: without a graphics card each of its pixels is computed sixty times a second.
    stage = perform("--screen", "24", "--away", "1")
    page = chromium.new_page(viewport={"width": 640, "height": 360})
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(f"http://127.0.0.1:{stage.http}/")
    page.wait_for_selector("body[data-state=waiting]")

    played = spun(message, send, Address("127.0.0.1", stage.osc))
    eventually(lambda: next(played) and page.get_attribute("body", "data-state") == "following", 20)
    status = stage.get("status")
    assert status["piece"]["name"] == "Ticket seller"
    # 108 BPM at pitch 0, the record turning by this process's clock.
    eventually(lambda: next(played) and page.inner_text("#tempo") in ("107 BPM", "108 BPM"), 20)
    # The state comes with the message, the count with the next picture drawn.
    left = [str(bars) for bars in range(1, status["bars_left"] + 1)]
    eventually(lambda: next(played) and page.inner_text("#bars") in left, 20)
    assert page.inner_text("#title") == "Carousel Lane"
    assert page.inner_text("#name") in ("Painted horses", "Ticket seller")  # next; now, in bar 1
    assert page.get_attribute("body", "data-ink") == "full"

    stage.process.send_signal(signal.SIGSTOP)  # hangs: the stream stays open, and is mute
    page.wait_for_selector("body[data-ink=struck]", timeout=8000)
    assert re.fullmatch(r"Old: \d+ s", page.inner_text("#label"))
    stage.process.send_signal(signal.SIGCONT)
    page.wait_for_selector("body:not([data-ink=struck])", timeout=15000)
    assert stage.end()[0] == 0
    page.wait_for_selector("body[data-ink=struck]", timeout=8000)
    assert faults == []
    page.close()


def test_the_page_is_still_for_those_who_ask_for_it(perform, chromium):
    stage = perform()
    page = chromium.new_page(reduced_motion="reduce")
    page.goto(f"http://127.0.0.1:{stage.http}/")
    page.wait_for_selector("body[data-state=waiting]")
    page.wait_for_timeout(300)
    assert page.locator("#beats li").count() == 0
    page.close()
