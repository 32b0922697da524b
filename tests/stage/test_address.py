"""Addresses as they are written and shown."""

import socket

import pytest

from liveaid.errors import UsageError
from liveaid.stage.address import Address, StageError, parse_address


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
