"""Who comes in: mute connections make room, malformed requests get one line, a page its slot."""

import asyncio
import contextlib
import errno
import json
import socket
import sys
from types import SimpleNamespace

import aiohttp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.stage import door, live
from liveaid.stage.address import Address
from liveaid.stage.guard import BadHead, Guard, read_head
from liveaid.stage.headers import HEADERS
from liveaid.stage.web import Web

HERE = Address("127.0.0.1", 0)
UPGRADE = (
    b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
)  # the key is the one of RFC 6455, 1.3


def served(check, token=None, status=None):
    async def run():
        pages = Web(status=status or (lambda: {"state": "waiting"}), health=dict, token=token)
        await pages.start(HERE, [], [])
        try:
            return await asyncio.wait_for(check(pages), 30)
        finally:
            await pages.stop()

    return asyncio.run(run())


async def asked(pages, data):
    """What a raw request is answered, until the connection is closed."""
    reader, writer = await asyncio.open_connection("127.0.0.1", pages.address.port)
    writer.write(data)
    answer = await reader.read()
    writer.close()
    return answer


async def opened(pages, count, data=b""):
    streams = []
    for _ in range(count):
        reader, writer = await asyncio.open_connection("127.0.0.1", pages.address.port)
        writer.write(data)
        streams.append((reader, writer))
    return streams


async def until(look, for_s=10.0):
    for _ in range(round(for_s / 0.02)):
        if look():
            return
        await asyncio.sleep(0.02)
    raise AssertionError(f"not within {for_s} s")


@pytest.mark.parametrize(
    "request_bytes",
    [
        b"\x16\x03\x01\x02\x00\x01\r\n\r\n",  # a TLS hello on a plain port
        b"GET  / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET / HTTP/2.0\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET http://127.0.0.1/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n folded: yes\r\n\r\n",  # RFC 9112, 5.2
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\nX: y\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost 127.0.0.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nX: " + b"x" * 20_000 + b"\r\n\r\n",
    ],
)
def test_a_malformed_request_gets_one_line_and_is_counted(request_bytes):
    async def check(pages):
        answer = await asked(pages, request_bytes)
        return answer, sum(pages.turned_away.values())

    answer, away = served(check)
    assert answer.startswith(b"HTTP/1.1 400 ")
    assert answer.partition(b"\r\n\r\n")[2].count(b"\n") == 1
    for name, value in HEADERS.items():
        assert f"{name}: {value}".encode() in answer
    assert away == 1


