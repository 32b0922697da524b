"""Addresses as they are written and shown."""

import errno
import socket

import pytest

from liveaid.errors import UsageError
from liveaid.stage.address import (
    HTTP_ADDRESS,
    OSC_ADDRESS,
    SHARED_ADDRESS,
    Address,
    StageError,
    cannot,
    parse_address,
)


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("127.0.0.1:9000", Address("127.0.0.1", 9000)),
        ("9000", Address("127.0.0.1", 9000)),
        (":9000", Address("127.0.0.1", 9000)),
        ("stage.local:80", Address("stage.local", 80)),
        ("[::1]:9000", Address("::1", 9000)),  # RFC 3986, 3.2.2: an IPv6 number stands in brackets
    ],
)
def test_host_and_port(text, address):
    assert parse_address(text) == address


@pytest.mark.parametrize("text", ["", "nowhere", "127.0.0.1:", "127.0.0.1:65536", "a:-1", "a:٣"])
def test_what_is_no_address_is_wrong_use(text):
    with pytest.raises(UsageError, match="HOST:PORT"):
        parse_address(text)


@pytest.mark.parametrize("host", ["stage..local", f"{'x' * 64}.local"])
def test_what_is_no_name_is_told_and_not_asked_for(host):
    """RFC 1035, 2.3.4: a label has 1 to 63 octets."""
    with pytest.raises(StageError, match=r"not known \(it is no host's name\); a number such as"):
        Address(host, 1).family(socket.SOCK_DGRAM)


def test_written_as_it_is_read():
    for address in (Address("127.0.0.1", 9000), Address("::1", 80)):
        assert parse_address(str(address)) == address


@pytest.mark.parametrize(
    ("host", "here"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("localhost", True),
     ("0.0.0.0", False), ("192.0.2.7", False), ("stage.local", False)],
)  # fmt: skip
def test_what_only_this_machine_reaches(host, here):
    """127.0.0.0/8 and ::1 are loopback (RFC 1122, RFC 4291)."""
    assert Address(host, 1).is_loopback is here


def test_all_addresses_are_shown_as_one_that_others_reach():
    shown = Address("0.0.0.0", 8080).as_seen_by_others()
    assert shown.port == 8080
    assert shown.host not in ("0.0.0.0", "")
    assert Address("127.0.0.1", 1).as_seen_by_others() == Address("127.0.0.1", 1)


def test_a_number_of_six_parts_is_written_in_brackets():
    assert [str(Address(host, 80)) for host in ("::1", "127.0.0.1", "stage.local")] == [
        "[::1]:80", "127.0.0.1:80", "stage.local:80",
    ]  # fmt: skip
    assert parse_address("65535") == Address("127.0.0.1", 65535)


def test_where_it_listens_when_nothing_is_said():
    """On this machine alone, but for the pages that are shared."""
    told = [str(address) for address in (OSC_ADDRESS, HTTP_ADDRESS, SHARED_ADDRESS)]
    assert told == ["127.0.0.1:9000", "127.0.0.1:8080", "0.0.0.0:8443"]


@pytest.mark.parametrize(
    ("error", "why"),
    [
        (OSError(errno.EADDRINUSE, "in use"),
         "another program listens there already; --osc with another port would do"),
        (OSError(errno.EADDRNOTAVAIL, "not here"),
         "that is no address of this machine; 127.0.0.1, or 0.0.0.0 for all, would do"),
        (OSError(errno.EACCES, "Permission denied"), "Permission denied"),
        (OSError("no such family"), "no such family"),
    ],
)  # fmt: skip
def test_why_a_port_does_not_open(error, why):
    said = str(cannot("listen for OSC", Address("127.0.0.1", 9000), error, "--osc"))
    assert said == f"cannot listen for OSC at 127.0.0.1:9000: {why}"


def test_where_no_way_leads_out_the_machine_s_own_name_is_shown(monkeypatch):
    """A datagram to a documentation address (RFC 5737) would leave that way; port 9 is discard."""
    asked = []

    class Probe:
        def __init__(self, *_):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def connect(self, to):
            asked.append(to)
            if len(asked) > 1:
                raise OSError

        def getsockname(self):
            return ("192.0.2.7", 1)

    monkeypatch.setattr(socket, "socket", Probe)
    monkeypatch.setattr(socket, "gethostname", lambda: "stall")
    for host in ("192.0.2.7", "stall"):
        assert Address("::", 80).as_seen_by_others() == Address(host, 80)
    assert asked == [("192.0.2.1", 9)] * 2
