"""What the practice tests share: a short routine, a take of it, and the follower run over it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from liveaid.follow import Follower
from liveaid.practice.session import Aim, Ended, Session
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
def rehearsed() -> Callable[..., list[Ended]]:
    """rehearsed(aim, messages): the takes a session finds, told every message and prompt."""

    def run(aim: Aim, messages: list[tuple[float, str, float]], **how: object) -> list[Ended]:
        session, follower = Session(aim, **how), Follower(aim.routine)
        found, told_s = [], float("-inf")
        for now, side, position_s in messages:
            session.hear(side, position_s=position_s, now=now)
            follower.hear(side, position=position_s, now=now)
            if now - told_s >= 0.02:
                told_s = now
                found += session.tell(follower.prompt(now=now), now=now)
        for step in range(250):
            now = told_s + 0.02 * step
            found += session.tell(follower.prompt(now=now), now=now)
        return [one for one in found if isinstance(one, Ended)]

    return run
