"""Routines to perform: the placed maps of tests/routines, and small ones made up by hypothesis."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from liveaid.routine import load_routine

FOLDER = Path(__file__).resolve().parent.parent / "routines"
NAMES = ("four", "three", "fortyfive", "refrain", "juggles")


@cache
def _load(name):
    return load_routine(FOLDER / f"{name}.yaml")


@pytest.fixture
def load():
    """A routine by the name of its file."""
    return _load


@pytest.fixture
def four():
    return _load("four")


@pytest.fixture(params=NAMES)
def routine(request):
    """Every test routine in turn."""
    return _load(request.param)


class FixedChance:
    """Draws without chance, so that what a hand does can be worked out: always the same share of
    the way from the lowest to the highest, and a normal draw of `off`."""

    def __init__(self, share=0.5, off=0.0):
        self.share, self.off = share, off

    def random(self, size=None):
        """As numpy's Generator has it; the others too."""
        return self.share if size is None else np.full(size, self.share)

    def uniform(self, low, high, size=None):
        value = low + self.share * (high - low)
        return value if size is None else np.full(size, value)

    def integers(self, low, high=None):
        low, high = (0, low) if high is None else (low, high)
        return low + int(self.share * (high - low))

    def standard_normal(self):
        return self.off


@pytest.fixture
def chance():
    """A Generator whose draws are known: `chance(share, off)`."""
    return FixedChance
