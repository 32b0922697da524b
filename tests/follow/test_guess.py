"""How one guess moves, is drawn and goes over, every bound by hand.

The numbers stand here, so that another estimate of them changes nothing: what is held is what they
mean, on which side they lie and what follows.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from liveaid.follow import likeness
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess, Vote, rate_bps
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import plan_of
from liveaid.routine import Routine

N = Numbers(
    draw_beats=0.5, draws=0.5, agrees_beats=0.1, first_beats=2.5, early_off_beats=2.0, anew_s=0.5,
    runs_on_s=1.0, from_cue_s=0.15, begun_beats=0.05, late_to_beats=3.0, clock_error=0.02,
    count_stands_s=4.5, overtime=1.0, overtime_each=3.0, start_doubt=0.1, release_error=0.15,
    release_off_beats=0.3, phase_doubt=0.6, entered_s=0.3, run_for_s=0.1, again=7.0, stop=6.0,
    contradicted=-2.5, stays=-0.5, runs_away=-4.0,
)  # fmt: skip
"""One leads by left from 2.0, half a second a beat; Three is counted by the clock."""


@pytest.fixture
def plan(small):
    return plan_of(small)


def heard(now_s=10.0, *, ratio=1.0, still_s=0.0, telling=True, **gestures):
    both = {"left": None, "right": None, **gestures}
    told = {side: telling and both[side] is not None for side in both}
    return GestureHeard(now_s, ratio, both, told, still_s)


def gesture(kind, beat, *, since_s=0.0, from_s=2.0, news=True, now_s=10.0, speed=1.0):
    """What left does in One, at a beat of it."""
    return Gesture(kind, since_s, from_s, news, now_s, 2.0 + 0.5 * beat, speed)


@pytest.mark.parametrize(
    ("read", "beat"),
    [
        # Within a tenth of a beat the record is believed, within half a beat by half.
        (4.09, 4.09), (3.91, 3.91), (4.11, 4.055), (3.89, 3.945), (4.49, 4.245), (3.51, 3.755),
    ],
)  # fmt: skip
def test_a_leading_record_draws_the_count(plan, read, beat):
    guess = Guess(0, 4.0, 0.0, doubt=0.7)
    guess.move(plan, heard(left=gesture("runs", read)), 0.0, N)
    assert guess == Guess(0, pytest.approx(beat), 0.0, doubt=0.0, ran=True)


@pytest.mark.parametrize("read", [4.51, 3.49])
def test_a_record_far_from_the_count_draws_nothing(plan, read):
    guess = Guess(0, 4.0, 0.0, doubt=0.7)
    guess.move(plan, heard(left=gesture("runs", read)), 0.0, N)
    assert guess == Guess(0, 4.0, 0.0, doubt=0.7)


def test_what_a_record_did_before_its_line_grew_too_short_is_old(plan):
    """It was drawn to 4.05 at 10 s; at 10.1 s nothing newer is known."""
    guess = Guess(0, 4.0, 0.0, doubt=0.7)
    guess.move(plan, heard(10.1, left=gesture("runs", 4.05)), 0.0, N)
    assert guess == Guess(0, 4.0, 0.0, doubt=0.7)


@pytest.mark.parametrize(
    ("at", "read", "drawn"),
    [(1.0, 2.4, True), (1.0, 2.6, False), (0.3, 2.29, True), (0.3, 2.31, False),
     (0.6, -0.4, True), (0.6, -0.6, False), (1.0, 2.49, True), (1.0, 2.51, False),
     (1.55, -0.4, True), (1.7, -0.4, False)],
)  # fmt: skip
def test_a_release_in_the_first_beats_draws_the_count_from_two_beats_off(plan, at, read, drawn):
    guess = Guess(0, at, 9.5)
    guess.move(plan, heard(left=gesture("runs", read, since_s=9.0, from_s=9.0)), 0.0, N)
    assert guess.beat == pytest.approx(read if drawn else at)


@pytest.mark.parametrize(
    ("ran", "since_s", "from_s", "drawn"),
    [
        # A first run, begun no more than a second before the set piece at 9.5 s; or one from
        # within .15 s of the cue at 2.0, no more than half a second old.
        (False, 8.51, 9.0, True), (False, 8.5, 9.0, False), (True, 9.0, 9.0, False),
        (True, 9.51, 2.14, True), (True, 9.5, 2.14, False), (True, 9.6, 2.16, False),
        (True, 9.6, 1.86, True), (True, 9.6, 1.84, False),
    ],
)  # fmt: skip
def test_which_release_is_the_beginning(plan, ran, since_s, from_s, drawn):
    guess = Guess(0, 1.0, 9.5, ran=ran)
    guess.move(plan, heard(left=gesture("runs", 2.0, since_s=since_s, from_s=from_s)), 0.0, N)
    assert guess.beat == (2.0 if drawn else 1.0)


@pytest.mark.parametrize(
    ("at", "read", "ran", "beat", "doubt"),
    [
        # Held near its cue before it ran: no further than that, and not before the first beat.
        (0.3, 0.2, False, 0.2, 0.1), (0.3, 0.4, False, 0.3, 0.1), (0.3, -0.2, False, 0.0, 0.1),
        (0.99, 0.49, False, 0.49, 0.1), (0.99, -0.49, False, 0.0, 0.1),
        # Else it is caught: drawn by half from within half a beat.
        (1.0, 0.49, False, 1.0, 0.7), (1.0, 0.6, False, 0.8, 0.7), (0.3, 0.51, False, 0.405, 0.7),
        (0.3, 0.2, True, 0.25, 0.7), (0.1, -0.6, False, 0.1, 0.7),
    ],
)  # fmt: skip
def test_a_record_held_at_its_cue_has_not_begun(plan, at, read, ran, beat, doubt):
    guess = Guess(0, at, 0.0, doubt=0.7, ran=ran)
    guess.move(plan, heard(left=gesture("held", read)), 0.0, N)
    assert (guess.beat, guess.doubt, guess.ran) == (pytest.approx(beat), doubt, ran)


@pytest.mark.parametrize(
    ("at", "read", "beat"),
    [(4.0, 4.4, 4.2), (4.0, 3.6, 3.8), (4.0, 4.51, 4.0), (4.0, 3.49, 4.0), (14.9, 15.3, 15.1),
     (15.0, 15.4, 15.0)],
)  # fmt: skip
def test_a_record_nudged_draws_the_count_but_for_the_last_beat(plan, at, read, beat):
    guess = Guess(0, at, 0.0, ran=True)
    guess.move(plan, heard(left=gesture("hand", read)), 0.0, N)
    assert guess.beat == pytest.approx(beat)


def test_a_count_goes_on_by_its_record_or_by_the_clock(plan):
    """A quarter second: 1.1 times as fast .55 beats, by a record at .9 .45. Beyond the end 3 nats
    a beat; by the clock .02 beats of doubt a beat."""
    fast = heard(ratio=1.1)
    assert rate_bps(plan.at(0), fast) == pytest.approx(2.2)
    slow = heard(ratio=1.1, left=gesture("runs", 9.0, speed=0.9))
    assert rate_bps(plan.at(0), slow) == pytest.approx(1.8)
    assert rate_bps(plan.at(0), replace(slow, telling={"left": False, "right": False})) == 2.2
    assert rate_bps(plan.at(2), slow) == pytest.approx(2.2)
    held = heard(ratio=1.1, left=gesture("held", 9.0, speed=0.0))
    assert rate_bps(plan.at(0), held) == pytest.approx(2.2)
    for section, at, doubt in ((0, fast, 0.511), (2, fast, 0.511), (0, slow, 0.5)):
        guess = Guess(section, 4.0, 0.0, -1.0, doubt=0.5, over=True)
        guess.move(plan, at, 0.25, N)
        beats = 0.45 if at is slow else 0.55
        assert guess.beat == pytest.approx(4.0 + beats)
        assert guess.price == pytest.approx(-1.0 - 3 * beats)
        assert guess.doubt == pytest.approx(doubt)


@pytest.mark.parametrize(
    ("section", "at", "late", "still_s", "beat"),
    [
        (2, 4.0, False, 4.51, 4.0), (2, 4.0, False, 4.49, 4.5), (0, 4.0, False, 9.0, 4.5),
        # One that begins late waits for the hand at once, until it has begun.
        (2, 0.04, True, 0.1, 0.04), (2, 0.06, True, 0.1, 0.56), (2, 0.04, False, 0.1, 0.54),
        (-1, 0.0, False, 0.0, 0.0), (4, 0.0, False, 0.0, 0.0),
    ],
)  # fmt: skip
def test_a_count_by_the_clock_stands_while_both_are_held(plan, section, at, late, still_s, beat):
    guess = Guess(section, at, 0.0, late=late)
    guess.move(plan, heard(still_s=still_s), 0.25, N)
    assert guess.beat == pytest.approx(beat)


def let_go(guess, plan, *, since_s, from_s=40.0, now_s=10.0, kind="runs", news=True):
    run = Gesture(kind, since_s, from_s, news, now_s, from_s + now_s - since_s, 1.0)
    guess.move(plan, heard(now_s, right=run), 0.0, N)
    return guess.beat


@pytest.mark.parametrize(
    ("since_s", "from_s", "kind", "drawn"),
    [
        # Half a second ago the count was at 3.1: a tenth off beat 3.
        (9.5, 40.0, "runs", True), (9.5, 40.14, "runs", True), (9.5, 40.16, "runs", False),
        (9.5, 39.86, "runs", True), (9.5, 39.84, "runs", False), (9.5, 40.0, "hand", False),
        # A release of the set piece before, or one too new to be known: off beats 1 and 4.
        (8.71, 40.0, "runs", False), (8.69, 40.0, "runs", False), (9.91, 40.0, "runs", False),
        (9.89, 40.0, "runs", True),
    ],
)  # fmt: skip
def test_which_release_draws_a_count_by_the_clock(plan, since_s, from_s, kind, drawn):
    guess = Guess(2, 4.1, 9.0, doubt=0.3)
    assert (let_go(guess, plan, since_s=since_s, from_s=from_s, kind=kind) != 4.1) is drawn


def test_a_release_three_tenths_before_the_set_piece_is_of_the_one_before(plan):
    """It was come to at 9 s. Let go at 8.71 or 8.69 s, 2.58 or 2.62 beats before beat 4.6."""
    for since_s, ran in ((8.71, True), (8.69, False)):
        guess = Guess(2, 4.6, 9.0, doubt=0.3)
        let_go(guess, plan, since_s=since_s)
        assert (guess.ran, guess.drawn_s) == (ran, since_s if ran else -math.inf)


@pytest.mark.parametrize(
    ("beat", "doubt", "news", "drawn", "left"),
    [
        # Half a second back: 3.1 to beat 3. A Kalman step of .3 against .15: .8; of .3 against .3
        # where it is no news: .5. From a doubt of .6 on it stays.
        (4.1, 0.3, True, 4.1 - 0.08, 0.3 * math.sqrt(0.2)),
        (4.1, 0.3, False, 4.1 - 0.05, 0.3 * math.sqrt(0.5)),
        (3.9, 0.3, True, 3.9 + 0.08, 0.3 * math.sqrt(0.2)),
        (4.1, 0.6, True, 4.1 - 0.1 * 16 / 17, 0.6), (4.1, 0.59, True, 4.00607, 0.14537),
        (4.29, 0.3, True, 4.29 - 0.29 * 0.8, 0.3 * math.sqrt(0.2)), (4.31, 0.3, True, 4.31, 0.3),
        (3.71, 0.3, True, 3.71 + 0.29 * 0.8, 0.3 * math.sqrt(0.2)), (3.69, 0.3, True, 3.69, 0.3),
    ],
)  # fmt: skip
def test_how_far_a_release_draws_the_count(plan, beat, doubt, news, drawn, left):
    guess = Guess(2, beat, 5.0, doubt=doubt)
    let_go(guess, plan, since_s=9.5, news=news)
    assert (guess.beat, guess.doubt) == (
        pytest.approx(drawn, abs=1e-5),
        pytest.approx(left, abs=1e-5),
    )
    assert (guess.ran, guess.drawn_s) == (True, 9.5)


def test_one_release_draws_once_and_the_next_again(plan):
    """A tenth of a second on it is the same release still; a later one is another."""
    guess = Guess(2, 4.1, 5.0, doubt=0.3, drawn_s=9.45)
    assert let_go(guess, plan, since_s=9.5) == 4.1
    guess = Guess(2, 4.1, 5.0, doubt=0.3, drawn_s=9.39)
    assert let_go(guess, plan, since_s=9.5) == pytest.approx(4.02)


@pytest.mark.parametrize(
    ("beat", "ran", "news", "anew"),
    [(3.9, False, True, True), (4.1, False, True, False), (3.9, True, True, False),
     (3.9, False, False, False)],
)  # fmt: skip
def test_a_late_count_begins_with_its_first_release(plan, beat, ran, news, anew):
    """Let go half a second ago, a beat: before beat 3 it is beat 0 that was let go then."""
    guess = Guess(2, beat, 5.0, doubt=0.3, late=True, ran=ran)
    let_go(guess, plan, since_s=9.5, news=news)
    assert guess.ran
    if anew:
        assert (guess.beat, guess.doubt) == (1.0, 0.15)
    else:
        assert guess.beat > 3.9


def test_where_the_map_names_the_beats_the_nearest_of_them_draws():
    """Let go at 3.1; named are 2.85 and 4: a quarter beat off, .8 of it is drawn."""
    named = plan_of(Routine.model_validate({"title": "T", "pieces": [
        {"name": "Three", "bars": 2, "tempo": 120,
         "left": {"hand": "works", "from": 30.0, "to": 31.0, "strokes": [0, 4]},
         "right": {"hand": "works", "from": 40.0, "to": 41.0, "strokes": [1, 2.85, 4]}},
    ]}))  # fmt: skip
    guess = Guess(0, 4.1, 5.0, doubt=0.3)
    assert let_go(guess, named, since_s=9.5) == pytest.approx(4.1 - 0.2)


TEMPI = Routine.model_validate({"title": "T", "pieces": [
    {"name": "One", "bars": 1, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 2.0}},
    {"name": "Two", "bars": 1, "tempo": 60, "left": {"hand": "works", "from": 30.0, "to": 31.0}},
    {"name": "Last", "bars": 1, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 9.0}},
]})  # fmt: skip


def test_over_into_a_slower_set_piece_the_same_time_is_fewer_beats():
    """One's beat 5 of 4 is half a second over, of Two half a beat. At twice the speed it went over
    a quarter of a second ago."""
    guess = Guess(0, 5.0, 0.0, -0.5, past=2.0, doubt=0.2, ran=True, late=True)
    guess.votes["left"] = Vote(1.5, 2.0)
    (more,) = guess.crossed(plan_of(TEMPI), heard(ratio=2.0), N)
    assert guess == Guess(1, 0.5, 9.75, -0.5, past=5.0, doubt=0.2)
    assert more == Guess(0, 5.0, 9.75, -1.5, past=5.0, doubt=0.2, ran=True, late=True, over=True)


def test_over_two_set_pieces_at_once_each_way_is_left_open():
    """13 beats of One are 4.5 s over its 4: Two's 4 s and half a second, a beat, of Last."""
    guess = Guess(0, 13.0, 0.0)
    ways = list(guess.crossed(plan_of(TEMPI), heard(), N))
    assert (guess.section, guess.beat, guess.price) == (2, 1.0, 0.0)
    assert [(way.section, way.beat, way.price, way.over) for way in ways] == [
        (0, 13.0, -1.0, True), (1, 4.5, -1.0, True), (1, 0.5, -7.0, False),
    ]  # fmt: skip
    assert [way.since_s for way in ways] == [9.0, 9.5, 9.5]  # no more than a second ago


