"""Sharing: a certificate OpenSSL accepts, a token that stays, a name the network answers to."""

import asyncio
import socket
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import aiohttp
import pytest
from zeroconf import NonUniqueNameException
from zeroconf.asyncio import AsyncZeroconf

from liveaid.errors import UsageError
from liveaid.stage import share as module
from liveaid.stage.address import Address
from liveaid.stage.certificate import server_context
from liveaid.stage.screen import inches, metres
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.share import Share, Sharing, qr_text, share_at

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def made(folder, names=("liveaid.local", "127.0.0.1"), now=NOW):
    server_context(names, folder, now)
    return (folder / "page.pem").read_bytes(), (folder / "authority.pem").read_bytes()


def test_the_certificate_is_made_once_and_kept(tmp_path):
    first = made(tmp_path)
    assert made(tmp_path, now=NOW + timedelta(days=360)) == first


@pytest.mark.parametrize(
    ("names", "later"),
    [
        (("liveaid.local", "192.0.2.7"), timedelta()),  # another room, another number
        (("liveaid.local", "127.0.0.1"), timedelta(days=380)),  # 17 days before its end
    ],
)
def test_it_is_made_anew_when_it_would_not_do_but_its_authority_stays(tmp_path, names, later):
    page, authority = made(tmp_path)
    again = made(tmp_path, names, NOW + later)
    assert again[0] != page
    assert again[1] == authority  # who trusted it once need not do so again


def test_a_broken_file_is_replaced(tmp_path):
    made(tmp_path)
    (tmp_path / "page.pem").write_bytes(b"half a")
    assert b"BEGIN CERTIFICATE" in made(tmp_path)[0]


def test_keys_and_token_are_for_their_owner_alone(tmp_path):
    share_at(Address("127.0.0.1", 8443), folder=tmp_path / "share")
    modes = {
        file.name: stat.S_IMODE(file.stat().st_mode) for file in (tmp_path / "share").iterdir()
    }
    assert modes == dict.fromkeys(["authority.pem", "authority.key", "page.pem", "token"], 0o600)


def test_the_token_is_the_same_every_evening(tmp_path):
    """A page kept on a phone opens the next day too."""
    first, second = (share_at(Address("127.0.0.1", 1), folder=tmp_path).token for _ in range(2))
    assert first == second
    assert len(first) == 12  # 9 random bytes in base64url, RFC 4648


def test_a_phone_that_trusts_the_authority_reads_the_status_and_nobody_else_does(
    three, told_follower, tmp_path, free_port
):
    """Chain and names are judged by OpenSSL, as a browser would."""
    share = share_at(Address("127.0.0.1", free_port()), folder=tmp_path)
    trusting = ssl.create_default_context(cafile=str(tmp_path / "authority.pem"))

    async def run():
        settings = Settings(Address("127.0.0.1", 0), Address("127.0.0.1", 0), share=share)
        stage = Service(three, settings, follower=told_follower, watchers=[Sharing(share)])
        url = f"https://localhost:{share.address.port}/status"
        forgetful = aiohttp.DummyCookieJar()
        async with stage, aiohttp.ClientSession(cookie_jar=forgetful) as session:
            async with session.get(f"{url}?token={share.token}", ssl=trusting) as answer:
                found = answer.status, (await answer.json())["state"]
                cookie = answer.headers["Set-Cookie"]
            async with session.get(url, ssl=trusting) as answer:
                bare = answer.status
            with pytest.raises(aiohttp.ClientConnectorCertificateError):
                await session.get(f"{url}?token={share.token}")
            async with session.get(stage.address + "status") as answer:  # this machine, as before
                here = answer.status
        return found, cookie, bare, here

    found, cookie, bare, here = asyncio.run(run())
    assert found == (200, "following")
    assert "Secure" in cookie
    assert "HttpOnly" in cookie
    assert (bare, here) == (401, 200)


def test_the_name_is_known_on_the_network_while_the_stage_stands(
    three, told_follower, tmp_path, free_port
):
    """Asked by a second multicast DNS responder (RFC 6762) on this machine."""
    share = share_at(Address("127.0.0.1", free_port()), folder=tmp_path)

    async def run():
        sharing = Sharing(share)
        settings = Settings(Address("127.0.0.1", 0), Address("127.0.0.1", 0), share=share)
        async with Service(three, settings, follower=told_follower, watchers=[sharing]):
            for _ in range(100):
                if sharing.says:
                    break
                await asyncio.sleep(0.05)
            if not sharing.says.startswith("known"):
                pytest.skip(f"multicast is not to be had here: {sharing.says}")
            asking = AsyncZeroconf(interfaces=["127.0.0.1"])
            info = await asking.async_get_service_info(
                "_https._tcp.local.", "liveaid._https._tcp.local.", 3000
            )
            await asking.async_close()
            return info

    info = asyncio.run(run())
    assert info is not None
    assert (info.server, info.port) == ("liveaid.local.", share.address.port)
    assert info.addresses == [socket.inet_aton("127.0.0.1")]


