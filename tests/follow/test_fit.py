"""What each gesture earns at a place, and what leaving the order costs, worked by hand."""

import math
from dataclasses import replace

import pytest

from liveaid.follow import likeness
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.numbers import USUAL
from liveaid.follow.plan import DeckPart, plan_of
from liveaid.follow.search import price

RUNS = DeckPart("runs", from_s=10.0, to_s=18.0, cue_s=10.0, next_cue_s=60.0)
WORKS = DeckPart("works", from_s=30.0, to_s=32.0, cue_s=30.0, next_cue_s=60.0)
RESTS = DeckPart("rests", next_cue_s=60.0)


def gesture(kind, *, from_s, at_s, age_s=1.0, news=False):
    return Gesture(kind, 100.0, from_s, news, 100.0 + age_s, at_s)


def test_a_record_that_runs_where_the_beat_says_earns_most():
    """ln(.97 / (.08 sqrt(2 pi)) + .03 / 300) = ln(4.8372 + .0001) = 1.5764."""
    there = likeness.runs(
        RUNS, gesture("runs", from_s=10.0, at_s=11.0), 0.0, True, False, 0.0, USUAL
    )
    assert there == pytest.approx(1.5764, abs=1e-4)


def test_a_record_that_runs_a_beat_off_is_a_stray():
    """At .65 s, eight deviations: ln(.03 / 300) = -9.2103."""
    off = likeness.runs(
        RUNS, gesture("runs", from_s=10.0, at_s=11.0), 0.65, True, False, 0.0, USUAL
    )
    assert off == pytest.approx(-9.2103, abs=1e-3)


@pytest.mark.parametrize(
    ("ran", "ending", "age_s", "nats"),
    [
        (False, False, 1.0, -0.7),
        (True, True, 1.0, -0.5),
        (True, False, 1.0, -5.0),
    ],
)
def test_a_record_held_that_should_run_waits_leaves_or_is_stopped(ran, ending, age_s, nats):
    held = gesture("held", from_s=10.0, at_s=10.0, age_s=age_s)
    assert likeness.runs(RUNS, held, 0.0, ran, ending, 0.0, USUAL) == nats


def test_a_release_from_the_cue_fits_a_worked_deck_better_than_one_from_elsewhere():
    """From the cue ln(.6 x 4.9868 + .4 / 2) = ln 3.1921 = 1.1607; a second off ln .2 = -1.6094."""
    cue = likeness.works(WORKS, gesture("runs", from_s=30.0, at_s=30.5), 1.0, 8.0, 8.0, USUAL)
    off = likeness.works(WORKS, gesture("runs", from_s=31.0, at_s=31.5), 1.0, 8.0, 8.0, USUAL)
    assert (cue, off) == pytest.approx((1.1607, -1.6094), abs=1e-4)


@pytest.mark.parametrize(
    ("juggled", "from_s", "at_s", "nats"),
    [(True, 30.0, 31.4, 1.1607), (True, 30.0, 32.2, 0.3607), (False, 30.0, 32.2, 1.1607),
     (True, 25.0, 32.2, -2.4094)],
)  # fmt: skip
def test_in_a_juggle_a_record_let_run_for_long_fits_less_and_less(juggled, from_s, at_s, nats):
    """ln 3.1921 = 1.1607 from the cue, ln .2 = -1.6094 from before it; 2.2 s of the span are .8
    more than 1.4, and cost so much."""
    run = gesture("runs", from_s=from_s, at_s=at_s)
    part = replace(WORKS, juggled=juggled)
    assert likeness.works(part, run, 1.0, 8.0, 8.0, USUAL) == pytest.approx(nats, abs=1e-4)


def test_a_tighter_span_earns_no_more():
    tight = DeckPart("works", from_s=30.0, to_s=31.0, cue_s=30.0)
    let_go = gesture("runs", from_s=30.0, at_s=30.5)
    assert likeness.works(tight, let_go, 1.0, 8.0, 8.0, USUAL) == likeness.works(
        WORKS, let_go, 1.0, 8.0, 8.0, USUAL
    )


