"""A record that runs on through a rest: nothing is ordered, and nothing missed.

160 BPM, two bars a set piece: 3 s each. Left runs from 10 s to 13 s, rests 3 s, and is wanted at
16 s, where it comes by itself when it is let run.
"""

from __future__ import annotations

import pytest

from liveaid.follow import Follower
from liveaid.practice.aim import aim_of
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.routine import Routine
from liveaid.simulate import STEADY, perform


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
def played():
    """What was told of the left deck while it played, and the take's score; in virtual time."""
    routine = made()
    aim = aim_of(routine, "")
    session, follower = Session(aim, count_in_bars=0), Follower(routine)
    told, ended, told_s = [], [], 0.0
    performance = perform(routine, seed=3, lead_s=1.0, hands=STEADY)
    now = 0.0
    for m in performance.messages:
        now = m.now_s
        session.hear(m.side, position_s=m.position_s, now=now)
        follower.hear(m.side, position=m.position_s, now=now)
        if now - told_s >= 0.05:
            told_s = now
            told.append(follower.prompt(now=now))
            ended += session.tell(told[-1], now=now)
    for step in range(80):
        late = now + 0.05 * step
        ended += session.tell(follower.prompt(now=late), now=late)
    return told, [score_of(aim, one) for one in ended]


def test_no_wind_is_ordered_for_the_record_that_runs_on(played):
    told, _ = played
    on = [
        prompt.decks["left"]
        for prompt in told
        if prompt.state == "following" and prompt.piece and prompt.piece.index == 1
    ]
    assert len(on) > 30
    assert {deck.way for deck in on} == {"runs on"}
    assert {deck.wind for deck in on} == {None}
    assert all(deck.ready for deck in on[5:-5])


def test_its_take_is_clean(played):
    _, scores = played
    [take] = scores
    assert take.missed == take.added == 0
    assert take.clean
