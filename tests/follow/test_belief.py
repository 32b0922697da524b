"""The guesses held: how sure they are together, and what never changes whatever is heard."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.follow import search
from liveaid.follow.belief import Belief
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess, Vote
from liveaid.follow.numbers import USUAL, Numbers
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


# What follows states its own numbers: another estimate of them changes nothing here.
N = Numbers(
    fade_s=5.0, contradicted=-2.5, contradicted_s=0.0625, look_each_s=0.25, guesses=4, of_one=3,
    far=25.0, renamed=1.0, taken_back=3.0, settled_s=2.0, lost=7.0, lost_runs=-2.5, lost_else=-0.8,
    word=20.0, first=8.0, held_doubt=0.5, twins=2.0, floor=0.002, beat_error=0.1, clock_error=0.02,
    at_start_beats=0.25, overtime=1.0, overtime_each=3.0, stop=6.0, start_doubt=0.1,
    news_full_s=0.15, full_s=0.35, more_each_s=2.0,
)  # fmt: skip


def belief_of(*guesses, lost=-50.0):
    belief = Belief(PLAN, 1.8, N)
    belief.guesses, belief.told = list(guesses), guesses[0]
    belief.lost = Guess(-1, 0.0, 0.0, lost)
    return belief


def voted(guess, left, right=0.0, weight=0.0):
    guess.votes = {"left": Vote(left, weight), "right": Vote(right, weight)}
    return guess


def now(now_s=10.0, *, telling=True, stopped_s=-math.inf, **gestures):
    both = {"left": None, "right": None, **gestures}
    told = {side: telling and both[side] is not None for side in both}
    return GestureHeard(now_s, 1.0, both, told, 0.0, stopped_s)


def test_at_first_the_routine_has_not_begun_and_being_nowhere_costs_7_nats():
    belief = Belief(PLAN, 1.8, N)
    assert belief.guesses == [Guess(-1, 0.0, -math.inf)]
    assert belief.told is belief.guesses[0]
    assert belief.lost == Guess(-1, 0.0, -math.inf, -7.0)


NONE_ENDED = {"left": False, "right": False}
RUN = Gesture("runs", 8.0, 2.0, True, 10.0, 4.0, 1.0)
HELD = Gesture("held", 8.0, 30.0, False, 10.0, 30.0)


@pytest.mark.parametrize(
    ("told", "looked_s", "ended", "gesture", "looks"),
    [
        (Guess(0, 4.0, 0.0), 9.0, False, RUN, False),
        # A gesture that began with a release is news, one that did not is none.
        (Guess(0, 4.0, 0.0), 9.9, True, RUN, True), (Guess(0, 4.0, 0.0), 9.9, True, HELD, False),
        # Beyond its end, nowhere, contradicted: but no sooner than .25 s after the last look.
        (Guess(0, 16.0, 0.0, over=True), 9.75, False, RUN, True),
        (Guess(0, 16.0, 0.0, over=True), 9.76, False, RUN, False),
        (Guess(-1, 0.0, 0.0), 9.0, False, RUN, True), (Guess(3, 0.0, 0.0), 9.0, False, RUN, True),
        (voted(Guess(0, 4.0, 0.0), -2.6), 9.0, False, RUN, True),
        (voted(Guess(0, 4.0, 0.0), -2.5), 9.0, False, RUN, False),
        (voted(Guess(0, 4.0, 0.0), 1.0, -2.6), 9.81, False, RUN, False),
    ],
)  # fmt: skip
def test_when_other_places_are_looked_for(told, looked_s, ended, gesture, looks):
    belief = belief_of(told)
    belief._looked_s = looked_s
    assert belief._looks(now(left=gesture), {"left": ended, "right": False}, 0.07) is looks
    assert belief._looked_s == (10.0 if ended or looked_s <= 9.75 else looked_s)


def test_a_contradiction_of_a_moment_or_a_sure_place_is_no_reason_to_look():
    """Contradicted for .0625 s, then .125; once it fits it begins anew. Below half belief
    it looks."""
    belief = belief_of(voted(Guess(0, 4.0, 0.0), -3.0))
    asked = []
    for k, fits in enumerate((False, False, True, False)):
        belief.told.votes["left"].nats = 0.0 if fits else -3.0
        asked.append(belief._looks(now(10.0 + k, left=RUN), NONE_ENDED, 0.0625))
    assert asked == [False, True, False, False]
    for behind, looks in ((0.1, False), (-0.1, True)):
        belief = belief_of(Guess(0, 4.0, 0.0), Guess(2, 4.0, 0.0, -behind))
        assert belief._looks(now(left=RUN), NONE_ENDED, 0.04) is looks


def test_a_fader_weighs_by_what_each_hand_does():
    """A runs left, B works right, after the last both rest."""
    belief = belief_of(Guess(0, 4.0, 0.0, past=1.0), Guess(1, 4.0, 0.0), Guess(3, 0.0, 0.0))
    belief.weigh("left", {"runs": 0.5, "works": -1.0, "rests": -3.0})
    assert [guess.past for guess in belief.guesses] == [1.5, -3.0, -3.0]
    belief.weigh("right", {"runs": 0.5, "works": -1.0, "rests": 2.0})
    assert [guess.past for guess in belief.guesses] == [3.5, -4.0, -1.0]


def test_a_word_for_a_set_piece_not_believed_in_brings_it_in():
    """8 nats for leaving and 20 for the word on all others; where the decks tell no beat of it, its
    first, half a beat in doubt."""
    for heard, beat, doubt in ((now(), 0.0, 0.5), (now(left=RUN), 4.0, 0.0)):
        belief = belief_of(Guess(1, 4.0, 0.0, -1.0, past=2.0, stays=True), lost=-5.0)
        belief.hear_word(2, heard)
        assert belief.guesses == [
            Guess(1, 4.0, 0.0, -21.0, past=2.0),
            Guess(2, beat, 10.0, -9.0, past=2.0, doubt=doubt),
        ]
        assert belief.told is belief.guesses[1]
        assert belief.lost.price == -25.0


def test_a_word_for_a_set_piece_believed_in_tells_its_likeliest_place():
    guesses = [Guess(1, 4.0, 0.0), Guess(0, 4.0, 0.0, -9.0), Guess(0, 8.0, 0.0, -3.0)]
    belief = belief_of(*guesses)
    belief.hear_word(0, now())
    assert belief.told is guesses[2]
    assert [guess.price for guess in guesses] == [-20.0, -9.0, -3.0]
    belief.hold()
    assert [guess.stays for guess in guesses] == [False, True, True]
    belief.hear_word(0, now())
    assert [guess.stays for guess in guesses] == [False, False, False]


@pytest.mark.parametrize(
    ("told", "other", "rival"),
    [
        (Guess(0, 4.0, 0.0), Guess(2, 4.0, 0.0, -1.99), True),
        (Guess(0, 4.0, 0.0), Guess(2, 4.0, 0.0, -2.0), False),
        (Guess(0, 4.0, 0.0), Guess(3, 0.0, 0.0), False),
        (Guess(-1, 0.0, 0.0), Guess(2, 4.0, 0.0), False),
        # Each has to fit by itself.
        (voted(Guess(0, 4.0, 0.0), -2.4), Guess(2, 4.0, 0.0), True),
        (voted(Guess(0, 4.0, 0.0), -2.5), Guess(2, 4.0, 0.0), False),
        (Guess(0, 4.0, 0.0), voted(Guess(2, 4.0, 0.0), -2.4), True),
        (Guess(0, 4.0, 0.0), voted(Guess(2, 4.0, 0.0), -2.6), False),
        # And lie more than a beat away; A's last beat and B's first are beside each other.
        (Guess(0, 4.0, 0.0), Guess(0, 5.01, 0.0), True),
        (Guess(0, 4.0, 0.0), Guess(0, 5.0, 0.0), False),
        (Guess(0, 4.0, 0.0), Guess(0, 2.99, 0.0), True),
        (Guess(0, 15.5, 0.0), Guess(1, 0.4, 0.0), False),
        (Guess(0, 15.5, 0.0), Guess(1, 0.6, 0.0), True),
    ],
)  # fmt: skip
def test_which_two_places_are_told_as_two(told, other, rival):
    assert (belief_of(told, other).rival() is other) is rival


def test_the_best_are_kept_and_the_one_told():
    """25 nats behind the best is too far; four are kept, and what is told beside them."""
    best = [Guess(0, 2.0, 0.0), Guess(1, 2.0, 0.0, -1.0), Guess(2, 2.0, 0.0, -2.0)]
    near, far = Guess(0, 8.0, 0.0, -24.9), Guess(1, 8.0, 0.0, -25.1)
    belief = belief_of(best[1], far, near, best[2], best[0])
    belief._keep()
    assert belief.guesses == [*best, near]
    belief = belief_of(far, near, *best)
    belief._keep()
    assert belief.guesses == [*best, near, far]
    fifth = Guess(2, 8.0, 0.0, -24.95)
    belief = belief_of(best[0], *best[1:], near, fifth)
    belief._keep()
    assert belief.guesses == [*best, near]
    before = [Guess(-1, float(beat), 0.0, -float(beat)) for beat in range(5)]
    belief = belief_of(*before)
    belief._keep()
    assert belief.guesses == before[:4]  # of no set piece so many may stand side by side
    close, apart = Guess(0, 2.49, 0.0, -1.0), Guess(0, 2.5, 0.0, -1.0)
    belief = belief_of(best[0], close, apart)
    belief._keep()
    assert belief.guesses == [best[0], apart]


def test_being_nowhere_is_come_to_from_the_best_and_fits_anything_a_little():
    """The best scores 3: 7 less is -4, more than -5. Its price is the best's and 7; its past the
    rest. Where it scores more already it stays, and its gestures count
    as far as it is old."""
    best = voted(Guess(1, 4.0, 0.0, -2.0, past=4.0), 0.5, weight=2.0)
    belief = belief_of(best, lost=-5.0)
    belief._lose(now(), NONE_ENDED, 0.5)
    assert belief.lost == Guess(-1, 0.0, 10.0, -9.0, past=5.0, lost_at=1)
    for price in (-4.0, 0.0):  # as good is good enough, and what is not heard tells nothing
        belief = belief_of(best, lost=price)
        belief._lose(now(left=RUN, telling=False), NONE_ENDED, 0.5)
        assert belief.lost == Guess(-1, 0.0, 0.0, price)
    belief.lost.since_s, belief.lost.past = 9.9, 1.0
    belief._lose(now(left=RUN, right=HELD), NONE_ENDED, 0.5)
    assert belief.lost.past == 0.5
    assert belief.lost.votes == {
        "left": Vote(-2.5, pytest.approx(0.1 / 0.15)),
        "right": Vote(-0.8, pytest.approx(0.1 / 0.35)),
    }
    said = belief.lost.votes["left"]
    told = said.nats * said.weight
    belief._lose(now(left=RUN), {"left": True, "right": False}, 1.0)
    assert belief.lost.past == pytest.approx(0.5 + told)


@pytest.mark.parametrize(
    ("told", "other", "changes"),
    [
        # Another beat of the same set piece by any lead, another name by one nat.
        (Guess(0, 4.0, 0.0), Guess(0, 8.0, 0.0, 0.1), True),
        (Guess(0, 4.0, 0.0), Guess(1, 4.0, 0.0, 1.0), False),
        (Guess(0, 4.0, 0.0), Guess(1, 4.0, 0.0, 1.1), True),
        # Back to one that was over by three.
        (Guess(1, 4.0, 0.0), Guess(0, 16.5, 0.0, 2.9, over=True), False),
        (Guess(1, 4.0, 0.0), Guess(0, 16.5, 0.0, 3.1, over=True), True),
        (Guess(0, 4.0, 0.0), Guess(0, 16.5, 0.0, 0.1, over=True), True),
        # At the very start a nat has to lead; what has begun needs none, having had no name.
        (Guess(-1, 0.0, 0.0), Guess(0, 0.24, 0.0, 0.9), False),
        (Guess(-1, 0.0, 0.0), Guess(0, 0.24, 0.0, 1.1), True),
        (Guess(-1, 0.0, 0.0), Guess(0, 0.26, 0.0, 0.9), True),
        (Guess(-1, 0.0, 0.0), Guess(1, 0.0, 0.0, 0.9), True),
        (Guess(0, 0.1, 0.0), Guess(-1, 0.0, 0.0, 0.9), False),
    ],
)  # fmt: skip
def test_by_how_much_another_place_has_to_be_better(told, other, changes):
    belief = belief_of(told, other)
    belief._choose(0.1)
    assert (belief.told is other) is changes


def test_a_lead_of_two_seconds_becomes_price():
    """Led for 1.9 s nothing changes; for 2.1 s what it is ahead by is paid by the others."""
    best, other = Guess(0, 4.0, 0.0, -1.0, past=3.0), Guess(1, 4.0, 0.0, -2.0, past=0.5)
    belief = belief_of(best, other, lost=-9.0)
    belief._choose(1.9)
    assert (best.price, best.past, other.price) == (-1.0, 3.0, -2.0)
    belief._choose(0.2)
    assert [(g.price, g.past) for g in (best, other, belief.lost)] == [
        (0.0, 0.0), (-3.5, 0.0), (-11.0, 0.0),
    ]  # fmt: skip


def test_a_step_fades_settles_moves_and_looks():
    """5 s on what is past counts 1 / e of itself. The vote of a gesture that ended is past too."""
    belief = belief_of(voted(Guess(0, 2.0, 0.0, past=2.0), 1.0, weight=0.5))
    belief.step(now(10.0), {"left": True, "right": False}, 5.0)
    (told,) = belief.guesses
    assert told.past == pytest.approx(2.0 / math.e + 0.5)
    assert told.beat == pytest.approx(12.0)  # 120 BPM by the clock
    assert told.votes["left"] == Vote(0.0, 0.0)
    stopped = belief_of(Guess(1, 4.0, 0.0))
    stopped.step(now(10.0, stopped_s=10.0), NONE_ENDED, 0.1)
    assert [(g.beat, g.price) for g in stopped.guesses] == [
        (0.0, 0.0),
        (pytest.approx(4.2), -6.0),
    ]
    going = belief_of(Guess(1, 4.0, 0.0))
    going.step(now(10.0, stopped_s=9.9), NONE_ENDED, 0.1)
    assert [(g.beat, g.price) for g in going.guesses] == [(pytest.approx(4.2), 0.0)]


def test_what_is_not_heard_makes_a_beat_less_sure():
    """A tenth of a beat, the count's own doubt of .3, and .02 for each of 5 beats: .5."""
    belief = belief_of(Guess(1, 4.0, 0.0, doubt=0.3))
    assert belief.beat_sure(5.0) == pytest.approx(math.erf(1.0 / (0.5 * math.sqrt(2.0))))
    assert belief.beat_sure() == pytest.approx(math.erf(1.0 / (0.4 * math.sqrt(2.0))))


def test_being_nowhere_and_other_set_pieces_take_their_share():
    """Scores 0, ln .5 and ln .25, nowhere ln .25: of 2 in all 1 is near; A's other beat is .5."""
    shares = [
        Guess(0, 4.0, 0.0),
        Guess(0, 9.0, 0.0, math.log(0.5)),
        Guess(2, 4.0, 0.0, math.log(0.25)),
    ]
    piece, place = belief_of(*shares, lost=math.log(0.25)).confidence()
    for more in (3.0, -3.0):  # by how much all score alike says nothing
        alike = [replace(share, past=more) for share in shares]
        assert belief_of(*alike, lost=math.log(0.25) + more).confidence() == pytest.approx(
            (piece, place)
        )
    assert piece == pytest.approx(0.75 * 0.998)
    assert place == pytest.approx(0.5 * 0.998, abs=1e-6)


@pytest.mark.parametrize(("beat", "same"), [(0.24, True), (0.26, False)])
def test_before_the_routine_and_at_its_start_are_one_place(beat, same):
    piece, place = belief_of(Guess(-1, 0.0, 0.0), Guess(0, beat, 0.0)).confidence()
    assert (piece, place) == pytest.approx((0.998, 0.998) if same else (0.499, 0.499))