@pytest.mark.parametrize(
    ("kind", "at_s", "beat", "nats"),
    [
        ("held", 30.1, 8.0, 0.6),
        ("held", 31.0, 8.0, 0.0),
        ("held", 45.0, 8.0, -5.0),
        ("held", 60.0, 2.0, -5.0),  # at its next cue before it was worked at all
        ("held", 60.0, 8.0, -1.0),
        ("held", 60.0, 13.0, 0.0),  # and with four beats of sixteen left
        ("hand", 31.0, 8.0, 0.5),
        ("runs", 45.0, 8.0, -8.0),
    ],
)
def test_a_worked_deck_in_its_span_beyond_it_and_at_its_next_cue(kind, at_s, beat, nats):
    one = gesture(kind, from_s=at_s, at_s=at_s)
    assert likeness.works(WORKS, one, 1.0, beat, 16.0 - beat, USUAL) == nats


@pytest.mark.parametrize(("late_s", "nats"), [(0.5, -0.7), (2.5, -2.7), (60.0, -5.0)])
def test_a_record_that_waits_longer_than_it_should_fits_less_and_less(late_s, nats):
    """-.7, and a nat less every second from half a second on, down to what a stop is."""
    held = gesture("held", from_s=10.0, at_s=10.0)
    assert likeness.runs(RUNS, held, 0.0, False, False, late_s, USUAL) == pytest.approx(nats)


@pytest.mark.parametrize(
    ("at_s", "nats"), [(9.75, -0.5), (9.3, -0.5), (9.2, -5.0), (5.0, -5.0), (50.0, -8.0)]
)
def test_a_last_beats_catch_is_within_a_beat_of_where_the_record_was_to_be(small, at_s, nats):
    """Beat 15.5 of One at 120 BPM is 2.0 + 7.75 = 9.75 s, a beat half a second; 50 is a cue."""
    guess = Guess(0, 15.5, 0.0, ran=True)
    held = gesture("held", from_s=at_s, at_s=at_s)
    guess.score_votes(plan_of(small), _heard(101.0, left=held), USUAL)
    assert guess.votes["left"].nats == nats


def test_before_the_start_a_record_away_from_its_cue_fits_worse_than_later():
    away = gesture("held", from_s=45.0, at_s=45.0)
    told = [likeness.rests(RESTS, away, 0.0, beats, USUAL) for beats in (math.inf, 8.0)]
    assert told == [-1.0, -0.3]


def test_listening_at_the_next_cue_is_normal_for_a_while():
    """ln(.6 x 1.5958 + e^-4) = ln .9758 = -.0245; 2 s past the 2.2 s that is normal -1.5 each."""
    short = gesture("runs", from_s=60.0, at_s=61.0, age_s=1.0)
    long = gesture("runs", from_s=60.0, at_s=64.2, age_s=4.2)
    told = [likeness.rests(RESTS, g, 0.0, 8.0, USUAL) for g in (short, long)]
    assert told == pytest.approx([-0.0245, -3.0245], abs=1e-3)


def test_a_record_may_be_played_up_to_its_next_cue():
    """A run from 1.5 s before it: ln(.15 + e^-4) = ln .16832 = -1.7819; from 4 s before only -4."""
    told = [
        likeness.rests(RESTS, gesture("runs", from_s=x, at_s=x + 0.5), 0.0, 8.0, USUAL)
        for x in (58.5, 56.0)
    ]
    assert told == pytest.approx([-1.7819, -4.0], abs=1e-3)


def test_a_record_left_running_is_free_for_six_beats():
    left_on = gesture("runs", from_s=10.0, at_s=13.0, age_s=3.0)
    told = [likeness.rests(RESTS, left_on, 101.0, beats, USUAL) for beats in (5.0, 6.5, 30.0)]
    assert told == [0.0, -0.375, -0.5]  # 1.5 a second of a quarter second over, half a nat at most


