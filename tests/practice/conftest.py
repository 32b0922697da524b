"""What the practice tests share: a short routine, a take of it, and the follower run over it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from liveaid.practice.aim import Aim
from liveaid.practice.records import Kept
from liveaid.practice.replay import takes_in
from liveaid.practice.trace import Message
from liveaid.routine import Routine, load_routine
from liveaid.simulate import Performance, perform

HERE = Path(__file__).resolve().parent


@pytest.fixture(scope="session")
def spice_row() -> Routine:
    return load_routine(HERE / "spice-row.yaml")


@pytest.fixture(scope="session")
def performed(spice_row: Routine) -> Callable[..., Performance]:
    """performed(seed=1, hands=...): one performance of the short routine, 3 s of quiet first."""

    def play(routine: Routine = spice_row, **how: object) -> Performance:
        return perform(routine, lead_s=3.0, **{"seed": 1, **how})

    return play


@pytest.fixture(scope="session")
def rehearsed() -> Callable[..., list[Kept]]:
    """rehearsed(aim, messages): the takes a session finds, told every message and prompt."""

    def run(aim: Aim, messages: list[Message], *, count_in_bars: int = 1) -> list[Kept]:
        return takes_in(messages, aim, count_in_bars=count_in_bars)

    return run
