"""What goes over the wire, received on a real socket.

Bytes: Open Sound Control 1.0 (Wright 2002): address and type tags as null-padded strings of a
multiple of four bytes, float32 big-endian. Reference reader: python-osc.
"""

import asyncio
import json
import os
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from contextlib import closing

import pytest
from click.testing import CliRunner
from pythonosc.osc_message import OscMessage

from liveaid.cli import main
from liveaid.commands.simulate import command
from liveaid.routine import Routine, load_routine
from liveaid.simulate import Network, perform
from liveaid.simulate.send import Sender, SendError, datagrams, send, send_now

ADDRESSES = {
    "/deck/left/position", "/deck/right/position", "/deck/left/speed", "/deck/right/speed",
    "/mixer/crossfader", "/mixer/left/level", "/mixer/right/level",
}  # fmt: skip


@pytest.fixture
def short():
    """Two seconds of music."""
    return Routine.model_validate({"title": "Short", "pieces": [{
        "name": "a", "bars": 1, "tempo": 120, "count": "left",
        "left": {"hand": "runs", "at": 1.8}, "right": {"hand": "works", "from": 3.6, "to": 4.6},
    }]})  # fmt: skip


@pytest.fixture
def listener():
    """A bound UDP socket, and all it has heard with the time of each, in a thread of its own."""
    heard = []
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as ear:
        ear.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        ear.bind(("127.0.0.1", 0))
        ear.settimeout(0.05)
        done = threading.Event()

        def listen():
            while True:
                try:
                    data = ear.recv(512)
                    heard.append((time.monotonic(), data))
                except TimeoutError:
                    if done.is_set():
                        return

        thread = threading.Thread(target=listen)
        thread.start()

        def finish():
            done.set()
            thread.join()
            return heard

        yield ear.getsockname()[1], finish, heard
        done.set()
        thread.join()


def test_datagram_is_written_as_the_standard_says(short):
    performance = perform(short, seed=1, network=Network(rate_hz=20.0))
    _, data = next(d for _, d in enumerate(datagrams(performance, also=())) if b"left" in d[1])
    first = performance.messages.of("left")[0]
    assert data == b"/deck/left/position\0" + b",f\0\0" + struct.pack(">f", first.position_s)


def test_everything_said_can_be_read_by_others(short):
    performance = perform(short, seed=1)
    said = list(datagrams(performance, also=("speed", "mixer")))
    read = [OscMessage(data) for _, data in said]
    assert {message.address for message in read} == ADDRESSES
    assert all(len(m.params) == 1 and isinstance(m.params[0], float) for m in read)
    times = [t for t, _ in said]
    assert times == sorted(times)
    assert len(said) == 2 * len(performance.messages) + len(performance.mixer)


def test_performance_arrives_whole_and_in_order(short, listener):
    port, finish, _ = listener
    performance = perform(short, seed=1)
    began = time.monotonic()
    with Sender(performance, "127.0.0.1", port, begin_s=began) as sender:
        for _ in send_now(sender):
            pass
    heard = finish()
    sent = [data for _, data in datagrams(performance)]
    assert [data for _, data in heard] == sent
    assert sender.sent == len(sent)
    assert sender.failed == sender.refused == 0
    due = [t for t, _ in datagrams(performance)]
    assert all(t >= began + d for (t, _), d in zip(heard, due, strict=True))


def test_twice_the_speed_takes_half_the_time(short):
    """Told the time by hand: at 2x all that lies in the first second is due after half of it."""
    performance = perform(short, seed=1)
    with Sender(performance, "127.0.0.1", 9, begin_s=100.0, speed=2.0) as sender:
        wait_s = sender.send_due(100.5)
        due = sum(t <= 1.0 for t, _ in datagrams(performance))
        assert sender.sent + sender.failed == due
        assert wait_s == pytest.approx(0.0, abs=0.01)
        assert sender.send_due(1000.0) is None
        assert sender.send_due(1000.0) is None


def test_loop_of_ones_own_can_send_and_cancel(short, listener):
    port, finish, _ = listener
    performance = perform(short, seed=2)

    async def run():
        sender = await send(performance, "127.0.0.1", port, speed=20.0)
        cut = asyncio.create_task(send(performance, "127.0.0.1", port, speed=0.01))
        await asyncio.sleep(0.05)
        cut.cancel()
        with pytest.raises(asyncio.CancelledError):
            await cut
        return sender

    sender = asyncio.run(run())
    assert sender.sent == len(list(datagrams(performance)))
    assert len(finish()) < sender.sent + 20


