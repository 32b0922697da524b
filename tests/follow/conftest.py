"""Small routines, and a hand that plays them exactly, without the simulator."""

from pathlib import Path

import pytest

from liveaid.follow import Follower
from liveaid.routine import Routine, load_routine

ROUTINES = Path(__file__).resolve().parent.parent / "routines"


@pytest.fixture(scope="session")
def routine_named():
    return lambda name: load_routine(ROUTINES / f"{name}.yaml")


@pytest.fixture
def small() -> Routine:
    """Left runs, then right runs while left rests, then both work; 120 BPM, 4 beats a bar."""
    return Routine.model_validate(
        {
            "title": "Small",
            "pieces": [
                {"name": "One", "bars": 4, "tempo": 120, "count": "left",
                 "left": {"hand": "runs", "at": 2.0}},
                {"name": "Two", "bars": 4, "tempo": 120, "count": "right",
                 "right": {"hand": "runs", "at": 5.0}},
                {"name": "Three", "bars": 2, "tempo": 120,
                 "left": {"hand": "works", "from": 30.0, "to": 31.0},
                 "right": {"hand": "works", "from": 40.0, "to": 41.0}},
                {"name": "Four", "bars": 4, "tempo": 120, "count": "left",
                 "left": {"hand": "runs", "at": 50.0}},
            ],
        }
    )  # fmt: skip


@pytest.fixture
def play():
    """Tell a follower two decks' positions, functions of time, from one time to another."""

    def play(follower: Follower, left, right, start, end, *, rate_hz=100.0):
        for step in range(round((end - start) * rate_hz)):
            now = start + step / rate_hz
            for side, deck in (("left", left), ("right", right)):
                if deck is not None:
                    follower.hear(side, position=deck(now), now=now)
        return follower

    return play
