"""A stage that is kept running: killed, it follows again; asked to end, it ends for good."""

import os
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from configparser import ConfigParser
from functools import partial
from json import load

import click
import pytest

from liveaid.cli import liveaid
from liveaid.files.folders import shipped
from liveaid.stage import Address
from liveaid.stage.ending import ENDINGS
from liveaid.stage.keeper import Keeper, sign_of_life
from liveaid.stage.stage_log import log_lines

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

    yield lambda port: threading.Thread(target=run, args=(port,), daemon=True).start()
    ended.set()


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
