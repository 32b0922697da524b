"""Datagrams off the socket: how many at a turn, how old, and what is not read a second time."""

import asyncio
import contextlib
import socket
import time
from types import SimpleNamespace

import pytest

from liveaid.stage import receiver as module
from liveaid.stage.address import Address
from liveaid.stage.osc_map import DEFAULT_MAP, table_for
from liveaid.stage.osc_packet import OSC_PACKET_MAX_BYTES
from liveaid.stage.receiver import Receiver

REAL = time.time


class Told:
    """A receiver with a sender to it, and all that it hands over."""

    def __init__(self):
        self.heard, self.settled = [], []
        self.receiver = Receiver(
            table_for(DEFAULT_MAP), hear=self.heard.append,
            settled=lambda heard, behind: self.settled.append((len(heard), behind)),
        )  # fmt: skip

    def send(self, *datagrams):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for data in datagrams:
                sender.sendto(data, (self.receiver.address.host, self.receiver.address.port))


def turned(body):
    """Run `body(told)` with the receiver open; the loop itself gets no turn meanwhile."""

    async def go():
        told = Told()
        told.receiver.open(Address("127.0.0.1", 0))
        with contextlib.closing(told.receiver):
            body(told)

    asyncio.run(go())


@pytest.fixture
def clock(monkeypatch):
    """A clock that stands at 100 s; `ahead` makes the time of day run ahead of the kernel's."""
    clock = SimpleNamespace(now=100.0, ahead=0.0)
    told = SimpleNamespace(monotonic=lambda: clock.now, time=lambda: REAL() + clock.ahead)
    monkeypatch.setattr(module, "time", told)
    return clock


@pytest.fixture
def read_of(monkeypatch):
    """How many datagrams were read through."""
    read, whole = [], module.read_positions
    monkeypatch.setattr(
        module, "read_positions", lambda data, *rest: read.append(data) or whole(data, *rest)
    )
    return read


def test_an_address_nobody_has_is_read_once_whatever_its_number(message, read_of):
    def body(told):
        for round_ in range(3):
            told.send(*(message(f"/lights/{n}", 1.5 * round_) for n in range(20)))
            told.receiver.turn()
        assert len(read_of) == 20
        counts = told.receiver.to_json()
        assert (counts["messages"], counts["refused"]) == (60, {"unknown address": 60})

    turned(body)


@pytest.mark.parametrize(
    ("address", "arguments"),
    [
        ("/deck/left/position", (1.5,)),  # heard
        ("/deck/left/position", (float("nan"),)),  # refused for its number
        ("/lights/1", (1.5, 2.5)),  # two numbers
        ("/lights/1", (7,)),  # no float
    ],
)
def test_what_may_be_heard_another_time_is_read_each_time(message, read_of, address, arguments):
    def body(told):
        told.send(*[message(address, *arguments)] * 2)
        told.receiver.turn()
        told.send(message(address, *arguments))
        told.receiver.turn()
        assert len(read_of) == 3

    turned(body)


def test_a_flood_of_addresses_fills_no_memory(message, read_of):
    """256 are remembered, in three turns of 128 at most; of 300 the last 44 are read again."""

    def body(told):
        for _ in range(2):
            for at in range(0, 300, 100):
                told.send(*(message(f"/lights/{n}", 1.5) for n in range(at, at + 100)))
                told.receiver.turn()
        assert len(read_of) == 344

    turned(body)


def test_a_turn_takes_in_128_and_says_that_more_waits(message, clock):
    def body(told):
        told.send(*(message("/deck/left/position", float(n)) for n in range(130)))
        told.receiver.turn()
        assert told.settled == [(128, True)]
        told.receiver.turn()
        assert told.settled[1:] == [(2, False)]
        assert [heard.value for heard in told.heard] == [float(n) for n in range(130)]

    turned(body)


def test_a_turn_reads_for_two_milliseconds(message, monkeypatch, clock):
    """Each look at the clock takes .5 ms here; one is taken after each datagram for its age, and
    one more after each 16: the first 16 take 8 ms, and more waits."""

    def tick():
        clock.now += 0.0005
        return clock.now

    monkeypatch.setattr(module.time, "monotonic", tick)

    def body(told):
        told.send(*(message("/deck/left/position", float(n)) for n in range(20)))
        told.receiver.turn()
        assert told.settled == [(16, True)]
        assert told.receiver.to_json()["waiting"] == 4

    turned(body)


@pytest.mark.parametrize(
    ("ahead_s", "heard_s"),
    [(0.0, 100.0), (0.4, 99.6), (0.6, None), (-5.0, 100.0), (100_000.0, 100.0)],
)
def test_how_long_a_datagram_has_waited(message, clock, ahead_s, heard_s):
    """The kernel stamps it by the time of day (socket(7), SO_TIMESTAMPNS). Half a second old says
    where a record was; older than a day, or from to-morrow, is a clock that was set."""
    clock.ahead = ahead_s

    def body(told):
        told.send(message("/deck/left/position", 1.0))
        told.receiver.turn()
        refused = told.receiver.to_json()["refused"]
        if heard_s is None:
            assert (told.heard, refused) == ([], {"too late": 1})
        else:
            assert told.heard[0].now_s == pytest.approx(heard_s, abs=0.05)

    if module.sys.platform == "linux":  # elsewhere nothing is stamped
        turned(body)


def test_what_is_too_long_is_refused_as_that():
    def body(told):
        told.send(b"/" + b"a" * (OSC_PACKET_MAX_BYTES + 3))
        told.receiver.turn()
        assert told.receiver.to_json()["refused"] == {"too large": 1}

    turned(body)


def test_health_tells_where_it_listens_and_what_was_lost(message):
    def body(told):
        told.send(b"none")
        told.receiver.turn()
        found = told.receiver.to_json()
        assert found["address"] == f"127.0.0.1:{told.receiver.address.port}"
        assert found["dropped"]["over budget"] == 0
        assert found["last_refused"]["reason"] == "not OSC"
        assert found["last_refused"]["from"].startswith("127.0.0.1:")
        assert (found["datagrams"], found["waiting"]) == (1, 0)

    turned(body)
    closed = Told().receiver
    assert closed.dropped() == {"over budget": 0}
    closed.turn()
    closed.close()
