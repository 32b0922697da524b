"""The stage's own certificate for https, made on first use, so that a phone may keep its screen on.

An authority of this machine signs a certificate for the names the stage goes by. Both are kept in
one folder, readable by their owner alone; nothing is asked of anybody else's server.
"""

from __future__ import annotations

import ssl
from collections.abc import Sequence
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from liveaid.files.aside import write_aside

if TYPE_CHECKING:  # loaded when first needed: a stage that is not shared starts without them
    import trustme

VALID_DAYS = 397
"""CA/Browser Forum Baseline Requirements 6.3.2: browsers refuse a server's beyond 398."""
RENEW_DAYS = 30
"""Renewed this long before it ends: a tour should not meet the day itself."""
PRIVATE = 0o600
"""For its owner alone: its key could speak for any site to whoever trusts the authority."""
AUTHORITY, AUTHORITY_KEY, PAGE = "authority.pem", "authority.key", "page.pem"


def server_context(names: Sequence[str], folder: Path, now: datetime) -> ssl.SSLContext:
    """What the secure address is served with, for these names and numbers, from `now` on (aware).

    Made anew when the names changed or it would end within `RENEW_DAYS`.
    """
    page = folder / PAGE
    if not _still_good(page, names, now):
        issued = _authority(folder).issue_cert(
            *names, not_before=now - timedelta(days=1), not_after=now + timedelta(days=VALID_DAYS)
        )
        write_aside(page, issued.private_key_and_cert_chain_pem.bytes(), mode=PRIVATE)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(page)
    return context


def authority_pem(folder: Path) -> bytes:
    """The authority's certificate, for a device that is to trust it. OSError before first use."""
    return (folder / AUTHORITY).read_bytes()


def _authority(folder: Path) -> trustme.CA:
    import trustme

    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    cert, key = folder / AUTHORITY, folder / AUTHORITY_KEY
    try:
        return trustme.CA.from_pem(cert.read_bytes(), key.read_bytes())
    except (OSError, ValueError):
        made = trustme.CA(organization_name="liveaid on this machine")
        write_aside(key, made.private_key_pem.bytes(), mode=PRIVATE)
        write_aside(cert, made.cert_pem.bytes(), mode=PRIVATE)
        return made


def _still_good(page: Path, names: Sequence[str], now: datetime) -> bool:
    from cryptography import x509

    try:
        cert = x509.load_pem_x509_certificate(_certificate_of(page.read_bytes()))
        told = cert.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    known = {*told.get_values_for_type(x509.DNSName)}
    known |= {str(number) for number in told.get_values_for_type(x509.IPAddress)}
    left = cert.not_valid_after_utc - now
    return set(names) <= known and left > timedelta(days=RENEW_DAYS)


def _certificate_of(pem: bytes) -> bytes:
    """The first certificate of a file that begins with its key."""
    begin = pem.index(b"-----BEGIN CERTIFICATE-----")
    return pem[begin:]


def is_number(name: str) -> bool:
    """Whether a name is an IP number."""
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
