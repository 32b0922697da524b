"""A record that runs on through a rest, over a real socket: nothing is ordered, and nothing missed.

160 BPM, two bars a set piece: 3 s each. Left runs from 10 s to 13 s, rests 3 s, and is wanted at
16 s, where it comes by itself when it is let run.
"""

from __future__ import annotations

import asyncio

import pytest

from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session, aim_of
from liveaid.practice.store import TakeStore
from liveaid.routine import Routine
from liveaid.simulate import STEADY, perform
from liveaid.simulate.send import send
from liveaid.stage import Address, Service, Settings

HERE = Address("127.0.0.1", 0)


def made() -> Routine:
    runs, rests = ({"hand": "runs", "at": at} for at in (10, 16)), {"hand": "rests"}
    lefts = [next(runs), rests, next(runs)]
    rights = [{"hand": "works", "from": 2, "to": 3}, {"hand": "runs", "at": 5}, rests]
    counts = ["left", "right", "left"]
    pieces = [
        {"name": name, "bars": 2, "tempo": 160, "count": count, "left": left, "right": right}
        for name, count, left, right in zip("ABC", counts, lefts, rights, strict=True)
    ]
    return Routine.model_validate({"title": "On", "pieces": pieces})


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """What was told of the left deck while it played, and the take's score."""
    return asyncio.run(_play(tmp_path_factory.mktemp("takes")))


async def _play(folder):
    routine, told, scores = made(), [], []
    store = TakeStore(folder / "takes.sqlite")
    session = Session(aim_of(routine, ""), count_in_bars=0)
    watcher = Rehearsal(
        session, routine, store=store, file=folder / "takes.sqlite", told=scores.append
    )
    performance = perform(routine, seed=3, lead_s=1.0, hands=STEADY)
    async with Service(routine, Settings(osc=HERE, http=None), watchers=[watcher]) as stage:
        address = stage.osc_address
        sending = asyncio.create_task(send(performance, address.host, address.port, also=()))
        while not sending.done():
            told.append(stage.status())
            await asyncio.sleep(0.05)
        for _ in range(200):
            if scores:
                break
            await asyncio.sleep(0.05)
    store.close()
    return told, scores


def test_no_wind_is_ordered_for_the_record_that_runs_on(played):
    told, _ = played
    on = [
        status["decks"]["left"]
        for status in told
        if status["state"] == "following" and (status.get("piece") or {}).get("index") == 1
    ]
    assert len(on) > 30
    assert {deck["way"] for deck in on} == {"runs on"}
    assert {deck["wind"] for deck in on} == {None}
    assert all(deck["ready"] for deck in on[5:-5])


def test_its_take_is_clean(played):
    _, scores = played
    [take] = scores
    assert take["missed"] == take["added"] == 0
    assert take["clean"]
