"""Faders are heard softly: they help where positions leave it open, and are learnt."""

import math

import pytest

from liveaid.follow import Follower
from liveaid.follow.mixer import Mixer
from liveaid.routine import Routine

TWINS = Routine.model_validate(
    {
        "title": "Twins",
        "pieces": [
            {"name": "Left out", "bars": 8, "tempo": 120, "count": "right",
             "left": {"hand": "rests"}, "right": {"hand": "runs", "at": 5.0}},
            {"name": "Left in", "bars": 8, "tempo": 120, "count": "right",
             "left": {"hand": "works", "from": 1.0, "to": 9.0},
             "right": {"hand": "runs", "at": 5.0}},
        ],
    }
)  # fmt: skip


def _heard(closed: bool) -> float:
    """Confidence that the first of the twins is played; left is closed or open all the while."""
    follower = Follower(TWINS)
    for step in range(400):
        now = step * 0.01
        follower.hear_level("left", level=0.0 if closed else 1.0, now=now)
        follower.hear("left", position=4.0, now=now)
        follower.hear("right", position=9.0 + now, now=now)
    prompt = follower.prompt(now=4.0)
    return prompt.confidence if prompt.piece.index == 0 else 1.0 - prompt.confidence


def test_a_closed_deck_is_taken_to_rest():
    assert _heard(closed=True) > _heard(closed=False) + 0.1


@pytest.mark.parametrize(("hamster", "side"), [(False, "left"), (True, "right")])
def test_a_crossfader_at_the_right_closes_the_left_or_reversed_the_right(hamster, side):
    mixer = Mixer(hamster=hamster)
    mixer.hear_crossfader(1.0, 0.0)
    closed = mixer.nats(side, 1.0, 2.0)
    # Two seconds are one witness: 2 of 20 seconds closed for a deck that runs, 14 of 20 at rest.
    assert closed["runs"] == pytest.approx(math.log(2 / 20))
    assert closed["rests"] == pytest.approx(math.log(14 / 20))


def test_a_cut_is_no_closed_deck():
    mixer = Mixer(hamster=False)
    mixer.hear_level("left", 0.0, 0.0)
    cut = mixer.nats("left", 0.2, 2.0)
    assert cut["runs"] == pytest.approx(math.log(18 / 20)), "still open"


def test_a_fader_that_is_always_shut_is_learnt_to_mean_nothing():
    mixer = Mixer(hamster=False)
    mixer.hear_level("left", 0.0, 0.0)
    for second in range(1, 200):
        for hand in ("runs", "rests"):
            mixer.learn("left", hand, float(second), 1.0)
    told = mixer.nats("left", 200.0, 2.0)
    assert told["runs"] == pytest.approx(told["rests"], abs=0.1)
