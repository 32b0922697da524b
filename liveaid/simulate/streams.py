"""One seed, many independent streams of chance: changing the network leaves the hands alone."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.random import Generator


def stream(seed: int, name: str) -> Generator:
    """The generator of one named part of a performance."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])
