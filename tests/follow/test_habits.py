"""What is learnt from takes bends the prices, a little for a few; none leaves all as it was."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.follow import Follower, Habits
from liveaid.follow.habits import PieceGone, seen, together
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
    gone = [(0, 16.0), (1, 9.0), (2, 16.0), (2, 16.0), (4, 16.0), (1, 3.0)]
    habits = seen([PieceGone(*one) for one in gone], [16.0] * 5)
    assert habits == Habits(takes=1, pieces=6, again=1, skipped=1, early=1, back=1)


@pytest.mark.parametrize(("left_at", "early"), [(14.5, 0), (14.4, 1)])
def test_who_leaves_a_beat_and_a_half_before_the_end_leaves_early(left_at, early):
    assert seen([PieceGone(0, left_at), PieceGone(1, 16.0)], [16.0] * 2).early == early


def test_how_far_from_their_cues_records_were_let_go_as_a_root_mean_square():
    """.3 s one way and .1 s the other: the root of (.09 + .01) / 2 is .2236."""
    habits = seen([PieceGone(0, 16.0)], [16.0], off_cue_s=[0.3, -0.1])
    assert (habits.let_go, habits.off_cue_s) == (2, pytest.approx(0.22361, abs=1e-5))
    assert seen([PieceGone(0, 16.0)], [16.0]).off_cue_s == 0.0


@pytest.mark.parametrize("percent", [-50.1, 50.1, -math.inf])
def test_a_pitch_beyond_half_is_refused(percent):
    with pytest.raises(ValueError, match="within 50 per cent"):
        Habits(pitch_percent=percent)
    assert Habits(pitch_percent=math.copysign(50.0, percent)).pitch_percent in (-50.0, 50.0)


def test_a_set_piece_that_the_map_has_not_leads_nowhere():
    """0, another, 3: neither is 1 and 2 left out, nor 0 left early."""
    habits = seen([PieceGone(0, 4.0), None, PieceGone(3, 16.0)], [16.0] * 4)
    assert habits == Habits(takes=1, pieces=2)


def test_a_takes_pitch_is_the_middle_one():
    """Of 1, 2 and 9 per cent the median is 2; one that tells none counts for nothing."""
    gone = [PieceGone(0, 16.0, 9.0), PieceGone(1, 16.0, 1.0), PieceGone(2, 16.0, 2.0)]
    habits = seen([*gone, PieceGone(3, 5.0)], [16.0] * 4)
    assert (habits.pitched, habits.pitch_percent) == (3, 2.0)


def test_takes_come_together_and_the_pitch_is_their_mean():
    """4 set pieces at +2 per cent and 12 at -2: (8 - 24) / 16 = -1; 3 that told none change it
    not. One release .3 s off and 8 at none: the root of .09 / 9 is .1."""
    both = together(
        [
            Habits(takes=1, pieces=7, pitched=4, pitch_percent=2.0, let_go=1, off_cue_s=0.3),
            Habits(takes=1, pieces=12, pitched=12, pitch_percent=-2.0, let_go=8),
        ]
    )
    assert (both.takes, both.pieces, both.pitch_percent) == (2, 19, -1.0)
    assert both.off_cue_s == pytest.approx(0.1)


def test_who_lets_go_far_from_the_cue_is_allowed_for():
    """150 releases .2 s off and 50 at the usual .08: the root of (6 + .32) / 200 is .17776; who
    lets go nearer than that changes nothing."""
    assert Habits(let_go=150, off_cue_s=0.2).numbers().place_s == pytest.approx(0.17776, abs=1e-5)
    assert Habits(let_go=150, off_cue_s=0.01).numbers().place_s == USUAL.place_s


def test_what_was_learnt_is_told_in_a_line():
    habits = Habits(takes=12, pieces=50, again=3, pitched=40, pitch_percent=1.24)
    assert habits.says == "from 12 takes, 50 set pieces: pitch +1.2 %, 3 begun anew"
    assert Habits(takes=1, pieces=4).says == "from 1 take, 4 set pieces: all in order"


def test_the_usual_pitch_sets_the_clock_before_anything_turned(small, play):
    """120 BPM at +3 per cent is 123.6."""
    follower = Follower(small, habits=Habits(pitch_percent=3.0))
    play(follower, lambda now: 2.0, lambda now: 5.0, 0.0, 1.0)
    assert follower.prompt(now=1.0).tempo == pytest.approx(123.6)


@given(
    st.builds(Habits, pieces=st.floats(0, 1e6), again=st.floats(0, 1e6), early=st.floats(0, 1e6))
)
def test_prices_are_finite_whatever_was_seen(habits):
    numbers = habits.numbers()
    assert math.isfinite(numbers.again + numbers.next_early)


@pytest.mark.parametrize("bad", [{"pieces": -1}, {"again": math.nan}, {"pitch_percent": math.nan}])
def test_counts_that_cannot_be_are_refused(bad):
    with pytest.raises(ValueError, match="habits"):
        Habits(**bad)
