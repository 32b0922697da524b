"""Two readings of the same hands, plain and with left and right exchanged: nats by hand."""

from __future__ import annotations

import math

import pytest

from liveaid.follow.belief import Belief
from liveaid.follow.exchanged import Exchanged, SidesRead
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Vote
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import plan_of

N = Numbers(lost_runs=-2.5, lost_else=-0.8, contradicted=-2.5, word=20.0)
NEITHER = {"left": False, "right": False}
RUN = Gesture("runs", 0.0, 2.0, True, 1.0, 3.0)
HELD = Gesture("held", 0.0, 2.0, False, 1.0, 2.0)


def heard(left=None, right=None):
    """What the decks do; none of it is told, so that it earns no reading anything."""
    return GestureHeard(1.0, 1.0, {"left": left, "right": right}, NEITHER)


def readings(small, *, other=0.0, plain=0.0, ahead=0.0, told=False):
    """Both readings with what they have earned so far."""
    exchanged, belief = Exchanged(plan_of(small), 1.8, N), Belief(plan_of(small), 1.8, N)
    exchanged.before(belief, NEITHER)
    exchanged._both[0].past, exchanged._both[1].past = plain, other
    exchanged._ahead, exchanged.told = ahead, told
    return exchanged, belief


@pytest.mark.parametrize(
    ("other", "plain", "ahead", "before", "told"),
    [
        # Told from six nats ahead on, and no more below one; by what was proven, more.
        (6.1, 0.0, 0.0, False, True), (6.0, 0.0, 0.0, False, False), (3.1, -3.0, 0.0, False, True),
        (1.1, 0.0, 0.0, True, True), (1.0, 0.0, 0.0, True, False), (26.1, 0.0, 20.0, False, True),
        (26.0, 0.0, 20.0, False, False),
        # The less wrong of two wrong readings is none.
        (0.0, -9.0, 0.0, False, False), (0.1, -9.0, 0.0, False, True),
        (-0.1, -9.0, 0.0, True, False),
    ],
)  # fmt: skip
def test_when_left_and_right_look_exchanged(small, other, plain, ahead, before, told):
    exchanged, belief = readings(small, other=other, plain=plain, ahead=ahead, told=before)
    exchanged.after(belief, heard(right=RUN), NEITHER, 0.0)
    assert exchanged.told is told


@pytest.mark.parametrize(("right", "before", "told"), [(HELD, False, False), (HELD, True, True)])
def test_what_stands_begins_no_talk_of_it(small, right, before, told):
    exchanged, belief = readings(small, other=9.0, told=before)
    exchanged.after(belief, heard(right=right), NEITHER, 0.0)
    assert exchanged.told is told


def test_what_was_earned_fades_in_twenty_seconds(small):
    exchanged, belief = readings(small, other=6.1)
    exchanged.after(belief, heard(left=RUN), NEITHER, 20.0)
    assert exchanged._both[1].past == pytest.approx(6.1 / math.e)


@pytest.mark.parametrize(
    ("plain", "ahead", "rests"), [(12.0, 0.0, None), (12.1, 0.0, 8.0), (0.0, 20.0, 20.0)]
)
def test_twelve_nats_behind_the_second_reading_rests(small, plain, ahead, rests):
    """The plain one is proven then: eight nats ahead, or what it was already."""
    exchanged, belief = readings(small, plain=plain, ahead=ahead)
    exchanged.after(belief, heard(left=RUN), NEITHER, 0.0)
    assert (exchanged._both is None) is exchanged._rests is (rests is not None)
    assert exchanged._ahead == (ahead if rests is None else rests)


def test_a_place_contradicted_for_a_second_wakes_it_with_a_debt(small):
    """Contradicted for .5 s, fitting for a moment, then for a second: eight nats for having come
    from somewhere."""
    exchanged, belief = readings(small, plain=12.1)
    exchanged.after(belief, heard(left=RUN), NEITHER, 0.0)
    for nats, seconds, rests in (
        (-2.6, 0.5, True),
        (-2.5, 0.5, True),
        (-2.6, 0.75, True),
        (-2.6, 0.25, False),
    ):
        belief.told.votes["left"].nats = nats
        exchanged.before(belief, NEITHER)
        assert exchanged._both is None
        exchanged.after(belief, heard(left=RUN), NEITHER, seconds)
        assert exchanged._rests is rests
    exchanged.before(belief, NEITHER)
    assert [reading.past for reading in exchanged._both] == [0.0, -8.0]
    assert readings(small)[0]._both[1].past == 0.0  # at first it owes nothing


def test_a_word_speaks_for_the_plain_reading(small):
    exchanged, _ = readings(small, ahead=8.0, told=True)
    exchanged.hear_word()
    assert (exchanged._ahead, exchanged.told) == (28.0, False)


def test_each_deck_is_the_others_in_the_second_reading(small):
    """Left's gesture is over: in the second reading that was right's."""
    exchanged, belief = readings(small)
    plain, other = exchanged._both
    for reading in (plain, other):
        reading.belief.told.votes = {"left": Vote(1.0, 2.0), "right": Vote(0.5, 1.0)}
    exchanged.before(belief, {"left": True, "right": False})
    assert (plain.past, plain.told) == (2.0, 0.5)
    assert (other.past, other.told) == (0.5, 2.0)


@pytest.mark.parametrize(
    ("section", "here", "past"),
    [
        # On to the next what was told stays; elsewhere leaving the order is paid.
        (-1, 0, 3.0), (1, 2, 3.0), (1, 1, 2.0), (-1, 1, -1.0), (0, 2, -6.0), (2, 1, -6.0),
        (2, 0, -6.0),
    ],
)  # fmt: skip
def test_what_a_reading_keeps_and_pays(small, section, here, past):
    reading = SidesRead(Belief(plan_of(small), 1.8, N), section, past=2.0, told=1.0)
    reading.belief.told.section = here
    reading.after(heard(), 0.0)
    assert (reading.past, reading.section) == (past, here)


def test_no_gesture_tells_worse_than_of_being_nowhere(small):
    reading = SidesRead(Belief(plan_of(small), 1.8, N), past=1.0)
    reading.belief.told.votes = {"left": Vote(-9.0, 2.0), "right": Vote(-9.0, 0.5)}
    assert reading.earned == pytest.approx(1.0 - 0.8 * 2.5)
    reading.after(heard(left=RUN, right=HELD), 0.0)
    assert reading.earned == pytest.approx(1.0 - 2.5 * 2.0 - 0.8 * 0.5)
    reading.belief.told.votes["left"] = Vote(1.5, 2.0)
    assert reading.earned == pytest.approx(1.0 + 3.0 - 0.4)