def test_the_token_is_looked_at_before_the_request_is_parsed():
    async def check(pages):
        bad = await asked(
            pages, b"POST /word HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: oops\r\n\r\n"
        )
        good = await asked(pages, b"GET /status?token=stall HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        return bad, good

    bad, good = served(check, token="stall")
    assert bad.startswith(b"HTTP/1.1 401 ")
    assert good.startswith(b"HTTP/1.1 200 ")
    assert b"Connection: close" in good


@given(st.binary(max_size=200))
def test_any_head_is_read_or_refused(data):
    for head in (data, b"GET / HTTP/1.1\r\n" + data, b"GET /?token=" + data + b" HTTP/1.1"):
        try:
            read = read_head(head)
        except BadHead:
            continue
        Guard(True, "word").why_not(read)


@pytest.mark.parametrize("kept_outside", [True, False])
def test_mute_connections_make_room_for_a_page(monkeypatch, kept_outside):
    """Those that say nothing at all Linux keeps from us (tcp(7), TCP_DEFER_ACCEPT); those that
    begin a request come in, and make room. A page is answered either way."""
    monkeypatch.setattr(door, "MOST_OPEN", 20)
    if kept_outside and sys.platform != "linux":
        pytest.skip("only Linux keeps mute connections from us")

    async def check(pages):
        mute = await opened(pages, 60, b"" if kept_outside else b"G")
        async with (
            aiohttp.ClientSession() as session,
            session.get(f"http://127.0.0.1:{pages.address.port}/status") as response,
        ):
            status = response.status
        found = status, pages.turned_away["mute"], pages.to_json()["connections"]
        for _, writer in mute:
            writer.close()
        return found

    status, away, inside = served(check)
    assert status == 200
    assert (away == 0) if kept_outside else (away >= 40)
    assert inside <= 20


def test_a_request_that_lies_unread_is_not_taken_for_mute(monkeypatch):
    """The loop is busy while a page asks and a crowd comes after it: the page is answered."""
    monkeypatch.setattr(door, "MOST_OPEN", 5)

    async def check(pages):
        reader, writer = await asyncio.open_connection("127.0.0.1", pages.address.port)
        writer.write(b"G")
        await until(lambda: pages.to_json()["connections"] == 1)
        crowd = []  # nothing runs on the loop while it comes
        for _ in range(20):
            crowd.append(socket.create_connection(("127.0.0.1", pages.address.port)))
            crowd[-1].send(b"G")
        writer.write(b"ET /status HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        answer = await reader.read()
        for one in crowd:
            one.close()
        writer.close()
        return answer

    assert served(check).startswith(b"HTTP/1.1 200 ")


def test_who_says_nothing_in_time_is_sent_away(monkeypatch):
    monkeypatch.setattr(door, "DOOR_HEAD_S", 0.2)

    async def check(pages):
        streams = await opened(pages, 3, b"GET / HTTP/1.1\r\nHost: 127")
        ends = [await asyncio.wait_for(_end(reader), 5) for reader, _ in streams]
        return ends, pages.to_json()["connections"]

    assert served(check) == ([b""] * 3, 0)


async def _end(reader):
    with contextlib.suppress(ConnectionError):
        return await reader.read()
    return b""


def test_mute_sockets_never_keep_a_page_from_its_slot(monkeypatch):
    """Twice as many as there are slots upgrade and say nothing more: no pong (RFC 6455, 5.5.3)."""
    monkeypatch.setattr(live, "MOST_CLIENTS", 8)
    monkeypatch.setattr(live, "NEW_S", 0.05)

    async def check(pages):
        mute = await opened(pages, 16, UPGRADE)
        await until(lambda: pages.clients == 8)
        await asyncio.sleep(0.1)
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(f"http://127.0.0.1:{pages.address.port}/live") as page,
        ):
            first = json.loads((await page.receive()).data)
            pages.push('{"state":"following"}')
            second = json.loads((await page.receive()).data)
        for _, writer in mute:
            writer.close()
        return first, second

    assert served(check) == ({"state": "waiting"}, {"state": "following"})


def test_a_page_that_gives_no_sign_of_life_is_dropped_and_one_that_does_stays(monkeypatch):
    monkeypatch.setattr(live, "PING_S", 0.05)
    monkeypatch.setattr(live, "MUTE_S", 0.5)

    async def check(pages):
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(f"http://127.0.0.1:{pages.address.port}/live") as page,
        ):
            reading = asyncio.create_task(page.receive())
            await reading
            reading = asyncio.create_task(page.receive())  # reads on, so that pings are answered
            mute = await opened(pages, 2, UPGRADE)
            await until(lambda: pages.clients == 3)
            await until(lambda: pages.clients == 1)
            await asyncio.sleep(0.7)
            found = pages.clients, pages.to_json()["dropped"]
            reading.cancel()
            assert len(mute) == 2
        return found

    assert served(check) == (1, 2)


def test_a_descriptor_limit_does_not_shut_the_door(monkeypatch):
    """accept fails with EMFILE: the mute one goes, the next comes in."""
    real, failing = socket.socket.accept, [2]

    def accept(self):
        if failing[0]:
            failing[0] -= 1
            raise OSError(24, "Too many open files")
        return real(self)

    async def check(pages):
        monkeypatch.setattr(socket.socket, "accept", accept)
        return await asked(pages, b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")

    assert served(check).startswith(b"HTTP/1.1 200 ")


class Answering(asyncio.Protocol):
    """Sets an option of the socket at once, as an HTTP server does."""

    def connection_made(self, transport):
        opened = transport.get_extra_info("socket")
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)