@pytest.mark.parametrize(
    ("kind", "at_s", "off_s", "age_s", "nats"),
    [
        ("held", 10.3, 0.45, 0.4, -3.5), ("held", 10.3, 0.45, 0.6, -5.0),
        ("held", 10.3, 0.55, 0.4, -5.0), ("held", 10.3, -0.45, 0.4, -3.5),
        ("hand", 10.3, 0.45, 0.4, -1.0), ("hand", 10.3, 0.45, 0.6, -4.5),
        ("hand", 10.3, 0.55, 0.4, -4.5), ("hand", 10.3, -0.55, 0.4, -4.5),
    ],
)  # fmt: skip
def test_a_running_record_is_touched_for_a_moment_near_its_place(kind, at_s, off_s, age_s, nats):
    """A moment is half a second, near is half a second of record either way."""
    one = gesture(kind, from_s=at_s, at_s=at_s, age_s=age_s)
    for ran in (True, False):
        assert likeness.runs(RUNS, one, off_s, ran, False, 0.0, USUAL) == nats


@pytest.mark.parametrize(("at_s", "nats"), [(9.8, -0.7), (10.2, -0.7), (9.7, -5.0), (10.3, -5.0)])
def test_a_record_waits_within_a_quarter_second_of_its_cue(at_s, nats):
    held = gesture("held", from_s=at_s, at_s=at_s)
    assert likeness.runs(RUNS, held, 0.0, False, False, 0.0, USUAL) == nats
    assert likeness.runs(RUNS, held, 0.0, True, False, 0.0, USUAL) == -5.0


@pytest.mark.parametrize(
    ("from_s", "at_s", "nats"),
    [
        (31.0, 32.2, -1.6094),  # within .3 s of the end: ln .2, as inside
        (31.0, 32.5, -2.8),  # .2 s beyond that: -2 - 4 x .2
        (31.0, 34.5, -8.0),  # 2.2 s beyond: no worse than elsewhere
        (33.0, 33.5, -8.0),  # begun past the end
        (29.0, 29.5, -8.0),  # before its start
        (30.08, 30.5, 0.7005),  # a deviation from the cue: ln(.6 x 4.9868 e^-.5 + .2)
    ],
)
def test_a_worked_record_let_go_in_its_span_and_past_it(from_s, at_s, nats):
    """The span is 30 to 32."""
    one = gesture("runs", from_s=from_s, at_s=at_s)
    assert likeness.works(WORKS, one, 1.0, 8.0, 8.0, USUAL) == pytest.approx(nats, abs=1e-4)


@pytest.mark.parametrize(
    ("from_s", "at_s", "age_s", "left", "nats"),
    [
        (31.0, 32.2, 1.0, 8.0, 0.5),
        (31.0, 32.4, 1.0, 8.0, 0.0),  # on its way out of the span
        (31.0, 32.4, 4.5, 8.0, -4.0),  # for longer than any wind
        (45.0, 44.0, 1.0, 8.0, -4.0),  # elsewhere, and in the last four beats on its way
        (45.0, 44.0, 1.0, 3.0, 0.0),
        (45.0, 44.0, 1.0, 4.0, -4.0),
        (45.0, 44.0, 4.5, 3.0, -4.0),
        (28.0, 29.6, 1.0, 8.0, 0.0),  # half a second before the span is on its way in
        (28.0, 29.4, 1.0, 8.0, -4.0),
        (34.0, 32.4, 1.0, 8.0, 0.0),  # and half a second behind it
        (34.0, 32.6, 1.0, 8.0, -4.0),
        (31.0, 27.2, 1.0, 8.0, 0.0),  # a long spin-back, 2.8 s before the span
        (31.0, 26.8, 1.0, 8.0, -4.0),  # 3.2 s: it is wound away, as in the last beats it should be
        (31.0, 26.8, 1.0, 3.0, 0.0),
    ],
)
def test_a_worked_record_moved_by_hand(from_s, at_s, age_s, left, nats):
    one = gesture("hand", from_s=from_s, at_s=at_s, age_s=age_s)
    assert likeness.works(WORKS, one, age_s, 12.0, left, USUAL) == nats