def test_after_the_last_set_piece_it_is_over():
    guess = Guess(2, 4.0, 0.0)
    assert len(list(guess.crossed(plan_of(TEMPI), heard(), N))) == 1
    assert (guess.section, guess.beat) == (3, 0.0)
    stays = Guess(2, 4.5, 0.0, stays=True)
    assert list(stays.crossed(plan_of(TEMPI), heard(), N)) == []
    assert (stays.section, stays.beat) == (2, 3.99)
    short = Guess(2, 3.99, 0.0)
    assert list(short.crossed(plan_of(TEMPI), heard(), N)) == []
    assert short == Guess(2, 3.99, 0.0)


def test_a_stop_begins_a_count_by_the_clock_anew(plan):
    guess = Guess(2, 0.05, 3.0, -1.0, past=2.0, doubt=0.4, ran=True, over=True)
    assert list(guess.begun_anew(plan, heard(), N)) == [
        Guess(2, 0.0, 10.0, -1.0, past=2.0, doubt=0.1, late=True)
    ]
    assert guess.price == -7.0
    for other in (Guess(2, 0.04, 3.0), Guess(0, 4.0, 3.0), Guess(-1, 4.0, 3.0)):
        assert list(other.begun_anew(plan, heard(), N)) == []
        assert other.price == 0.0


