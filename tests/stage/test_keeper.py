"""A stage that is kept running: killed, it follows again; asked to end, it ends for good."""

import os
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from configparser import ConfigParser
from json import load

import click
import pytest

from liveaid.cli import liveaid
from liveaid.routine.scene import shipped
from liveaid.stage import Address
from liveaid.stage.keeper import Keeper
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


def scripted(tmp_path, script):
    """A keeper of a process that does as it is told; its status and what was said."""
    file = tmp_path / "stage.py"
    file.write_text(f"import os, sys, time\nsys.stdin.readline()\n{script}\n")
    said, out = [], []
    keeper = Keeper(
        [sys.executable, str(file)], lamps_out=lambda: out.append("out"), say=said.append
    )
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        return keeper.run(), said, out
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def test_wrong_use_is_not_tried_again(tmp_path):
    assert scripted(tmp_path, "sys.exit(2)") == (2, [], [])
    assert scripted(tmp_path, "sys.exit(1)") == (1, [], [])


def test_what_dies_at_once_is_given_up_and_its_lamps_put_out(tmp_path):
    ended, said, out = scripted(tmp_path, "os.abort()")
    assert ended == 1
    assert "ended 5 times in 20 s; it is left ended" in said[-2]
    assert "was ended by SIGABRT" in said[-1]
    assert out == ["out"]


def test_what_hangs_is_killed(tmp_path, monkeypatch):
    """It shows life, then none: the second one ends by itself."""
    monkeypatch.setattr("liveaid.stage.keeper.HUNG_S", 0.3)
    flag = tmp_path / "flag"
    script = f"""
if os.path.exists({str(flag)!r}):
    sys.exit(0)
open({str(flag)!r}, "w").close()
os.write(int(os.environ["LIVEAID_ALIVE_FD"]), b".")
time.sleep(60)
"""
    ended, said, out = scripted(tmp_path, script)
    assert (ended, out) == (0, [])
    assert said == ["liveaid was ended by SIGKILL; it goes on at once."]


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