@pytest.mark.parametrize(
    ("at_s", "alone_s", "nats"), [(32.2, 1.0, 0.0), (31.0, 4.7, -1.0), (31.0, 9.0, -3.0)]
)
def test_a_worked_record_held_in_its_span(at_s, alone_s, nats):
    """After 2.7 s of the other deck moved half a nat less every second, three at most."""
    held = gesture("held", from_s=at_s, at_s=at_s)
    assert likeness.works(WORKS, held, alone_s, 8.0, 8.0, USUAL) == pytest.approx(nats)


@pytest.mark.parametrize(("at_s", "nats"), [(59.4, -0.3), (59.6, 0.3), (60.4, 0.3), (60.6, -0.3)])
def test_a_resting_record_is_made_ready_within_half_a_second_of_its_cue(at_s, nats):
    for kind in ("held", "hand"):
        one = gesture(kind, from_s=at_s, at_s=at_s)
        assert likeness.rests(RESTS, one, 0.0, 8.0, USUAL) == nats


@pytest.mark.parametrize(
    ("kind", "entered_s", "beats_in", "nats"),
    [("held", 101.0, 1.0, 0.0), ("held", 101.0, 6.0, -0.3), ("held", 100.2, 1.0, -0.3),
     ("hand", 101.0, 1.0, -0.3)],
)  # fmt: skip
def test_a_record_that_stands_since_before_is_not_made_ready_yet(kind, entered_s, beats_in, nats):
    """Held since 100 s, more than .3 s before the set piece: it tells nothing for six beats."""
    stands = gesture(kind, from_s=20.0, at_s=20.0, age_s=2.0)
    assert likeness.rests(RESTS, stands, entered_s, beats_in, USUAL) == nats


@pytest.mark.parametrize(("since_s", "nats"), [(101.0, 0.0), (100.2, 0.6)])
def test_a_record_that_stands_at_its_cue_since_before_is_no_work_of_this_set_piece(
    small, since_s, nats
):
    """Held at 30.0, where Three's left is worked, since 100 s: .6 unless it was so before."""
    heard, three = _heard(left=gesture("held", from_s=30.0, at_s=30.0)), Guess(2, 4.0, since_s)
    three.score_votes(plan_of(small), heard, USUAL)
    assert three.votes["left"].nats == nats


def test_after_the_end_a_record_stands_anywhere():
    """What has sounded before leaves it somewhere; before the start it is not ready there."""
    away = gesture("held", from_s=45.0, at_s=45.0)
    over = replace(RESTS, left_to_s=18.0)
    assert likeness.rests(over, away, 0.0, math.inf, USUAL) == 0.0


@pytest.mark.parametrize(
    ("beats_in", "age_s", "nats"),
    [
        (8.0, 2.0, -0.0245), (8.0, 3.2, -1.5245), (8.0, 20.0, -6.0),
        (math.inf, 1.0, -1.0245), (math.inf, 2.2, -2.5245), (math.inf, 20.0, -6.0),
    ],
)  # fmt: skip
def test_a_run_from_the_next_cue_is_listening_for_so_long(beats_in, age_s, nats):
    """-.0245; 1.5 less a second from 2.2 s on. Before the start it is likely the start: a nat
    less, and from 1.2 s on."""
    one = gesture("runs", from_s=60.0, at_s=60.0 + age_s, age_s=age_s)
    assert likeness.rests(RESTS, one, 0.0, beats_in, USUAL) == pytest.approx(nats, abs=1e-4)


def test_a_run_begun_three_tenths_before_the_set_piece_is_of_the_one_before():
    """Else a run from elsewhere, -4."""
    one = gesture("runs", from_s=10.0, at_s=11.0)
    told = [likeness.rests(RESTS, one, entered_s, 2.0, USUAL) for entered_s in (100.31, 100.29)]
    assert told == [0.0, pytest.approx(-4.0)]


