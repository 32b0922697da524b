"""A sender that is wired wrong is told in plain words, and never followed with a straight face."""

import math

import pytest

from liveaid.follow import Follower

# The routine `small`: left runs from 2.0, right from 5.0, both worked at 30 and 40, left from 50.


def _heard(small, wire, seconds=6.0, *, hold_s=1.0):
    """Set piece One played exactly, 1 s held at the cues first; `wire` is what is sent of it."""
    follower, following = Follower(small), 0
    for step in range(int(seconds * 100)):
        now = step / 100
        for side, at in (("left", 2.0 + max(now - hold_s, 0.0)), ("right", 5.0)):
            for told_side, told in wire(side, at, step):
                follower.hear(told_side, position=told, now=now)
        following += follower.prompt(now=now).state == "following"
    return follower.prompt(now=seconds), following


def _as_it_is(side, at, step):
    return [(side, at)]


def _turns(side, at, step):
    return [(side, at / 1.8)]  # 33 1/3 rpm is 1.8 s a turn (IEC 60098)


def _milliseconds(side, at, step):
    return [(side, 1000.0 * at)]


def _whole_seconds(side, at, step):
    return [(side, math.floor(at))]


def _backwards(side, at, step):
    return [(side, 200.0 - at)]


def _swapped(side, at, step):
    return [("right" if side == "left" else "left", at)]


def _a_second_sender(side, at, step):
    return [(side, at), (side, 77.7)] if side == "left" and step % 3 == 0 else [(side, at)]


@pytest.mark.parametrize(
    ("wire", "word"),
    [
        (_turns, "left deck sends turns"),
        (_milliseconds, "left deck sends milliseconds"),
        (_whole_seconds, "left deck's positions come in steps of 1 s"),
        (_backwards, "left deck runs backwards"),
        (_swapped, "left and right look swapped"),
        (_a_second_sender, "two senders tell the left deck"),
    ],
)
def test_a_sender_wired_wrong_is_hinted_at_within_three_seconds(small, wire, word):
    prompt, _ = _heard(small, wire, seconds=4.0)  # 1 s held, 3 s of the performance
    assert any(word in hint for hint in prompt.hints), prompt.hints
    assert prompt.state == "unsure"


def test_a_sender_that_is_well_wired_gets_no_hint(small):
    prompt, following = _heard(small, _as_it_is)
    assert prompt.hints == ()
    assert following > 400


def test_a_hint_goes_when_its_cause_does(small):
    """Reversed for 3 s after the hold, then put right: 2 s on the left runs forward again."""

    def mended(side, at, step):
        return _backwards(side, at, step) if step < 400 else [(side, at)]

    assert _heard(small, mended, seconds=4.0)[0].hints
    assert _heard(small, mended, seconds=7.0)[0].hints == ()
