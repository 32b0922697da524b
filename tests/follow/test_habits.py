"""What is learnt from takes bends the prices, a little for a few; none leaves all as it was."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.follow import Follower, Habits
from liveaid.follow.habits import seen, together
from liveaid.follow.numbers import USUAL


def test_without_takes_nothing_is_changed():
    # -ln(200 e^-7 / 200) = 7
    assert Habits().numbers().again == pytest.approx(USUAL.again)
    assert Habits().numbers().back == pytest.approx(USUAL.back)


def test_a_performer_who_often_begins_anew_pays_less_for_it():
    """100 set pieces, 10 begun anew: (200 e^-7 + 10) / 300 = .033941; -ln of it is 3.3831."""
    numbers = Habits(pieces=100, again=10).numbers()
    assert numbers.again == pytest.approx(3.3831, abs=1e-3)


def test_a_performer_who_never_leaves_early_pays_a_little_more():
    """400 set pieces, none left early: 200 e^-5 / 600: 5 + ln 3 = 6.0986."""
    assert Habits(pieces=400).numbers().next_early == pytest.approx(6.0986, abs=1e-4)


def test_a_takes_set_pieces_are_counted_by_how_they_were_left():
    """0 whole, 1 left at 9 of 16, 2 twice, 3 left out, 4, back to 1."""
    places = [(0, 16.0), (1, 9.0), (2, 16.0), (2, 16.0), (4, 16.0), (1, 3.0)]
    habits = seen(places, [16.0] * 5)
    assert habits == Habits(pieces=6, again=1, skipped=1, early=1, back=1)


def test_takes_come_together_and_the_pitch_is_their_mean():
    """4 set pieces at +2 per cent and 12 at -2: (8 - 24) / 16 = -1."""
    both = together([Habits(pieces=4, pitch_percent=2.0), Habits(pieces=12, pitch_percent=-2.0)])
    assert (both.pieces, both.pitch_percent) == (16, -1.0)


def test_the_usual_pitch_sets_the_clock_before_anything_turned(small, play):
    """120 BPM at +3 per cent is 123.6."""
    follower = Follower(small, habits=Habits(pitch_percent=3.0))
    play(follower, lambda now: 2.0, lambda now: 5.0, 0.0, 1.0)
    assert follower.prompt(now=1.0).tempo == pytest.approx(123.6)


@given(
    st.builds(Habits, pieces=st.floats(0, 1e6), again=st.floats(0, 1e6), early=st.floats(0, 1e6))
)
def test_habits_survive_their_file(habits):
    assert Habits.from_json(habits.to_json()) == habits
    assert math.isfinite(habits.numbers().again)


@pytest.mark.parametrize("bad", [{"pieces": -1}, {"again": math.nan}, {"mood": 1}])
def test_a_file_that_is_none_of_ours_is_refused(bad):
    with pytest.raises(ValueError, match="habits"):
        Habits.from_json(bad)