@pytest.mark.parametrize(("at_s", "runs", "works"), [(75.0, -8.0, -8.0), (45.0, -5.0, -5.0)])
def test_a_record_held_at_a_cue_of_another_set_piece_is_elsewhere(at_s, runs, works):
    """A cue at 75; at 45 there is none: a lifted needle may read anything."""
    held = gesture("held", from_s=at_s, at_s=at_s)
    parts = [replace(part, cues_s=(part.cue_s, 75.0)) for part in (RUNS, WORKS)]
    assert likeness.runs(parts[0], held, at_s - 14.0, True, False, 0.0, USUAL) == runs
    assert likeness.works(parts[1], held, 1.0, 8.0, 8.0, USUAL) == works


def test_a_set_piece_of_a_bar_is_left_in_its_second_half():
    """At its next cue with three of four beats left it has not been worked; with one it has."""
    held = gesture("held", from_s=60.0, at_s=60.0)
    told = [likeness.works(WORKS, held, 1.0, beat, 4.0 - beat, USUAL) for beat in (1.0, 3.0)]
    assert told == [-5.0, 0.0]


@pytest.mark.parametrize(
    ("news", "age_s", "weight"),
    [
        (False, 0.0, 0.0),
        (False, 0.175, 0.5),
        (True, 0.075, 0.5),
        (False, 2.35, 2.0),
        (True, 99.0, 5.0),
    ],
)
def test_a_gesture_weighs_more_the_longer_it_goes_on(news, age_s, weight):
    """Full in .35 s, in .15 s for news; then one more every 2 s, five at most."""
    one = gesture("runs", from_s=0.0, at_s=0.0, news=news)
    assert likeness.weight(one, age_s, USUAL) == pytest.approx(weight)


@pytest.mark.parametrize(("alone_s", "nats"), [(2.7, 0.6), (4.7, -0.4), (60.0, -2.4)])
def test_a_worked_record_that_waits_at_its_cue_fits_less_and_less(small, alone_s, nats):
    """.6, and after 2.7 s of the other deck moved half a nat less every second, three at most."""
    part = plan_of(small).at(2).parts["right"]
    still = Gesture("held", 0.0, 40.0, False, 60.0, 40.0)
    assert likeness.works(part, still, alone_s, 8.0, 8.0, USUAL) == pytest.approx(nats)


@pytest.mark.parametrize(
    ("still_s", "stopped_s", "alone_s"), [(0.0, -math.inf, 6.0), (2.0, -math.inf, 4.0),
                                          (0.0, 105.0, 3.0), (2.0, 105.0, 1.0)],
)  # fmt: skip
def test_a_record_is_held_alone_while_the_other_moves(still_s, stopped_s, alone_s):
    """At 108 s a gesture is 6 s old; both held in the last 2 s, or let go after a stop 3 s ago."""
    both = {"left": None, "right": None}
    heard = GestureHeard(108.0, 1.0, both, {}, still_s, stopped_s)
    assert heard.alone_s(6.0) == alone_s


def test_what_is_held_for_long_weighs_two_at_most():
    assert likeness.weight(gesture("held", from_s=0.0, at_s=0.0), 99.0, USUAL) == 2.0


@pytest.mark.parametrize(
    ("here", "beat_here", "to", "beat", "nats"),
    [
        (0, 8.0, 1, 0.0, 6.5),  # next, half its bars left: 5 + 3 x 8 / 16
        (0, 15.5, 1, 0.0, 1.0),  # next, half a beat early: (.5 / .5) squared
        (0, 15.5, 1, 0.5, 4.0),  # the same begun half a beat ago: (1 / .5) squared
        (0, 8.0, 0, 0.0, 7.0),  # the same from its start
        (0, 8.0, 0, 11.6, 5.0),  # one turn on: 1.8 s is 3.6 beats at 120 BPM
        (3, 8.0, 1, 8.0, 9.8863),  # back by two from midway: 6.5 + 2 ln 2 + 2
        (0, 8.0, 3, 8.0, 9.9863),  # two left out, from midway: 6.6 + 2 ln 2 + 2
        (0, 15.0, 3, 8.0, 7.9863),  # the same from its last beat
        (0, 1.0, 1, 0.0, 6.6),  # next with hardly a beat played is one left out
        (3, 8.0, 0, 0.0, 8.0),  # from the first
        (-1, 0.0, 0, 0.0, 0.0),  # the start
    ],
)  # fmt: skip
def test_leaving_the_order_has_its_price(small, here, beat_here, to, beat, nats):
    plan = plan_of(small)
    parent = Guess(here, beat_here, 0.0, ran=True)
    assert price(plan, parent, plan.at(to), beat, 1.8, USUAL) == pytest.approx(nats, abs=1e-3)