def votes(plan, guess, at):
    guess.score_votes(plan, at, N)
    return {side: (vote.nats, vote.weight) for side, vote in guess.votes.items()}


@pytest.mark.parametrize(
    ("section", "beat", "read", "over", "ending"),
    [
        # Within its last beat, and within a beat of its place, a record may be caught.
        (0, 15.1, 15.1, False, True), (0, 14.9, 14.9, False, False), (0, 15.1, 14.2, False, True),
        (0, 15.1, 14.0, False, False), (0, 15.1, 16.0, False, True), (0, 15.1, 16.2, False, False),
        (0, 16.2, 16.2, True, False),
    ],
)  # fmt: skip
def test_a_running_deck_votes_by_its_place(plan, section, beat, read, over, ending):
    """Half a second a beat; held since 8 s, the guess since 9: a second of it."""
    at = heard(left=gesture("held", read, since_s=8.0))
    wanted = likeness.runs(plan.at(0).parts["left"], at.gestures["left"], (read - beat) / 2, True,
                           ending, 1.0, N)  # fmt: skip
    found = votes(plan, Guess(section, beat, 9.0, ran=True, over=over), at)
    weight = likeness.weight(at.gestures["left"], 1.0, N)
    assert found["left"] == (pytest.approx(min(wanted, 0.0) if over else wanted), weight)
    assert found["right"] == (0.0, 0.0)


