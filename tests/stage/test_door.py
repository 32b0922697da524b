"""Who comes in: mute connections make room, malformed requests get one line, a page its slot."""

import asyncio
import contextlib
import json
import socket
import sys

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
