"""The page's server: who may look, what is pushed, and who is too slow."""

import asyncio
import json
import re
import time
from importlib import resources

import aiohttp
import pytest

from liveaid.stage.address import Address
from liveaid.stage.web import Web, as_json

WORKER = (resources.files("liveaid.stage") / "page" / "worker.js").read_text()
HERE = Address("127.0.0.1", 0)


class Served:
    """A Web with a made status, in an `async with`."""

    def __init__(self, address=HERE, token=None):
        self.web = Web(
            status=lambda: {"state": "waiting"}, health=lambda: {"uptime_s": 1.0}, token=token
        )
        self._address = address

    async def __aenter__(self):
        await self.web.start(self._address, [], [])
        self.url = f"http://127.0.0.1:{self.web.address.port}"
        self.session = aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True))
        return self

    async def __aexit__(self, *_):
        await self.session.close()
        await self.web.stop()

    async def status_of(self, path="/", **headers):
        async with self.session.get(self.url + path, headers=headers) as response:
            return response.status


def served(check, **options):
    async def run():
        async with Served(**options) as server:
            return await asyncio.wait_for(check(server), 20)

    return asyncio.run(run())


def test_page_and_reports_are_served_from_memory():
    async def check(server):
        found = {}
        for path in ("/", "/stage.css", "/stage.js", "/status", "/health"):
            async with server.session.get(server.url + path) as response:
                assert response.status == 200
                found[path] = (response.content_type, await response.text(), response.headers)
        return found

    found = served(check)
    kinds = [kind for kind, _, _ in found.values()]
    assert kinds == ["text/html", "text/css", "text/javascript", *["application/json"] * 2]
    assert "<!-- scripts -->" not in found["/"][1]
    assert "default-src 'self'" in found["/"][2]["Content-Security-Policy"]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:{port}", 200),
        ("localhost:{port}", 200),
        ("[::1]:{port}", 200),
        ("evil.example:{port}", 403),  # a name rebound to 127.0.0.1
        ("192.0.2.7:{port}", 403),
        ("localhost.evil.example", 403),
        ("[", 403),
    ],
)
def test_only_names_of_this_machine_are_answered(host, status):
    async def check(server):
        return await server.status_of(Host=host.format(port=server.web.address.port))

    assert served(check) == status


def test_a_page_from_elsewhere_cannot_read_along():
    async def check(server):
        port = server.web.address.port
        own = await server.status_of("/status", Origin=f"http://127.0.0.1:{port}")
        foreign = [
            await server.status_of("/status", Origin=origin)
            for origin in (
                "http://evil.example",
                "null",
                f"http://127.0.0.1:{port + 1}",
                "http://[",
            )
        ]
        with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
            await server.session.ws_connect(server.url + "/live", origin="http://evil.example")
        return own, foreign, refused.value.status

    assert served(check) == (200, [403] * 4, 403)


def test_beyond_this_machine_a_token_is_needed():
    async def check(server):
        bare = await server.status_of("/status")
        wrong = await server.status_of("/status?token=wr%C3%B6ng")
        with_token = await server.status_of("/?token=stall")
        by_cookie = await server.status_of("/status")  # the page's own requests carry the cookie
        other = await server.status_of("/status", Host="192.0.2.7:80")
        rebound = await server.status_of("/status", Host="evil.example")
        return bare, wrong, with_token, by_cookie, other, rebound

    answers = served(check, address=Address("0.0.0.0", 0), token="stall")
    assert answers == (401, 401, 200, 200, 200, 403)


def test_a_stream_begins_with_the_whole_status_and_gets_every_push():
    async def check(server):
        async with server.session.ws_connect(server.url + "/live") as stream:
            first = json.loads((await stream.receive()).data)
            server.web.push('{"state":"following"}')
            second = json.loads((await stream.receive()).data)
        return first, second

    assert served(check) == ({"state": "waiting"}, {"state": "following"})


def test_a_client_is_given_the_latest_not_all_it_missed():
    async def check(server):
        async with server.session.ws_connect(server.url + "/live") as stream:
            await stream.receive()
            for number in range(1000):
                server.web.push(json.dumps({"n": number}))
            received = [json.loads((await stream.receive()).data)["n"]]
            while received[-1] != 999:
                received.append(json.loads((await stream.receive()).data)["n"])
        return received

    assert len(served(check)) <= 2


def test_a_client_that_does_not_read_is_dropped_and_the_others_are_not_held_up():
    async def check(server):
        reader, writer = await asyncio.open_connection("127.0.0.1", server.web.address.port)
        transport = writer.transport
        writer.write(
            b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            b"Connection: Upgrade\r\nUpgrade: websocket\r\n"
            b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
        )
        await reader.readuntil(b"\r\n\r\n")
        transport.pause_reading()
        async with server.session.ws_connect(server.url + "/live") as stream:
            await stream.receive()
            assert server.web.clients == 2
            big = json.dumps({"n": "x" * 400_000})
            end = time.monotonic() + 15
            while server.web.clients > 1:
                server.web.push(big)
                received = await asyncio.wait_for(stream.receive(), 1.5)
                assert received.type is aiohttp.WSMsgType.TEXT
                await asyncio.sleep(0.05)
                assert time.monotonic() < end
        transport.abort()
        return True

    assert served(check)


def test_stopping_closes_open_streams_and_does_not_wait_for_them():
    async def check():
        async with aiohttp.ClientSession() as session:
            async with Served() as server:
                stream = await session.ws_connect(server.url + "/live")
                await stream.receive()
            closing = await stream.receive()
            return closing.type

    kind = asyncio.run(asyncio.wait_for(check(), 8))
    assert kind in (aiohttp.WSMsgType.CLOSE, aiohttp.WSMsgType.CLOSED)


def test_what_json_has_no_word_for_becomes_null():
    assert as_json({"a": float("nan"), "b": [float("inf"), 1.5]}) == '{"a":null,"b":[null,1.5]}'


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", {}),
        ("/nowhere", {}),
        ("/status", {"Host": "evil.example"}),
        ("/live", {}),  # no upgrade asked for: refused
    ],
)
def test_every_answer_carries_the_headers_errors_included(path, headers):
    """OWASP Secure Headers Project's list for a page that nobody else may frame or read."""

    async def check(server):
        async with server.session.get(server.url + path, headers=headers) as response:
            return dict(response.headers)

    found = served(check)
    assert "frame-ancestors 'none'" in found["Content-Security-Policy"]
    assert found["X-Content-Type-Options"] == "nosniff"
    assert found["Referrer-Policy"] == "no-referrer"
    assert found["Cross-Origin-Opener-Policy"] == "same-origin"
    assert found["Cache-Control"] == "no-store"
    assert "aiohttp" not in found["Server"].lower()


def test_the_pages_that_are_kept_at_hand_are_all_served():
    """One address in the service worker's list that is not would be missing after a reload."""
    listed = re.findall(r'"(/[^"]*)"', re.search(r"const PAGES = \[(.*?)\];", WORKER, re.S)[1])

    async def check(server):
        return {path: await server.status_of(path) for path in listed}

    found = served(check)
    assert len(found) > 20
    assert {path for path, status in found.items() if status != 200} == set()