@pytest.mark.parametrize("turns", range(1, 7))
def test_whoever_is_sent_away_while_coming_in_is_closed_without_a_word(caplog, turns):
    """The door is closed so many turns of the loop after whole requests came."""

    async def check():
        listening = socket.create_server(("127.0.0.1", 0))
        listening.setblocking(False)
        entrance = door.Door(listening, Guard(True), Answering)
        entrance.open()
        crowd = []
        for _ in range(8):
            crowd.append(socket.create_connection(listening.getsockname()))
            crowd[-1].send(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        for _ in range(turns):
            await asyncio.sleep(0)
        entrance.shut()
        entrance.close()
        await asyncio.sleep(0.05)
        for one in crowd:
            one.settimeout(5)
            with contextlib.suppress(ConnectionError):
                assert one.recv(4096) == b""
            one.close()
        return entrance.guests

    assert asyncio.run(check()) == 0
    assert [record.getMessage() for record in caplog.records] == []


class Thing(SimpleNamespace):
    """One that can be told from another."""

    __hash__ = object.__hash__


class Loop:
    """An event loop that only notes what it is asked for."""

    def __init__(self):
        self.reads, self.later, self.soon, self.tasks = {}, [], [], []

    def add_reader(self, what, call):
        self.reads[what] = call

    def remove_reader(self, what):
        self.reads.pop(what, None)

    def call_later(self, after_s, call, *told):
        timer = SimpleNamespace(after_s=after_s, call=lambda: call(*told), told=told)
        timer.cancel = lambda: self.later.remove(timer)
        self.later.append(timer)
        return timer

    def call_soon(self, call, *told):
        self.soon.append(call)
        return call

    def create_task(self, job):
        job.close()
        self.tasks.append(job.cr_frame is None)
        return Thing(add_done_callback=lambda call: None)


class Caller:
    """One connection: what it will have sent at each look, and what became of it."""

    def __init__(self, *sent):
        self.sent, self.told, self.closed = list(sent), b"", False

    def setblocking(self, on):
        assert on is False

    def recv(self, most):
        if not self.sent:
            raise BlockingIOError
        return self.sent.pop(0)

    def send(self, data):
        self.told += data

    def shutdown(self, how):
        assert how == socket.SHUT_WR

    def close(self):
        self.closed = True


@pytest.fixture
def a_door(monkeypatch):
    """A door whose callers, loop and clock are made: `calls` come in one after another."""
    loop, now = Loop(), SimpleNamespace(s=0.0, each_s=0.0)

    def monotonic():
        now.s += now.each_s
        return now.s

    monkeypatch.setattr(door.asyncio, "get_running_loop", lambda: loop)
    monkeypatch.setattr(door.time, "monotonic", monotonic)
    calls = []

    def accept():
        if not calls:
            raise BlockingIOError
        if isinstance(calls[0], OSError):
            raise calls.pop(0)
        return calls.pop(0), None

    guard = SimpleNamespace(why_not=lambda asked: None)
    made = door.Door(Thing(accept=accept), guard, lambda: None)
    return SimpleNamespace(door=made, loop=loop, calls=calls, now=now, guard=guard)


def test_so_many_are_taken_in_as_four_milliseconds_hold(a_door):
    """Half a millisecond each: the eighth look at the clock is the fourth millisecond's end."""
    a_door.calls += [Caller() for _ in range(20)]
    a_door.now.each_s = 0.5e-3
    a_door.door._accept()
    assert a_door.door.guests == 7


def test_the_401st_waits_outside_for_a_moment_where_nobody_is_mute(a_door):
    made, reads = a_door.door, a_door.loop.reads
    made._guests.update(range(399))
    asks = b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    a_door.calls += [Caller(asks), Caller(asks)]
    reads[made.listening] = made._accept
    made._accept()
    assert (made.guests, len(a_door.calls), made.turned_away) == (400, 1, {})
    (wait,) = a_door.loop.later
    assert (wait.after_s, made.listening in reads) == (0.02, False)
    wait.call()
    assert reads[made.listening] == made._accept


def test_whoever_is_mute_longest_makes_room_and_who_has_spoken_meanwhile_does_not(a_door):
    made = a_door.door
    late, first, second = Caller(), Caller(), Caller()
    a_door.calls += [late, first, second]
    made._accept()
    late.sent.append(b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")  # it lies there unread
    made._guests.update(range(397))
    assert made._make_room()
    assert [each.closed for each in (late, first, second)] == [False, True, False]
    assert (made.guests, made.turned_away) == (399, {"mute": 1})
    made._guests.update(range(1000, 1002))
    assert not made._make_room()  # with one more out there are still 400
    assert second.closed


@pytest.mark.parametrize(
    ("number", "waits"),
    [(errno.EMFILE, True), (errno.ENFILE, True), (errno.ENOBUFS, True), (errno.ENOMEM, True),
     (errno.EBADF, False), (errno.EAGAIN, False), (errno.ECONNABORTED, False)],
)  # fmt: skip
def test_without_descriptors_or_memory_the_longest_mute_goes_and_the_next_waits(
    a_door, number, waits
):
    """accept(2): EMFILE, ENFILE, ENOBUFS and ENOMEM are passing wants of room."""
    mute, other = Caller(), Caller()
    a_door.calls += [mute, other, OSError(number, "")]
    a_door.door._accept()
    assert (mute.closed, other.closed) == (waits, False)
    assert [timer.after_s for timer in a_door.loop.later if not timer.told] == [0.02] * waits


@pytest.mark.parametrize(
    ("path", "timers", "stays"), [("/", [(30.0, ("slow",))], False), ("/live", [], True)]
)
def test_a_head_is_awaited_for_three_seconds_and_an_answer_for_thirty(a_door, path, timers, stays):
    caller = Caller(f"GET {path} HTTP/1.1\r\n".encode())
    a_door.calls.append(caller)
    a_door.door._accept()
    assert [(timer.after_s, timer.told) for timer in a_door.loop.later] == [(3.0, ("mute",))]
    assert (len(a_door.door._mute), a_door.loop.soon) == (1, [])
    caller.sent.append(b"Host: 127.0.0.1\r\n\r\n")
    a_door.loop.reads[caller]()
    assert [(timer.after_s, timer.told) for timer in a_door.loop.later] == timers
    assert (len(a_door.door._mute), a_door.loop.reads) == (0, {})
    assert [len(queue) for queue in (a_door.door._next, a_door.door._to_stay)] == (
        [0, 1] if stays else [1, 0]
    )
    assert a_door.loop.soon == [a_door.door._admit_some]


def test_who_is_too_late_is_closed_and_counted_by_why(a_door):
    caller = Caller()
    a_door.calls.append(caller)
    a_door.door._accept()
    a_door.loop.later[0].call()
    assert (caller.closed, a_door.door.guests) == (True, 0)
    assert a_door.door.turned_away == {"mute": 1}


def test_at_a_turn_four_requests_come_in_and_one_that_stays(a_door):
    a_door.calls += [Caller() for _ in range(9)]
    a_door.door._accept()
    guests = list(a_door.door._guests)
    for number, guest in enumerate(guests):
        a_door.door.admit(guest, stays=number >= 6)
    assert a_door.loop.soon == [a_door.door._admit_some]  # asked for once
    left = []
    for _ in range(3):
        a_door.loop.soon.clear()
        a_door.door._admit_some()
        left.append((len(a_door.door._next), len(a_door.door._to_stay), len(a_door.loop.soon)))
    assert left == [(2, 2, 1), (0, 1, 1), (0, 0, 0)]
    assert len(a_door.loop.tasks) == 9
    guests[0].leave()
    a_door.door.admit(guests[0])
    a_door.door._admit_some()
    assert len(a_door.loop.tasks) == 9  # who has left does not come in


@pytest.mark.parametrize(("size", "refused"), [(16 * 1024, False), (16 * 1024 + 1, True)])
def test_a_head_may_have_sixteen_kilobytes(a_door, size, refused):
    caller = Caller(b"x" * (size - 10), b"x" * 10)
    a_door.calls.append(caller)
    a_door.door._accept()
    a_door.loop.reads[caller]()
    assert a_door.door.turned_away == ({"too long": 1} if refused else {})
    assert caller.closed is refused


def test_a_refusal_is_a_whole_answer_in_plain_text(a_door):
    """RFC 9112, 2.1: a status line, fields, an empty line, the body in so many bytes."""
    a_door.guard.why_not = lambda asked: (401, "A token, bitte: ä.")
    caller = Caller(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    a_door.calls.append(caller)
    a_door.door._accept()
    head, _, body = caller.told.partition(b"\r\n\r\n")
    first, *fields = head.decode().split("\r\n")
    assert first == "HTTP/1.1 401 Unauthorized"
    assert body.decode() == "A token, bitte: ä.\n"
    assert fields == [
        *(f"{name}: {value}" for name, value in HEADERS.items()),
        "Content-Type: text/plain; charset=utf-8", "Content-Length: 20", "Cache-Control: no-store",
        "Connection: close",
    ]  # fmt: skip
    assert (caller.closed, a_door.door.turned_away) == (True, {"not allowed": 1})


def test_whoever_hangs_up_has_left(a_door):
    caller = Caller(b"")
    a_door.calls.append(caller)
    a_door.door._accept()
    assert (caller.closed, a_door.door.guests, a_door.loop.later) == (True, 0, [])
