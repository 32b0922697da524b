"""How late the loop is, and what the system drops: counted from clocks and sockets made by hand."""

import socket
import struct
from types import SimpleNamespace

import pytest

from liveaid.stage import kernel_drops, loop_lag
from liveaid.stage.kernel_drops import ask_for_buffer, dropped_by_system
from liveaid.stage.loop_lag import LoopLag


@pytest.fixture
def looked(monkeypatch):
    """looked(late_s, ...): a lag whose timers came so late, and how often it was asked for."""

    def of(*late_s):
        now, asked = [50.0], []

        def call_later(wait_s, call, due_s):
            asked.append((wait_s, due_s))
            return SimpleNamespace(cancel=lambda: asked.append("cancelled"))

        monkeypatch.setattr(loop_lag.time, "monotonic", lambda: now[0])
        monkeypatch.setattr(
            loop_lag.asyncio, "get_running_loop", lambda: SimpleNamespace(call_later=call_later)
        )
        lag = LoopLag()
        lag.start()
        for late in late_s:
            now[0] = asked[-1][1] + late
            lag._look(asked[-1][1])
        return lag, asked

    return of


def test_the_worst_of_the_last_second_and_of_the_last_ten(looked):
    """A look each tenth: ten to a second. One that comes early is not late."""
    lag, asked = looked(0.3, *[0.0125] * 9)
    assert asked[0] == (0.1, pytest.approx(50.1))
    assert lag.to_json() == {"lag_ms": 300.0, "worst_10s_ms": 300.0}
    lag, _ = looked(0.3, *[0.0125] * 10)
    assert lag.to_json() == {"lag_ms": 12.5, "worst_10s_ms": 300.0}
    assert lag.worst_s(0.1) == pytest.approx(0.0125)
    lag, _ = looked(0.3, *[0.0125] * 100)
    assert lag.to_json() == {"lag_ms": 12.5, "worst_10s_ms": 12.5}
    assert looked(-0.05)[0].worst_s() == 0.0
    assert looked()[0].worst_s() == 0.0


def test_it_looks_no_more_once_it_is_stopped(looked):
    lag, asked = looked(0.0)
    lag.stop()
    assert asked[-1] == "cancelled"
    LoopLag().stop()  # one that never began


class Socket:
    """A socket of a system: what it grants, and what it says of its memory."""

    def __init__(self, *, common=212_992, refuses_beyond=None, may=False, told=b""):
        self.asked, self.granted, self.common = [], 0, common
        self.refuses_beyond, self.may, self.told = refuses_beyond, may, told

    def setsockopt(self, level, option, size):
        assert level == socket.SOL_SOCKET
        self.asked.append((option, size))
        if option == socket.SO_RCVBUF:
            if self.refuses_beyond is not None and size > self.refuses_beyond:
                raise OSError("no buffer space")
            self.granted = min(size, self.common)
        elif not self.may:
            raise PermissionError
        else:
            self.granted = size

    def getsockopt(self, level, option, size=0):
        if size:
            if self.told is None:
                raise OSError
            return self.told[:size]
        return self.granted


@pytest.mark.parametrize(
    ("system", "platform", "granted", "asked"),
    [
        ({"common": 10_000}, "linux", 8_000, [8_000]),
        ({"common": 5_000}, "linux", 5_000, [8_000, 8_000]),
        ({"common": 5_000, "may": True}, "linux", 8_000, [8_000, 8_000]),
        ({"common": 5_000, "may": True}, "darwin", 5_000, [8_000]),
        ({"common": 9_000, "refuses_beyond": 4_000}, "darwin", 4_000, [8_000, 4_000]),
        ({"common": 9_000, "refuses_beyond": 1_000}, "darwin", 1_000, [8_000, 4_000, 2_000, 1_000]),
        ({"common": 9_000, "refuses_beyond": 10}, "darwin", 0, [8_000, 4_000, 2_000, 1_000]),
    ],
)
def test_as_much_is_asked_for_as_the_system_grants(monkeypatch, system, platform, granted, asked):
    """The common limit is silent on Linux (socket(7)); SO_RCVBUFFORCE, 33, goes beyond it for who
    may. Elsewhere what is too much is refused."""
    monkeypatch.setattr(kernel_drops.sys, "platform", platform)
    opened = Socket(**system)
    assert ask_for_buffer(opened, 8_000) == granted
    assert [size for _, size in opened.asked] == asked
    forced = [option for option, _ in opened.asked if option != socket.SO_RCVBUF]
    assert forced == [33] * (platform == "linux" and system["common"] < 8_000)


def test_drops_are_the_ninth_of_nine_numbers_and_not_told_everywhere(monkeypatch):
    nine = struct.pack("@9I", *range(100, 109))
    assert dropped_by_system(Socket(told=nine)) == 108
    assert dropped_by_system(Socket(told=nine[:-4])) is None
    assert dropped_by_system(Socket(told=None)) is None
    monkeypatch.setattr(kernel_drops.sys, "platform", "darwin")
    assert dropped_by_system(Socket(told=nine)) is None
