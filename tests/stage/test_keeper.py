"""A stage that is kept running: killed, it follows again; asked to end, it ends for good."""

import contextlib
import math
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from configparser import ConfigParser
from functools import partial
from json import load
from types import SimpleNamespace

import click
import pytest

from liveaid.cli import liveaid
from liveaid.files.folders import shipped
from liveaid.stage import keeper
from liveaid.stage.address import Address
from liveaid.stage.ending import ENDINGS
from liveaid.stage.keeper import HUNG_S, Keeper, SignOfLife, sign_of_life
from liveaid.stage.stage_log import log_lines

UPGRADE = (
    b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
)  # the key is the one of RFC 6455, 1.3
LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]


def status(port, path="status"):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/{path}", timeout=2) as answer:
            return load(answer)
    except OSError:
        return {}


@pytest.fixture
def kept(routines, free_port, tmp_path):
    """A kept `perform`, with its ports and its log."""
    osc, http, log = free_port(), free_port(), tmp_path / "stage.log"
    process = subprocess.Popen(
        [*LIVEAID, "perform", str(routines / "three.yaml"), "--restart", "--log", str(log),
         "--osc", f"127.0.0.1:{osc}", "--http", f"127.0.0.1:{http}"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    yield process, osc, http, log
    process.terminate()
    try:
        process.communicate(timeout=20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()


@pytest.fixture
def turning(message, send):
    """turning(port): the left record runs in Ticket seller, the right is held, until the end."""
    ended = threading.Event()

    def run(port):
        start = time.monotonic()
        while not ended.wait(0.01):
            at = 31.8 + (time.monotonic() - start) % 14
            send(Address("127.0.0.1", port), message("/deck/left/position", at))
            send(Address("127.0.0.1", port), message("/deck/right/position", 2.0))

    threads = []

    def turn(port):
        threads.append(threading.Thread(target=run, args=(port,), daemon=True))
        threads[-1].start()

    yield turn
    ended.set()
    for thread in threads:
        thread.join()


def test_killed_it_follows_again_and_ends_for_good_when_asked(kept, turning, eventually):
    process, osc, http, log = kept
    turning(osc)
    eventually(lambda: status(http).get("state") == "following", 30)
    first = status(http, "health")["pid"]
    os.kill(first, signal.SIGKILL)
    eventually(lambda: status(http, "health").get("pid", first) != first, 30)
    eventually(lambda: status(http).get("state") == "following", 30)
    second = status(http, "health")["pid"]
    process.send_signal(signal.SIGHUP)
    printed, said = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "was ended by SIGKILL; it goes on at once" in said
    assert printed.rstrip().endswith("Lamps off, ports closed.")
    with pytest.raises(ProcessLookupError):
        os.kill(second, 0)
    says = [line["says"] for line in log_lines(log)]
    assert says.count("started") == 2
    assert says[-1] == "stopped"
    assert "following" in says
    assert {"at", "level", "says"} <= set(log_lines(log)[0])


def test_a_stage_that_hardly_gets_the_machine_answers_again_and_one_that_stands_is_let_go(
    kept, turning, eventually, free_port
):
    """Starved: it runs for some 3 ms of every 150, positions and a crowd of connections waiting,
    for longer than a hang is borne. Either it goes on or the next one does; no place at the door
    stays taken. Then it is stopped for good."""
    _, osc, http, _ = kept
    turning(osc)
    eventually(lambda: status(http).get("state") == "following", 30)
    starved = status(http, "health")["pid"]
    crowd = [socket.create_connection(("127.0.0.1", http), 5) for _ in range(120)]
    for number, one in enumerate(crowd):
        one.sendall((b"GET / HT", b"\0\r\n\r\n", UPGRADE)[number % 3])
    end_s = time.monotonic() + 1.5 * HUNG_S
    with contextlib.suppress(ProcessLookupError):
        while time.monotonic() < end_s:
            os.kill(starved, signal.SIGSTOP)
            time.sleep(0.147)
            os.kill(starved, signal.SIGCONT)
            time.sleep(0.003)
    for one in crowd:
        one.close()
    eventually(lambda: status(http).get("state") == "following", 30)
    eventually(lambda: status(http, "health")["page"]["connections"] <= 2, 30)
    stopped = status(http, "health")["pid"]
    os.kill(stopped, signal.SIGSTOP)
    eventually(lambda: status(http, "health").get("pid", stopped) != stopped, 60)
    eventually(lambda: status(http).get("state") == "following", 30)


# What a stage process does here, whatever way it is started.
def ends_with_2(stand_by):
    stand_by()
    sys.exit(2)


def ends_with_1(stand_by):
    stand_by()
    sys.exit(1)


def crashes(stand_by):
    stand_by()
    os.kill(os.getpid(), signal.SIGKILL)


def hangs_once(flag, stand_by):
    """It shows life, then none; the second one ends by itself."""
    stand_by()
    if flag.exists():
        sys.exit(0)
    flag.touch()
    (life,) = sign_of_life()
    life.prompted(None, time.monotonic())
    time.sleep(60)


def never_begins_again(flag, stand_by):
    """It shows life and is killed; the second one shows none, the third ends by itself."""
    stand_by()
    begun = len(list(flag.parent.glob("begun*")))
    flag.with_name(f"begun-{begun}").touch()
    if begun == 0:
        (life,) = sign_of_life()
        life.prompted(None, time.monotonic())
        os.kill(os.getpid(), signal.SIGKILL)
    if begun == 1:
        time.sleep(60)
    sys.exit(0)


class Asked:
    """Stands in for the stage: runs until it is asked to stop by the keeper's word alone."""

    def __init__(self):
        self.runs = True

    def ask_stop(self):
        self.runs = False


def deaf_to_signals(flag, stand_by):
    """As where a signal ends nothing politely: only the pipe can ask it to end."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    stand_by()
    (life,) = sign_of_life()
    stage = Asked()
    life.started(stage)
    flag.touch()
    while stage.runs:
        life.prompted(None, time.monotonic())
        time.sleep(0.02)


def kept_by(work, start_method="fork", meanwhile=lambda keeper: None):
    """The keeper's status, what it said, and whether it put lamps out."""
    said, out = [], []
    keeper = Keeper(
        work, lamps_out=lambda: out.append("out"), say=said.append, start_method=start_method
    )
    before = {number: signal.getsignal(number) for number in ENDINGS}
    beside = threading.Thread(target=meanwhile, args=(keeper,))
    beside.start()
    try:
        return keeper.run(), said, out
    finally:
        beside.join()
        for number, handler in before.items():
            signal.signal(number, handler)


def test_wrong_use_is_not_tried_again():
    assert kept_by(ends_with_2) == (2, [], [])
    assert kept_by(ends_with_1) == (1, [], [])


def test_what_crashes_at_once_is_given_up_and_its_lamps_put_out():
    ended, said, out = kept_by(crashes)
    assert ended == 1
    assert "ended 5 times in 20 s; it is left ended" in said[-2]
    assert "was ended by SIGKILL" in said[-1]
    assert out == ["out"]


def test_what_hangs_is_killed(tmp_path, monkeypatch):
    monkeypatch.setattr("liveaid.stage.keeper.HUNG_S", 0.3)
    ended, said, out = kept_by(partial(hangs_once, tmp_path / "flag"))
    assert (ended, out) == (0, [])
    assert said == ["liveaid was ended by SIGKILL; it goes on at once."]


def test_one_that_took_over_and_shows_no_life_is_let_go_too(tmp_path, monkeypatch):
    monkeypatch.setattr("liveaid.stage.keeper.BEGIN_AGAIN_S", 0.5)
    ended, said, _ = kept_by(partial(never_begins_again, tmp_path / "flag"))
    assert ended == 0
    assert said == ["liveaid was ended by SIGKILL; it goes on at once."] * 2


@pytest.mark.parametrize("start_method", ["fork", "spawn"])
def test_it_is_asked_to_end_by_the_pipe_too(tmp_path, eventually, start_method):
    """Windows knows no polite signal from one process to another (`multiprocessing`, terminate).

    Copied as on Linux, or loaded anew as elsewhere."""
    flag = tmp_path / "flag"

    def ask(keeper):
        try:
            eventually(flag.exists, 60)
        finally:  # else it would be kept running for ever
            os.kill(os.getpid(), signal.SIGTERM)

    assert kept_by(partial(deaf_to_signals, flag), start_method, ask) == (0, [], [])


def test_the_unit_file_calls_what_there_is():
    """Its command lines are read by the command line itself."""
    unit = ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str
    unit.read(shipped("configs") / "liveaid-stage.service")
    for name in ("ExecStart", "ExecStopPost"):
        program, command, *arguments = unit["Service"][name].split()
        assert program.endswith("/liveaid")
        found = liveaid.get_command(click.Context(liveaid), command)
        found.make_context(command, list(arguments))
    assert unit["Service"]["Restart"] == "on-failure"


class World:
    """Stage processes by what they are to do, and a clock that goes on while one is waited for."""

    def __init__(self, *lives):
        """`lives`: of each stage in turn, how many seconds it runs and the status it ends with."""
        self.now, self.lives, self.made = 0.0, list(lives), []
        self.at = {}
        """What is done at a time of the clock."""

    def process(self, work, start_method):
        made = Process(self, *(self.lives[len(self.made)] if len(self.made) < len(self.lives)
                               else (math.inf, 0)))  # fmt: skip
        self.made.append(made)
        return made

    def did(self):
        return [each.did for each in self.made]


class Process:
    def __init__(self, world, lasts_s, status):
        self.world, self.lasts_s, self.ends_with = world, lasts_s, status
        self.did = [("made", world.now)]
        self.hangs_at = math.inf
        self.process = SimpleNamespace(kill=self.kill)

    def go(self, within_s=math.inf):
        self.began_s = self.world.now
        self.did.append(("go", self.began_s, within_s))

    def status(self, within_s):
        self.world.now = round(self.world.now + within_s, 6)
        for at in [at for at in self.world.at if at <= self.world.now]:
            self.world.at.pop(at)()
        ran_s = round(self.world.now - self.began_s, 6)
        return self.ends_with if ran_s >= self.lasts_s else None

    def ask_to_end(self):
        self.did.append(("asked", self.world.now))

    def hangs(self):
        return self.world.now >= self.hangs_at

    def kill(self):
        self.did.append(("killed", self.world.now))
        self.lasts_s, self.ends_with = 0.0, -9

    def close(self):
        self.did.append("closed")


@pytest.fixture
def kept_in(monkeypatch):
    """kept_in(world): what a keeper returns, what it says, and how often it put lamps out."""

    def run(world):
        said, dark = [], []
        monkeypatch.setattr(keeper, "_Kept", world.process)
        monkeypatch.setattr(keeper.time, "monotonic", lambda: world.now)
        monkeypatch.setattr(keeper.signal, "signal", lambda *_: None)
        monkeypatch.setattr(keeper.gc, "freeze", lambda: None)
        world.keeper = Keeper(None, lamps_out=lambda: dark.append(1), say=said.append)
        return world.keeper.run(), said, len(dark)

    return run


def test_a_stage_that_crashes_goes_on_by_the_one_that_stands_by(kept_in):
    """The first is left alone with the machine for 2 s; the one after it has loaded already."""
    world = World((10.0, 3), (1.0, 0))
    assert kept_in(world) == (0, ["liveaid ended with status 3; it goes on at once."], 0)
    assert world.did() == [
        [("made", 0.0), ("go", 0.0, math.inf), "closed"],
        [("made", 2.1), ("go", 10.0, 60.0), "closed"],
        [("made", 10.1), "closed"],
    ]


def test_without_a_standby_yet_another_is_made_at_once(kept_in):
    world = World((1.0, -11), (0.1, 0))
    world.now = 50.0  # whenever it began
    said = ["liveaid was ended by SIGSEGV; it goes on at once."]
    assert kept_in(world) == (0, said, 0)
    assert world.did()[1][0] == ("made", 51.0)


@pytest.mark.parametrize(
    ("status", "after_s", "again"),
    [(0, 9.0, False), (1, 4.9, False), (1, 5.0, True), (2, 9.0, False), (130, 9.0, False),
     (3, 0.1, True), (-9, 0.1, True)],
)  # fmt: skip
def test_what_ended_by_itself_is_not_started_again_but_for_a_problem_that_came_later(
    kept_in, status, after_s, again
):
    world = World((after_s, status), (0.1, 0))
    told, said, dark = kept_in(world)
    assert (told, len(said), dark) == ((0, 1, 0) if again else (status, 0, 0))


def test_what_crashes_six_times_in_twenty_seconds_is_left_ended_with_its_lamps_out(kept_in):
    world = World(*[(1.0, -9)] * 9)
    told, said, dark = kept_in(world)
    assert (told, dark) == (1, 1)
    assert said == [
        *["liveaid was ended by SIGKILL; it goes on at once."] * 5,
        "liveaid ended 5 times in 20 s; it is left ended.",
        "liveaid was ended by SIGKILL.",
    ]


@pytest.mark.parametrize(("first_s", "again"), [(3.9, False), (4.0, True)])
def test_five_crashes_may_be_twenty_seconds_apart(kept_in, first_s, again):
    """Crashes 1 to 6: from the first to the sixth 4 x 4 s and `first_s`."""
    world = World((1.0, 5), (first_s, 5), *[(4.0, 5)] * 4, (1.0, 0))
    assert kept_in(world)[0] == (0 if again else 5)


def test_asked_to_end_it_is_asked_once_and_after_ten_seconds_killed(kept_in):
    world = World((math.inf, 0))
    world.at[1.0] = lambda: world.keeper._ask(15, None)
    assert kept_in(world) == (1, ["liveaid was ended by SIGKILL."], 1)
    assert world.did() == [
        [("made", 0.0), ("go", 0.0, math.inf), ("asked", 1.0), ("killed", 11.1), "closed"]
    ]


def test_asked_to_end_it_is_not_started_again_whatever_it_ends_with(kept_in):
    world = World((3.0, 3))
    world.at[2.9] = lambda: world.keeper._ask(2, None)
    assert kept_in(world) == (3, ["liveaid ended with status 3."], 1)


def test_one_that_hangs_is_killed_and_goes_on(kept_in):
    world = World((math.inf, 0), (0.1, 0))
    world.at[7.0] = lambda: setattr(world.made[0], "hangs_at", 7.5)
    told, said, _ = kept_in(world)
    assert (told, said) == (0, ["liveaid was ended by SIGKILL; it goes on at once."])
    assert ("killed", 7.5) in world.did()[0]


def test_no_sign_of_life_for_four_seconds_is_hanging_and_the_first_may_take_its_time(monkeypatch):
    now, signs = 0.0, []
    monkeypatch.setattr(keeper.time, "monotonic", lambda: now)
    stage = object.__new__(keeper._Kept)
    stage._pipe = SimpleNamespace(
        poll=lambda: bool(signs), recv_bytes=lambda: signs.pop(), send_bytes=lambda word: None
    )
    stage.go(60.0)
    now = 60.0
    assert not stage.hangs()
    now = 60.1
    assert stage.hangs()
    signs += [b".", b"."]
    assert not stage.hangs()
    now = 64.1
    assert not stage.hangs()
    now = 64.2
    assert stage.hangs()
    stage.go()
    now = 1e9
    assert not stage.hangs()


def test_a_sign_of_life_is_given_every_half_second_and_the_word_to_end_is_heard():
    sent, words, asked = [], [], []
    pipe = SimpleNamespace(
        send_bytes=sent.append, poll=lambda: bool(words), recv_bytes=lambda: words.pop(0)
    )
    sign = SignOfLife(pipe)
    words.append(b"end")  # before the stage is set there is nobody to be asked
    sign.prompted(None, 10.0)
    sign.started(SimpleNamespace(ask_stop=lambda: asked.append(True)))
    sign.prompted(None, 10.49)
    assert (sent, asked) == ([b"."], [])
    sign.prompted(None, 10.5)
    words.append(b"go")
    sign.prompted(None, 11.0)
    assert (len(sent), asked) == (3, [])
    words.append(b"end")
    sign.prompted(None, 11.5)
    assert asked == [True]


def test_why_a_stage_ended_is_told_by_the_signals_name():
    """POSIX: 9 is SIGKILL, 15 SIGTERM (from memory); there is none of number 200."""
    assert [keeper._why(status) for status in (0, 3, -9, -15, -200)] == [
        "ended with status 0", "ended with status 3", "was ended by SIGKILL",
        "was ended by SIGTERM", "was ended by signal 200",
    ]  # fmt: skip