@pytest.mark.parametrize(
    ("lost_at", "to", "beat", "nats"),
    [(0, 1, 8.0, 3.0), (0, 3, 8.0, 5.1972), (-1, 3, 8.0, 3.3863), (2, 2, 8.0, 3.0),
     (2, 1, 8.0, 4.3863), (2, 2, 0.2, 3.0), (2, 3, 0.2, 4.3863)],
)  # fmt: skip
def test_being_nowhere_remembers_where_it_came_from(small, lost_at, to, beat, nats):
    """To be back in the map is 3, there or in the next; beyond that 2 ln 2 = 1.3863 for one,
    2 ln 3 = 2.1972 for two. At a first beat it is begun anew, and the next is one farther. Nothing
    was heard before: 2, and one of four set pieces, ln 4 = 1.3863."""
    lost, numbers = Guess(-1, 0.0, 0.0, lost_at=lost_at), replace(USUAL, midway=0.0)
    plan = plan_of(small)
    assert price(plan, lost, plan.at(to), beat, 1.8, numbers) == pytest.approx(nats, abs=1e-3)


@pytest.mark.parametrize(
    ("here", "to", "again", "nats"), [(1, 1, 7.0, 1.0), (1, 1, 5.0, 0.0), (3, 0, 7.0, 2.0)]
)
def test_after_a_stop_it_is_likelier_begun_anew(small, here, to, again, nats):
    """A stop is worth 6 against the 7 of the same anew, or 8 of the first; leaving never pays."""
    plan, parent = plan_of(small), Guess(here, 8.0, 0.0, ran=True)
    numbers = replace(USUAL, again=again)
    assert price(plan, parent, plan.at(to), 0.0, 1.8, numbers, stopped=True) == nats


@pytest.mark.parametrize(
    ("beat", "turns", "nats"), [(2.0, 1, 5.0), (2.0, 2, 6.3863), (2.0, 3, 7.0), (14.4, -4, 7.0)]
)
def test_a_needle_slips_a_turn_more_easily_than_many(small, beat, turns, nats):
    """A turn of 1.8 s is 3.6 beats at 120 BPM: 5 for one, 2 ln 2 = 1.3863 more for two; from three
    on any slip of 7 is as cheap, and so is beginning anew, four turns back at beat 14.4."""
    plan, parent = plan_of(small), Guess(0, beat, 0.0, ran=True)
    told = price(plan, parent, plan.at(0), beat + 3.6 * turns, 1.8, USUAL)
    assert told == pytest.approx(nats, abs=1e-3)


@pytest.mark.parametrize(("beat", "nats"), [(1.0, 1.0), (9.0, 7.0)])
def test_a_record_begins_late_only_near_its_beginning(small, beat, nats):
    """A record that has not run yet: let go late for 1; nine beats on it is the same anew, 7."""
    plan = plan_of(small)
    parent = Guess(0, beat, 0.0, ran=False)
    assert price(plan, parent, plan.at(0), 0.0, 1.8, USUAL) == nats


def _heard(now_s=0.0, **gestures):
    both = {"left": None, "right": None, **gestures}
    return GestureHeard(now_s, 1.0, both, {side: both[side] is not None for side in both})