def shared(*names):
    return Share(Address("0.0.0.0", 8443), ("liveaid.local", *names), "stall", None, Path("/s"))


def test_addresses_carry_the_token_the_friendly_name_first():
    """Then numbers, but the one that only this machine reaches."""
    assert shared("stall.local", "192.0.2.7", "localhost", "127.0.0.1").urls() == (
        "https://liveaid.local:8443/?token=stall", "https://192.0.2.7:8443/?token=stall",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("reached", "names"),
    [
        ("192.0.2.7", ("liveaid.local", "stall.local", "192.0.2.7", "localhost", "127.0.0.1")),
        ("Stall", ("liveaid.local", "stall.local", "localhost", "127.0.0.1")),
        ("127.0.0.1", ("liveaid.local", "stall.local", "127.0.0.1", "localhost")),
    ],
)
def test_what_the_certificate_is_for(monkeypatch, reached, names):
    monkeypatch.setattr(module.socket, "gethostname", lambda: "Stall.market.example")
    monkeypatch.setattr(Address, "as_seen_by_others", lambda self: Address(reached, self.port))
    assert module._names(Address("0.0.0.0", 8443)) == names


def test_a_token_that_is_broken_or_too_short_is_made_anew(tmp_path):
    """Its folder is for its owner alone (chmod(2): 700)."""
    file = tmp_path / "share" / "token"
    assert len(module._token(file)) == 12
    assert file.parent.stat().st_mode & 0o777 == 0o700
    for kept, stays in (("x" * 12, True), ("x" * 11, False), ("\xff", False)):
        file.write_bytes(kept.encode("latin-1"))
        assert (module._token(file) == kept) is stays


def test_what_the_status_tells_of_a_share():
    sharing = Sharing(shared("192.0.2.7", "localhost", "127.0.0.1"))
    sharing.says = "known"
    assert sharing.status() == {
        "shared": {"names": ["liveaid.local", "192.0.2.7"], "port": 8443, "says": "known"}
    }


@pytest.mark.parametrize(
    ("names", "told_on"),
    [
        (("stall.local", "192.0.2.7", "localhost", "127.0.0.1"), ["192.0.2.7"]),
        (("stall.local", "127.0.0.1"), ["127.0.0.1"]),
    ],
)
@pytest.mark.parametrize(
    ("fails", "says"),
    [
        (None, "known on this network as liveaid.local"),
        (NonUniqueNameException(), "liveaid.local is another machine's name here: use the number"),
        (OSError(19, "No such device"), "no name on this network (No such device): use the number"),
        (OSError("none"), "no name on this network (none): use the number"),
    ],
)
def test_a_name_is_made_known_and_taken_back(monkeypatch, names, told_on, fails, says):
    """On the numbers that others reach, else on this machine's own."""
    did = []

    class Known:
        def __init__(self, interfaces):
            did.append(interfaces)

        async def async_register_service(self, info):
            did.append([socket.inet_ntoa(each) for each in info.addresses])
            if fails is not None:
                raise fails

        async def async_close(self):
            did.append("closed")

    monkeypatch.setattr("zeroconf.asyncio.AsyncZeroconf", Known)
    limits = []
    whole = asyncio.wait_for
    monkeypatch.setattr(
        module.asyncio, "wait_for", lambda doing, s: limits.append(s) or whole(doing, s)
    )

    async def evening():
        sharing = Sharing(shared(*names))
        await sharing.stopped()  # one that never began
        sharing.started(None)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        await sharing.stopped()
        return sharing.says

    assert asyncio.run(evening()) == says
    assert did == [told_on, told_on, "closed"]
    assert limits == [2.0]


def test_the_code_is_a_square_with_a_quiet_zone():
    """ISO/IEC 18004: version 3 has 29 modules a side; two rows of modules are one line of text."""
    lines = qr_text("https://192.0.2.2:8443/?token=1oKMArADn_cO").splitlines()
    assert {len(line) for line in lines} == {29 + 4}
    assert len(lines) == -(-(29 + 4) // 2)


@pytest.mark.parametrize(
    ("text", "value"), [("6in", 6.0), ("15.24 cm", 6.0), ("152,4mm", 6.0), ("24", 24.0)]
)
def test_a_screens_diagonal_is_read_in_the_units_it_is_sold_in(text, value):
    """An inch is 25.4 mm (international yard and pound, 1959)."""
    assert inches(text) == pytest.approx(value)


@pytest.mark.parametrize(("text", "value"), [("3m", 3.0), ("80 cm", 0.8), ("10ft", 3.048)])
def test_a_distance_is_read_in_metres(text, value):
    assert metres(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "big", "0in", "6 parsecs", "-3in", "1e9"])
def test_what_is_no_size_is_refused_with_what_would_do(text):
    with pytest.raises(UsageError, match="would do"):
        inches(text)
