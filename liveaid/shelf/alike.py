"""Which sounds of a shelf sound like one: by timbre first, then those laid over it.

All timbres are compared at once; of the nearest the pictures are laid over the sound's own, which
tells another copy of the same recording from a sound of the same kind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.shelf.find import Query
from liveaid.shelf.shelf import Shelf
from liveaid.study.imprint import Imprint, Picture, overlaid

LAID_OVER = 64
"""Sounds whose pictures are looked at: a copy is among the nearest by timbre."""
PICTURE_WORTH = 3.0
"""What the picture counts against the timbre. Of 1 to 20, families of Debian's sonic-pi-samples
come together best at 2, copies of a sound come first surest at 10 (tests/bench/gather.py)."""
COPY_WITHIN = 0.7
"""Nearer than this is likely a copy: of the sounds of sonic-pi-samples against one another, other
codings and cut tails lie within it nine times in ten, the nearest other sound one in twelve."""
COPY_LAID = 0.95
"""Pictures of LONG_FRAMES or more that lie on each other so well are of one recording, whatever
coding or noise did to the timbre: among forty songs and loops (tracker music, sonic-pi-samples) no
two others come above 0.91, copies at 16 kHz all lie above 0.98."""
LONG_FRAMES = 125
"""Five seconds; of shorter sounds any two hits may lie on each other so well."""


@dataclass(frozen=True, slots=True)
class Alike:
    """One sound that sounds like another."""

    hash: bytes
    distance: float
    """0 for the same; about 2 within a family of sounds, 4 for any two."""
    copy: bool
    """Whether it is likely another copy of the same recording."""


def imprint_of(shelf: Shelf, digest: str) -> Imprint | None:
    """What a sound of the shelf sounds like; None where that is not known."""
    looks = shelf.looks(bytes.fromhex(digest))
    return Imprint.from_bytes(*looks) if looks else None


def find_alike(
    shelf: Shelf, imprint: Imprint, query: Query | None = None, *, most: int = LAID_OVER
) -> list[Alike]:
    """What sounds like an imprint, the likest first, of the sounds for which a query holds."""
    rows = shelf.timbres()
    if query is not None:
        held = {row[0] for row in shelf.columns((), query)}
        rows = [row for row in rows if row[0] in held]
    if not rows:
        return []
    crate = np.frombuffer(b"".join([look for _, look in rows]), np.float16)
    order, far = _nearest(imprint.timbre, crate.reshape(len(rows), -1), max(most, LAID_OVER))
    hashes = [rows[row][0] for row in order]
    looks = [shelf.looks(digest) for digest in hashes[:LAID_OVER]]
    pictures = [Imprint.from_bytes(*found).picture for found in looks if found]
    return _ranked(imprint, hashes, far, pictures)[:most]


def copies_among(shelf: Shelf, imprint: Imprint, hashes: Sequence[bytes]) -> set[bytes]:
    """Which of some sounds of a shelf are likely other copies of the recording of an imprint."""
    looks = {digest: shelf.looks(digest) for digest in hashes}
    known = {digest: Imprint.from_bytes(*found) for digest, found in looks.items() if found}
    if not known:
        return set()
    timbres = np.stack([each.timbre for each in known.values()])
    order, far = _nearest(imprint.timbre, timbres, len(known))
    nearest = [list(known)[row] for row in order]
    ranked = _ranked(imprint, nearest, far, [known[digest].picture for digest in nearest])
    return {each.hash for each in ranked if each.copy}


def _nearest(
    timbre: npt.NDArray[np.float16], crate: npt.NDArray[np.float16], most: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32]]:
    """Rows of the crate nearest to a timbre, nearest first, and how far they are."""
    apart = crate.astype(np.float32) - timbre.astype(np.float32)
    far = np.sqrt(np.einsum("ij,ij->i", apart, apart))
    some = np.argpartition(far, most)[:most] if most < len(far) else np.arange(len(far))
    some = some[np.argsort(far[some], kind="stable")]
    return some, far[some]


def _ranked(
    imprint: Imprint,
    hashes: Sequence[bytes],
    far: npt.NDArray[np.float32],
    pictures: Sequence[Picture],
) -> list[Alike]:
    """The nearest by timbre, ranked by timbre and picture; those without a picture come after.

    `hashes` and `far` as from `_nearest`, `pictures` of the first of them.
    """
    laid = overlaid(imprint.picture, list(pictures))
    fits = np.concatenate([laid, np.full(len(hashes) - len(laid), laid.min(initial=0.0))])
    distance = far + PICTURE_WORTH * (1.0 - fits)
    copy = distance < COPY_WITHIN
    lengths = np.array([len(each) for each in pictures], dtype=np.intp)
    long = np.minimum(lengths, len(imprint.picture)) >= LONG_FRAMES
    copy[: len(laid)] |= long & (laid >= COPY_LAID)
    order = np.argsort(distance, kind="stable")
    return [Alike(hashes[row], float(distance[row]), bool(copy[row])) for row in order]