def test_a_guess_counts_on_by_the_clock_and_over_into_the_next(small):
    """At 120 BPM half a second is a beat; 0.5 beat past the 16th is beat 0.5 of the next."""
    plan, guess = plan_of(small), Guess(0, 15.0, 0.0)
    guess.move(plan, _heard(), 0.75, USUAL)
    (on,) = guess.crossed(plan, _heard(0.75), USUAL)
    assert (guess.section, guess.beat) == (1, pytest.approx(0.5))
    assert (on.section, on.beat, on.price, on.over) == (0, pytest.approx(16.5), -1.0, True)


def test_what_goes_on_beyond_the_end_takes_along_no_more_than_what_goes_over(small):
    """A run that told 1.5 nats at weight 4 is 6 nats of the past on both ways; one nat is paid."""
    plan, guess = plan_of(small), Guess(0, 16.1, 0.0, past=2.0)
    guess.votes["left"].nats, guess.votes["left"].weight = 1.5, 4.0
    (on,) = guess.crossed(plan, _heard(8.0), USUAL)
    assert (guess.section, guess.past, guess.score) == (1, 8.0, 8.0)
    assert (on.over, on.past, on.score) == (True, 8.0, 7.0)


def test_beyond_the_end_a_record_that_runs_on_speaks_for_no_way_on(small):
    """On its line it fits by 1.6 nats inside the set piece and by none beyond its last beat."""
    plan = plan_of(small)
    at_s = plan.at(0).parts["left"].from_s + 16.5 * plan.at(0).beat_s
    heard = _heard(left=gesture("runs", from_s=at_s - 4.0, at_s=at_s))
    fits, over = Guess(0, 16.5, 0.0, ran=True), Guess(0, 16.5, 0.0, ran=True, over=True)
    for guess in (fits, over):
        guess.score_votes(plan, heard, USUAL)
    # ln(.97 / (.08 * sqrt(2 * pi)) + .03 / 300) = 1.576
    assert fits.votes["left"].nats == pytest.approx(1.576, abs=0.001)
    assert over.votes["left"].nats == 0.0


def test_beyond_the_end_a_record_held_is_stopped(small):
    """One's left caught at its sixteenth beat: half a nat in the last beat, five beyond it."""
    plan, held = plan_of(small), _heard(left=gesture("held", from_s=9.95, at_s=9.95))
    ends, over = Guess(0, 15.9, 0.0, ran=True), Guess(0, 16.1, 0.0, ran=True, over=True)
    for guess in (ends, over):
        guess.score_votes(plan, held, USUAL)
    assert (ends.votes["left"].nats, over.votes["left"].nats) == (-0.5, -5.0)


@pytest.mark.parametrize(("news", "since_s", "nats"), [
    (True, 99.0, -4.0), (True, 100.2, -4.0), (True, 100.4, -0.5), (False, 99.0, -0.025),
])  # fmt: skip
def test_what_is_let_go_beyond_the_end_begins_another_set_piece(small, news, since_s, nats):
    """Right, at rest in One, is let go from Two's cue at 100 s. That it is listened to fits by
    ln(.6 / (.25 sqrt(2 pi)) + e^-4) = -.025; let go by hand since the end, or three tenths before,
    it is no going on; a run that was left on costs half a nat."""
    heard = _heard(right=gesture("runs", from_s=5.0, at_s=6.0, news=news))
    over = Guess(0, 16.5, since_s, ran=True, over=True)
    over.score_votes(plan_of(small), heard, USUAL)
    assert over.votes["right"].nats == pytest.approx(nats, abs=0.001)


def test_a_set_piece_counted_by_the_clock_may_also_begin_again_at_a_price(small):
    plan, guess = plan_of(small), Guess(2, 8.25, 0.0)
    on, again = guess.crossed(plan, _heard(), USUAL)
    assert (again.section, again.beat, again.price) == (2, 0.25, -7.0)
    assert (guess.section, guess.beat, guess.price) == (3, 0.25, 0.0)
    # Or go on: a nat at once and three a beat; three quarters of a second are a beat and a half.
    assert (on.section, on.beat, on.price) == (2, 8.25, -1.0)
    on.move(plan, _heard(), 0.75, USUAL)
    assert (on.beat, on.price) == (9.75, -5.5)
    assert list(on.crossed(plan, _heard(), USUAL)) == []
    assert plan.whole_beat(on.section, on.beat) == plan.whole_beat(3, 0.0)


