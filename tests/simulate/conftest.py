"""Routines to perform: the placed maps of tests/routines, and small ones made up by hypothesis."""

from functools import cache
from pathlib import Path

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
