"""The guesses held: how sure they are together, and what never changes whatever is heard."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.follow import search
from liveaid.follow.belief import Belief
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.numbers import USUAL
from liveaid.follow.plan import plan_of
from liveaid.routine import Routine

MAP = Routine.model_validate(
    {
        "title": "Two and a solo",
        "pieces": [
            {"name": "A", "bars": 4, "tempo": 120, "count": "left",
             "left": {"hand": "runs", "at": 2.0}},
            {"name": "B", "bars": 4, "tempo": 120,
             "right": {"hand": "works", "from": 30.0, "to": 32.0}},
            {"name": "C", "bars": 4, "tempo": 120, "count": "left",
             "left": {"hand": "runs", "at": 2.0}},
        ],
    }
)  # fmt: skip
PLAN = plan_of(MAP)
NOTHING = GestureHeard(0.0, 1.0, {"left": None, "right": None}, {"left": False, "right": False})


def _belief(*guesses, lost=-50.0):
    belief = Belief(PLAN, 1.8, USUAL)
    belief.guesses, belief.told = list(guesses), guesses[0]
    belief.lost = Guess(-1, 0.0, 0.0, lost)
    return belief


def test_two_places_three_nats_apart_are_twenty_to_one():
    """1 / (1 + e^-3) = .95257, times erf(1 / (.1 sqrt 2)) = 1, times .998: twenty to one."""
    belief = _belief(Guess(0, 4.0, 0.0, 0.0), Guess(2, 4.0, 0.0, -3.0))
    assert belief.confidence()[1] == pytest.approx(0.95257 * 0.998, abs=1e-4)


def test_a_doubtful_beat_is_so_much_less_sure():
    """A deviation of .1 + .9 beats: erf(1 / sqrt 2) = .68269."""
    belief = _belief(Guess(1, 4.0, 0.0, doubt=0.9))
    assert belief.confidence()[1] == pytest.approx(0.68269 * 0.998, abs=1e-4)


def test_a_set_piece_may_be_sure_where_its_beat_is_not():
    """Eight beats apart and three nats less: 1 / (1 + e^-3) = .95257 of the place."""
    belief = _belief(Guess(1, 4.0, 0.0, 0.0), Guess(1, 12.0, 0.0, -3.0))
    piece, place = belief.confidence()
    assert piece == pytest.approx(0.998, abs=1e-4)
    assert place == pytest.approx(0.95257 * 0.998, abs=1e-4)


def test_a_place_within_a_beat_is_the_same_place():
    belief = _belief(Guess(0, 15.5, 0.0), Guess(1, 0.2, 0.0))
    assert belief.confidence()[1] == pytest.approx(0.998, abs=1e-4)


@pytest.mark.parametrize(("behind", "rival"), [(1.5, 2), (2.5, None)])
def test_a_rival_is_another_place_within_two_nats(behind, rival):
    belief = _belief(Guess(0, 4.0, 0.0), Guess(2, 4.0, 0.0, -behind))
    found = belief.rival()
    assert (None if found is None else found.section) == rival


def test_of_two_rivals_the_one_of_another_set_piece_is_told():
    """Another beat of A fits half a nat better than C: whether it is A or C is what matters."""
    belief = _belief(Guess(0, 4.0, 0.0), Guess(0, 8.0, 0.0, -1.0), Guess(2, 4.0, 0.0, -1.5))
    found = belief.rival()
    assert found is not None
    assert (found.section, found.beat) == (2, 4.0)


@pytest.mark.parametrize(("still_s", "beat"), [(2.0, 0.0), (0.5, 0.4 * 16)])
def test_a_record_held_long_at_a_cue_before_the_start_begins_there(still_s, beat):
    """Right stands at B's cue, 30 s. Held for a second it waits for B's first beat; held for a
    moment it may as well be in the middle of B's cutting, beat 6.4 of 16."""
    held = Gesture("held", 0.0, 30.0, False, 2.0, 30.0)
    heard = GestureHeard(
        2.0, 1.0, {"left": None, "right": held}, {"left": False, "right": True}, still_s
    )
    before = Guess(-1, 0.0, 0.0)
    found = list(search.found(PLAN, heard, before, [before], 1.8, USUAL))
    assert [(guess.section, guess.beat) for guess in found] == [(1, pytest.approx(beat))]


def test_twins_of_one_set_piece_crowd_out_no_other():
    """Five guesses of B at its releases, and A far behind them: three of B stay, and A."""
    twins = [Guess(1, 2.0 * n, 0.0, -0.1 * n) for n in range(5)]
    last = Guess(0, 4.0, 0.0, -7.0)
    belief = _belief(*twins, last)
    belief._keep()
    assert belief.guesses == [*twins[:3], last]


def test_of_guesses_within_half_a_beat_the_likelier_stays_and_is_told():
    """Told at beat 4.3, the same place .3 beats back is a nat likelier; beat 4.9 is another."""
    told, likelier, another = Guess(0, 4.3, 0.0, -1.0), Guess(0, 4.0, 0.0), Guess(0, 4.9, 0.0, -2.0)
    belief = _belief(told, likelier, another)
    belief._keep()
    assert belief.guesses == [likelier, another]
    assert belief.told is likelier


def test_to_begin_elsewhere_than_at_the_start_has_a_price():
    """Within the first 1.5 beats of the first set piece it is the start, which costs nothing; there
    from then on, or in another, 2 nats and one of three set pieces, ln 3 = 1.0986; 2 more where the
    clock counts and 2.5 beats are over."""
    before = Guess(-1, 0.0, 0.0)
    paid = [
        search.price(PLAN, before, PLAN.at(section), beat, 1.8, USUAL)
        for section, beat in ((0, 1.4), (0, 1.5), (2, 0.0), (1, 2.5), (1, 2.6))
    ]
    assert paid == pytest.approx([0.0, 3.0986, 3.0986, 3.0986, 5.0986], abs=1e-4)


KINDS = st.sampled_from(["held", "runs", "hand"])
LOOKS = st.lists(
    st.tuples(KINDS, st.floats(0, 60), KINDS, st.floats(0, 60), st.floats(0.0, 3.0), st.booleans()),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(LOOKS)
def test_whatever_the_gestures_a_few_finite_guesses_stay(looks):
    belief, now = Belief(PLAN, 1.8, USUAL), 0.0
    for left, left_s, right, right_s, seconds, news in looks:
        now += seconds
        gestures = {
            "left": Gesture(left, now - 0.2, left_s, news, now, left_s, 1.0),
            "right": Gesture(right, now - 0.2, right_s, False, now, right_s, 1.0),
        }
        heard = GestureHeard(now, 1.0, gestures, {"left": True, "right": True})
        belief.step(heard, {"left": news, "right": not news}, seconds)
        assert 1 <= len(belief.guesses) <= USUAL.guesses + 1
        assert belief.told in belief.guesses
        assert all(math.isfinite(guess.score) for guess in belief.guesses)
        assert all(
            -1 <= g.section <= PLAN.pieces and (g.over or g.beat < PLAN.at(g.section).beats)
            for g in belief.guesses
        )
        assert 0.0 <= belief.confidence()[1] < 1.0
