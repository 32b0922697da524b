"""Which open pages are asked, kept and dropped, and when: by a clock handed in."""

import asyncio
from types import SimpleNamespace

import pytest
from aiohttp import web

from liveaid.stage import live
from liveaid.stage.live import Live, _Client


@pytest.fixture
def clock(monkeypatch):
    """Time stands still but for what is slept."""
    now = SimpleNamespace(s=0.0)

    async def sleep(seconds):
        now.s += seconds

    monkeypatch.setattr(live.time, "monotonic", lambda: now.s)
    monkeypatch.setattr(live.asyncio, "sleep", sleep)
    return now


def opened(pages, *, answered=False):
    """One more open page that is written to, as `serve` sets it up."""
    did = []
    client = _Client(SimpleNamespace(closed=False), lambda: did.append("cut"))
    if answered:
        client.gave_sign()
    pages._clients[client] = SimpleNamespace(cancel=lambda: did.append("cancelled"))
    return client, did


@pytest.fixture
def pages():
    return Live(lambda: "{}", lambda text: None)


@pytest.mark.parametrize(
    ("answered", "mute_s", "drops"),
    [(False, 0.3, False), (False, 0.31, True), (True, 2.0, False), (True, 2.01, True)],
)
def test_room_is_made_by_one_that_never_answered_or_is_mute_for_half_the_time(
    clock, pages, answered, mute_s, drops
):
    _, did = opened(pages, answered=answered)
    clock.s += mute_s
    assert pages._make_room() is drops
    assert did == (["cancelled", "cut"] if drops else [])
    assert (len(pages), pages.dropped) == ((0, 1) if drops else (1, 0))


def test_room_is_made_by_whoever_is_mute_longest_of_those_that_never_answered(clock, pages):
    opened(pages, answered=True)
    clock.s += 3.0
    first, did = opened(pages)
    clock.s += 1.0
    opened(pages)
    clock.s += 1.0
    assert pages._make_room()
    assert first not in pages._clients
    assert did == ["cancelled", "cut"]


def test_a_page_is_asked_each_second_and_dropped_when_it_is_mute_for_more_than_four(clock, pages):
    client, did = opened(pages)
    asked = []
    client.ask = lambda: asked.append(clock.s)
    asyncio.run(pages._ask_while_open())
    assert asked == [1.0, 2.0, 3.0, 4.0]
    assert (clock.s, did, pages.dropped) == (5.0, ["cancelled", "cut"], 1)


def test_a_page_that_gives_a_sign_is_asked_on(clock, pages):
    client, _ = opened(pages)

    def ask():
        if clock.s < 30.0:
            client.gave_sign()

    client.ask = ask
    asyncio.run(pages._ask_while_open())
    assert clock.s == 34.0  # its last sign was at 29


def test_one_more_page_than_32_is_refused_where_nobody_makes_room(clock, pages, monkeypatch):
    made = []

    class Prepared(Exception):
        pass

    class Stream:
        def __init__(self, **how):
            made.append(how)

        async def prepare(self, request):
            raise Prepared

    monkeypatch.setattr(live.web, "WebSocketResponse", Stream)
    for _ in range(31):
        opened(pages, answered=True)
    with pytest.raises(Prepared):
        asyncio.run(pages.serve(None))
    assert made == [{"compress": False, "max_msg_size": 4096, "timeout": 1.0, "autoping": False}]
    opened(pages, answered=True)
    with pytest.raises(web.HTTPServiceUnavailable):
        asyncio.run(pages.serve(None))
    clock.s += 2.5  # now one is mute
    with pytest.raises(Prepared):
        asyncio.run(pages.serve(None))


def test_a_page_is_pinged_when_asked_and_written_the_latest_within_two_seconds_each(
    monkeypatch,
):
    did, allowed = [], []
    real = asyncio.wait_for

    def wait_for(what, within_s):
        allowed.append(within_s)
        return real(what, within_s)

    async def ping():
        did.append("ping")

    async def send(text):
        did.append(text)
        stream.closed = text == "last"
        client.offer("last")
        client.ask()

    monkeypatch.setattr(live.asyncio, "wait_for", wait_for)
    stream = SimpleNamespace(closed=False, ping=ping, send_str=send)

    async def write():
        nonlocal client
        client = _Client(stream, lambda: None)
        client.offer("never sent")
        client.offer("first")
        await client.write()

    client = None
    asyncio.run(write())
    assert did == ["ping", "first", "ping", "last"]
    assert allowed == [2.0] * 4
    assert not client.answered


def test_who_says_something_gave_a_sign_and_a_ping_is_answered_alone(clock, pages):
    said, answered = [], []

    class Stream:
        async def pong(self, data):
            answered.append(data)

        async def __aiter__(self):
            clock.s += 1.0
            yield SimpleNamespace(type=live.WSMsgType.TEXT, data="here")
            yield SimpleNamespace(type=live.WSMsgType.PING, data=b"ask")
            yield SimpleNamespace(type=live.WSMsgType.PONG, data=b"")

    pages._said = said.append
    client = _Client(Stream(), lambda: None)
    asyncio.run(pages._listen(client))
    assert (said, answered) == (["here"], [b"ask"])
    assert (client.answered, client.alive_s) == (True, 1.0)


def test_pages_are_asked_by_one_round_at_a_time_and_told_when_the_stage_is_struck(pages):
    """A page that is gone meanwhile keeps nobody from being told."""
    closed, rounds = [], []

    async def ask():
        rounds.append("begun")
        await asyncio.Event().wait()

    def closing(fails):
        async def close(**how):
            closed.append(how)
            if fails:
                raise ConnectionResetError

        return SimpleNamespace(closed=False, close=close)

    async def run():
        await pages.close()  # nobody was ever there
        for fails in (True, False):
            pages._clients[_Client(closing(fails), lambda: None)] = None
        for _ in range(2):
            pages._ask_all()
            await asyncio.sleep(0)
        pages._asking.cancel()
        await asyncio.wait([pages._asking])
        pages._ask_all()
        await asyncio.sleep(0)
        await pages.close()
        await asyncio.wait([pages._asking])
        return pages._asking.cancelled()

    pages._ask_while_open = ask
    assert asyncio.run(run())
    assert rounds == ["begun", "begun"]
    assert closed == [{"code": 1001, "message": b"the stage is struck"}] * 2  # RFC 6455, 7.4.1