def test_after_a_stop_a_count_by_the_clock_begins_anew_or_goes_on_at_a_price(small):
    guess = Guess(2, 5.0, 0.0, -1.0)
    (anew,) = guess.begun_anew(plan_of(small), _heard(20.0), USUAL)
    assert (anew.beat, anew.price, anew.late) == (0.0, -1.0, True)
    assert (guess.beat, guess.price) == (5.0, -7.0)
    assert list(Guess(0, 5.0, 0.0).begun_anew(plan_of(small), _heard(20.0), USUAL)) == []


def _release(guess, small, *, now_s, since_s):
    """Right let go from its cue at 40.0 in the juggle of `small`, 120 BPM."""
    run = Gesture("runs", since_s, 40.0, True, now_s, 40.0 + now_s - since_s, speed=1.0)
    guess.move(plan_of(small), _heard(now_s, right=run), 0.0, USUAL)


def test_a_release_draws_the_count_by_how_much_it_is_to_be_trusted(small):
    """1/8 s at 120 BPM is 1/4 beat: let go at 3.75, 1/4 off; .3^2 / (.3^2 + .15^2) = .8 of it."""
    guess = Guess(2, 4.0, 0.0, doubt=0.3)
    _release(guess, small, now_s=5.125, since_s=5.0)
    assert guess.beat == pytest.approx(4.2)
    assert guess.doubt == pytest.approx(0.3 * math.sqrt(0.2))
    _release(guess, small, now_s=5.2, since_s=5.0)
    assert guess.beat == pytest.approx(4.2), "one release draws once"


def test_a_release_does_not_tell_which_beat_it_is(small):
    guess = Guess(2, 4.0, 0.0, doubt=3.0)
    _release(guess, small, now_s=5.125, since_s=5.0)
    assert guess.beat == pytest.approx(4.25, abs=0.001)
    assert guess.doubt == 3.0


def test_a_count_that_was_begun_while_both_were_held_waits_for_the_hand(small):
    guess = Guess(2, 0.0, 0.0, late=True)
    guess.move(plan_of(small), replace(_heard(3.0), still_s=3.0), 1.0, USUAL)
    assert guess.beat == 0.0
    guess.move(plan_of(small), _heard(3.5), 0.5, USUAL)
    assert guess.beat == 1.0


def test_the_leading_record_draws_the_beat_exactly(small):
    """Left at 4.05 in a set piece from 2.0: 2.05 s are 4.1 beats at 120 BPM."""
    plan, guess = plan_of(small), Guess(0, 4.05, 0.0, ran=True)
    run = Gesture("runs", 0.0, 2.0, True, 2.05, 4.05, speed=1.0)
    guess.move(plan, _heard(2.05, left=run), 0.0, USUAL)
    assert guess.beat == pytest.approx(4.1)


def test_a_reset_that_is_over_stays_told_and_weighed(small):
    guess = Guess(0, 1.0, 0.0)
    guess.votes["left"].nats, guess.votes["left"].weight = -2.0, 1.5
    guess.settle_vote("left")
    assert (guess.past, guess.score) == (-3.0, -3.0)
    assert math.isclose(guess.votes["left"].weight, 0.0)


@pytest.mark.parametrize(
    ("at_s", "there"),
    [(20.2, True), (19.8, True), (20.3, False), (10.1, False), (35.1, False), (0.9, True)],
)
def test_a_record_at_a_cue_of_another_set_piece_is_told_apart_from_its_own(at_s, there):
    """Within a quarter second of a cue that is more than .3 s from its own, at 35 s."""
    part = replace(RUNS, cue_s=35.0, cues_s=(1.0, 20.0, 34.9, 35.0))
    assert likeness.at_another_cue(part, at_s, USUAL) is there