def test_a_worked_deck_votes_by_its_beats_and_a_resting_one_by_the_time(plan):
    moved = Gesture("held", 8.0, 40.0, True, 10.0, 40.9)
    at = replace(heard(right=moved), still_s=0.5)
    part = plan.at(2).parts["right"]
    assert votes(plan, Guess(2, 5.0, 9.0), at)["right"] == (
        likeness.works(part, moved, 0.5, 5.0, 3.0, N), likeness.weight(moved, 1.0, N),
    )  # fmt: skip
    gone = Gesture("held", 8.0, 50.0, True, 10.0, 50.0)  # at its next cue, with 3 beats left
    assert votes(plan, Guess(2, 5.0, 9.0), heard(left=gone))["left"][0] == likeness.works(
        plan.at(2).parts["left"], gone, 1.0, 5.0, 3.0, N
    )
    run = Gesture("runs", 8.0, 40.0, True, 10.0, 42.0, 1.0)
    for section, beats_in in ((0, 5.0), (-1, math.inf), (4, math.inf)):
        part = plan.at(section).parts["right"]
        assert votes(plan, Guess(section, 5.0, 7.0), heard(right=run))["right"] == (
            likeness.rests(part, run, 7.0, beats_in, N), likeness.weight(run, 2.0, N),
        )  # fmt: skip