def test_nobody_listening_is_counted_and_costs_no_datagram(short):
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    performance = perform(short, seed=1)
    sender = asyncio.run(send(performance, "127.0.0.1", port, speed=20.0))
    assert sender.sent == len(list(datagrams(performance)))
    assert sender.refused > 0


def test_address_that_cannot_be_is_an_error_with_what_would_do(short):
    with pytest.raises(SendError, match="would do"):
        Sender(perform(short, seed=1), "no.such.host.invalid", 9000, begin_s=0.0)


def _map(tmp_path, *, placed=True):
    at = ", at: 1.8" if placed else ""
    file = tmp_path / "routine.yaml"
    file.write_text(
        "title: Short\npieces:\n"
        "  - {name: a, bars: 1, tempo: 120, count: left, left: {hand: runs" + at + "}}\n"
        "  - {name: b, bars: 1, tempo: 120, left: {hand: works, from: 9.0, to: 9.5}}\n"
        "  - {name: c, bars: 1, tempo: 120, left: {hand: works, from: 9.0, to: 9.5}}\n"
    )
    return str(file)


def test_command_sends_reports_and_writes_the_truth(tmp_path, listener):
    port, finish, _ = listener
    record = tmp_path / "truth.json"
    ran = CliRunner().invoke(
        command,
        [_map(tmp_path), "--osc", f"127.0.0.1:{port}", "--speed-up", "20", "--fault", "skip",
         "--record", str(record), "--json"],
    )  # fmt: skip
    assert ran.exit_code == 0, ran.output
    report = json.loads(ran.stdout)
    assert report["datagrams"] == len(finish())
    assert [fault["kind"] for fault in report["faults"]] == ["skip"]
    truth = json.loads(record.read_text())
    assert set(truth["piece"]) == {-1, 0, 2}
    lengths = {len(truth[name]) for name in ("times_s", "piece", "beat", "left_s", "right_s")}
    assert len(lengths) == 1
    assert truth["faults"][0]["kind"] == "skip"


def test_record_is_the_truth_of_the_same_seed(tmp_path):
    file, record = _map(tmp_path), tmp_path / "truth.json"
    CliRunner().invoke(command, [file, "--speed-up", "100", "--seed", "7", "--record", str(record)])
    truth = json.loads(record.read_text())
    again = perform(load_routine(file), seed=7)
    assert truth["duration_s"] == round(again.duration_s, 3)
    for t, piece, left in zip(truth["times_s"], truth["piece"], truth["left_s"], strict=True):
        place = again.truth.at(t)
        assert (place[0] if place else -1) == piece
        assert again.truth.position_s("left", [t])[0] == pytest.approx(left, abs=1e-5)


def _liveaid(*arguments):
    return [sys.executable, "-c", "from liveaid.cli import main; main()", "simulate", *arguments]


def test_routine_not_placed_asks_for_render(tmp_path, capsys):
    with pytest.raises(SystemExit) as left:
        main(["simulate", _map(tmp_path, placed=False)])
    assert left.value.code == 1
    assert "liveaid render" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "status"),
    [(["--osc", "nowhere"], 2), (["--fault", "sneeze"], 2), (["--from-piece", "9"], 2),
     (["--fault", "needle-jump"], 1), (["--record", "/no/such/folder/t.json"], 1)],
)  # fmt: skip
def test_wrong_use_is_said_in_words(tmp_path, arguments, status, capsys):
    with pytest.raises(SystemExit) as left:
        main(["simulate", _map(tmp_path), *arguments])
    assert left.value.code == status
    assert capsys.readouterr().err.strip()


def test_interrupt_stops_at_once_and_says_what_was_sent(tmp_path, listener):
    port, finish, heard = listener
    process = subprocess.Popen(
        _liveaid(_map(tmp_path), "--osc", f"127.0.0.1:{port}", "--speed-up", "0.02"),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ,
    )  # fmt: skip
    while not heard and process.poll() is None:
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert out.startswith("Stopped: Short")
    assert f" {len(finish())} datagrams" in out
    assert "Traceback" not in err
