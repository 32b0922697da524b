"""What waits to be read: a fair share for each sender, the oldest dropped, counted in messages."""

import contextlib
import socket
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.stage.backlog import Backlog
from liveaid.stage.kernel_drops import dropped_by_system
from liveaid.stage.osc_packet import count_messages, read_packet


def taken(backlog):
    found = []
    while (datagram := backlog.take()) is not None:
        found.append((datagram.sender, datagram.data))
    return found


def test_what_arrived_first_is_taken_first():
    backlog = Backlog(10)
    for number, sender in enumerate("abab"):
        assert backlog.put(bytes([number]), float(number), sender, 1) == 0
    assert taken(backlog) == [("a", b"\0"), ("b", b"\1"), ("a", b"\2"), ("b", b"\3")]
    assert backlog.messages == 0


def test_the_oldest_is_dropped_and_counted_in_messages():
    backlog = Backlog(10)
    dropped = [backlog.put(bytes([number]), 0.0, "a", 4) for number in range(4)]
    # 4, 8, then 12 is over 10: the first 4 go; then 12 again: the next 4.
    assert dropped == [0, 0, 4, 4]
    assert taken(backlog) == [("a", b"\2"), ("a", b"\3")]


def test_a_flood_drops_its_own_and_not_the_deck_beside_it():
    backlog = Backlog(100)
    for number in range(5):
        backlog.put(b"deck%d" % number, 0.0, "deck", 1)
        for _ in range(1000):
            backlog.put(b"flood", 0.0, "flood", 1)
    assert [data for sender, data in taken(backlog) if sender == "deck"] == [
        b"deck0", b"deck1", b"deck2", b"deck3", b"deck4",
    ]  # fmt: skip


def test_one_bundle_larger_than_the_share_is_still_read():
    backlog = Backlog(10)
    assert backlog.put(b"big", 0.0, "a", 256) == 0
    assert taken(backlog) == [("a", b"big")]


def test_what_just_fits_is_kept():
    """Ten messages of one sender; of two, five each, and a crowd of ten in all."""
    one = Backlog(10)
    assert [one.put(b"", 0.0, "a", 5), one.put(b"", 0.0, "a", 5), one.put(b"", 0.0, "a", 1)] == [
        0, 0, 5,
    ]  # fmt: skip
    two = Backlog(10)
    assert [two.put(b"", 0.0, "a", 5), two.put(b"", 0.0, "b", 5)] == [0, 0]
    assert two.messages == 10
    assert two.put(b"", 0.0, "b", 1) == 5  # its own goes
    usual = Backlog()
    assert [usual.put(b"", 0.0, "a", 1024) for _ in range(3)] == [0, 0, 1024]


@given(st.lists(st.tuples(st.sampled_from("abcdefgh"), st.integers(1, 300)), max_size=80))
def test_nothing_is_lost_but_what_is_counted(arrivals):
    backlog, dropped = Backlog(500), 0
    for number, (sender, messages) in enumerate(arrivals):
        dropped += backlog.put(b"%d" % number, 0.0, sender, messages)
        assert backlog.messages <= max(500, 300)
    waiting = backlog.messages
    left = taken(backlog)
    assert waiting + dropped == sum(messages for _, messages in arrivals)
    order = [int(data) for _, data in left]
    assert order == sorted(order)
    # The newest of every sender that still has any is its last one.
    for sender in {sender for sender, _ in left}:
        last = max(n for n, (who, _) in enumerate(arrivals) if who == sender)
        assert max(int(data) for who, data in left if who == sender) == last


def test_messages_are_counted_as_they_are_read(message):
    one = message("/deck/left/position", 1.5)
    element = len(one).to_bytes(4, "big") + one
    for count in (1, 2, 255):
        bundle = b"#bundle\0" + bytes(8) + element * count
        assert count_messages(bundle) == len(read_packet(bundle)) == count
    inner = b"#bundle\0" + bytes(8) + element * 3
    outer = b"#bundle\0" + bytes(8) + element + len(inner).to_bytes(4, "big") + inner
    assert count_messages(outer) == len(read_packet(outer)) == 4
    assert count_messages(one) == 1


@given(st.binary(max_size=300))
@pytest.mark.parametrize("head", [b"", b"#bundle\0" + bytes(8)])
def test_any_bytes_count_as_at_least_one(head, data):
    assert 1 <= count_messages(head + data) <= 1 + len(data)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux says")
def test_the_system_s_own_count_of_what_it_dropped_is_what_never_came():
    """socket(7): of so many datagrams to a small buffer, those not read were dropped."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as heard:
        heard.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        heard.bind(("127.0.0.1", 0))
        heard.setblocking(False)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            for _ in range(200):
                out.sendto(bytes(500), heard.getsockname())
        came = 0
        with contextlib.suppress(BlockingIOError):
            while heard.recv(600):
                came += 1
        assert 0 < came < 200
        assert dropped_by_system(heard) == 200 - came
