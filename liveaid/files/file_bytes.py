"""A file by its bytes and by its looks: whether it is the same file as before.

Only regular files are ever opened: opening a pipe or a device can wait for ever.
"""

from __future__ import annotations

import hashlib
import os
import stat
import time
from collections.abc import Callable
from dataclasses import dataclass

from liveaid.files.unreadable import Unreadable

_SETTLED_NS = 2_000_000_000
"""A file changed less than this ago may change again within the clock's grain unseen."""
HASH_BYTES = 20
"""160 bits: two sounds by chance alike are not to be met (birthday bound 2^80)."""


@dataclass(frozen=True, slots=True)
class Signature:
    """What a file looks like from outside; as long as it is the same, the bytes are not re-read."""

    size: int
    mtime_ns: int
    inode: int
    device: int
    settled: bool = True
    """False when the file was changed so lately that another change might leave no trace here."""


def signature_of(status: os.stat_result, *, now_ns: int) -> Signature:
    """The signature in a file's status; inode and device are cut to 63 bits, as SQLite keeps them.

    Settled means unchanged for two seconds, the coarsest time stamp of a file system in use (FAT).
    """
    return Signature(
        size=status.st_size,
        mtime_ns=status.st_mtime_ns,
        inode=status.st_ino & (2**63 - 1),
        device=status.st_dev & (2**63 - 1),
        settled=status.st_mtime_ns < now_ns - _SETTLED_NS,
    )


def content_hash(path: str, *, clock_ns: Callable[[], int] = time.time_ns) -> tuple[str, Signature]:
    """BLAKE2b of a file's bytes, in hex, and its signature. Unreadable when it is no plain file."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError as error:
        raise Unreadable(f"cannot be opened: {reason(error)}") from error
    status = os.fstat(handle)
    if not stat.S_ISREG(status.st_mode):
        os.close(handle)
        raise Unreadable(f"{sort_of(status.st_mode)}, not a file")
    with open(handle, "rb") as stream:
        try:
            digest = hashlib.file_digest(stream, lambda: hashlib.blake2b(digest_size=HASH_BYTES))
        except OSError as error:
            raise Unreadable(f"cannot be read: {reason(error)}") from error
    return digest.hexdigest(), signature_of(status, now_ns=clock_ns())


def still_is(path: str, signature: Signature) -> bool:
    """Whether a file has not been written to since its signature was taken."""
    try:
        now = os.stat(path)
    except OSError:
        return False
    return (now.st_size, now.st_mtime_ns) == (signature.size, signature.mtime_ns)


def reason(error: OSError) -> str:
    """What the system says of an error, in small letters."""
    return (error.strerror or str(error)).lower()


def sort_of(mode: int) -> str:
    """What sort of thing a path is, by its mode: a pipe, a device, a folder."""
    sorts = {
        stat.S_IFIFO: "a pipe",
        stat.S_IFCHR: "a device",
        stat.S_IFBLK: "a device",
        stat.S_IFSOCK: "a socket",
        stat.S_IFDIR: "a folder",
    }
    return sorts.get(stat.S_IFMT(mode), "something else")