def test_who_stays_is_contradicted_by_no_more_than_half_a_nat(plan):
    far = heard(left=gesture("held", 3.0, since_s=0.0))
    assert votes(plan, Guess(0, 9.0, 0.0, ran=True), far)["left"][0] < -2.5
    assert votes(plan, Guess(0, 9.0, 0.0, ran=True, stays=True), far)["left"][0] == -0.5
    near = heard(left=gesture("runs", 9.0))
    assert votes(plan, Guess(0, 9.0, 0.0, ran=True, stays=True), near)["left"][0] > 1.0


@pytest.mark.parametrize(
    ("beat", "ran", "late"),
    [(0.51, False, True), (0.49, False, False), (2.99, False, True), (3.01, False, False),
     (1.0, True, False)],
)  # fmt: skip
def test_a_set_piece_that_does_not_fit_at_its_beginning_begins_late(plan, beat, ran, late):
    """Left far from One's passage, moved by hand, fits worse than -2.5."""
    guess = Guess(0, beat, 0.0, ran=ran)
    moved = Gesture("hand", 0.0, 90.0, False, 10.0, 91.0)
    guess.score_votes(plan, heard(left=moved), N)
    assert guess.worst < -2.5
    assert guess.late is late


def test_a_score_is_its_price_its_past_and_both_votes():
    guess = Guess(0, 4.0, 0.0, -1.0, past=2.5)
    guess.votes = {"left": Vote(-2.0, 1.5), "right": Vote(1.0, 0.5)}
    assert (guess.score, guess.worst) == (-1.0, -2.0)
    twin = guess.copy()
    twin.votes["left"].nats = 5.0
    assert guess.votes["left"].nats == -2.0
    far = replace(guess, ran=True, late=True, over=True, stays=True, drawn_s=3.0, lost_at=2)
    assert far.leap(3, 1.0, 9.0, price=-6.0, past=0.5, doubt=0.2) == Guess(
        3, 1.0, 9.0, -6.0, 0.5, 0.2, lost_at=2
    )
