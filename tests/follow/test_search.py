"""Where a gesture may be from, and what it costs to leave the order: every bound by hand.

The numbers stand here, so that another estimate of them changes nothing. Prices are powers of two
and each is used once: a sum says which of them were paid.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from liveaid.follow import likeness, search
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess, Vote
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import plan_of
from liveaid.follow.search import price

N = Numbers(
    start=0.25, start_middle=16.0, midway=2.0, next_late=1.0, next_off_beats=0.5, next_early=64.0,
    next_bars=8.0, again=128.0, slip_turn=256.0, slip=512.0, ahead=1024.0, back=2048.0,
    farther=0.0, leaves=4.0, first=4096.0, late_start=32.0, stop=100.0, word=8192.0,
    overtime=1.0, overtime_each=3.0, back_in=16384.0,
    draw_beats=0.5, first_beats=2.5, last_beats=1.5, late_to_beats=3.0, edge_s=0.3,
    from_cue_s=0.15, held_doubt=0.5, release_doubt=0.3, midway_at=0.4, midway_doubt=0.2,
    stop_heard_s=3.0, still_s=1.0, entered_s=0.3,
)  # fmt: skip
LN4 = 1.386294
TURN_S = 1.8
"""At 120 BPM 3.6 beats."""


@pytest.fixture
def plan(small):
    return plan_of(small)


def heard(now_s=10.0, *, ratio=1.0, still_s=0.0, stopped_s=-math.inf, telling=True, **gestures):
    both = {"left": None, "right": None, **gestures}
    told = {side: telling and both[side] is not None for side in both}
    return GestureHeard(now_s, ratio, both, told, still_s, stopped_s)


@pytest.mark.parametrize(
    ("here", "at", "to", "beat", "nats"),
    [
        # Before the first: its beginning is the start; else the middle, one of four set pieces,
        # and midway by the clock.
        (-1, 0.0, 0, 1.49, 0.25), (-1, 0.0, 0, 1.5, 16.0 + LN4), (-1, 0.0, 1, 0.0, 16.0 + LN4),
        (-1, 0.0, 2, 2.5, 16.0 + LN4), (-1, 0.0, 2, 2.51, 18.0 + LN4),
        (-1, 0.0, 1, 9.0, 16.0 + LN4),
        # After the last.
        (4, 0.0, 0, 9.0, 16384.0), (4, 0.0, 1, 0.0, 4096.0),
        # The same: from its first beats, a turn, another slip.
        (0, 8.0, 0, 1.49, 128.0), (0, 8.0, 0, 1.51, 512.0), (0, 8.0, 0, 13.0, 512.0),
        (0, 8.0, 0, 11.6, 256.0), (0, 8.0, 0, 4.4, 256.0), (0, 5.0, 0, 12.2, 256.0),
        (0, 8.0, 0, 12.19, 256.0), (0, 8.0, 0, 12.21, 512.0), (0, 8.0, 0, 11.01, 256.0),
        (0, 8.0, 0, 10.99, 512.0), (0, 8.0, 0, 8.3, 512.0), (2, 1.0, 2, 4.6, 512.0),
        # The next: (beats left and gone / half a beat) squared, or 64 and 8 for all beats left.
        (0, 16.0, 1, 0.5, 1.0), (0, 15.0, 1, 0.5, 9.0), (0, 14.5, 1, 1.0, 25.0),
        (0, 12.0, 1, 0.5, 64.0 + 8 * 4 / 16), (0, 2.5, 1, 0.5, 64.0 + 8 * 13.5 / 16),
        (0, 8.0, 1, 2.49, 64.0 + 8 * 8 / 16), (0, 8.0, 1, 2.5, 1024.0 + 4),
        (1, 16.0, 2, 2.51, 1024.0 + 2), (1, 8.0, 2, 2.51, 1024.0 + 4 + 2), (0, 17.0, 1, 0.5, 1.0),
        # The one before, from its own first beats, is that anew.
        (2, 2.4, 1, 1.4, 128.0), (2, 2.5, 1, 1.4, 2048.0 + 4), (2, 2.4, 1, 1.5, 2048.0 + 4),
        # The first.
        (2, 5.0, 0, 1.49, 4096.0), (2, 5.0, 0, 1.5, 2048.0 + 4),
        # One left out, one gone back; from an end; midway by the clock.
        (0, 8.0, 2, 2.5, 1024.0 + 4), (0, 8.0, 2, 2.51, 1024.0 + 4 + 2),
        (0, 14.51, 2, 2.51, 1024.0 + 2), (0, 14.49, 2, 2.51, 1024.0 + 4 + 2),
        (3, 8.0, 2, 5.0, 2048.0 + 4 + 2), (3, 15.0, 1, 5.0, 2048.0), (3, 8.0, 1, 5.0, 2048.0 + 4),
    ],
)  # fmt: skip
def test_what_leaving_the_order_costs(plan, here, at, to, beat, nats):
    parent = Guess(here, at, 0.0, ran=True)
    assert price(plan, parent, plan.at(to), beat, TURN_S, N) == pytest.approx(nats)


def test_the_next_costs_less_where_the_count_is_in_doubt_and_nothing_from_beyond_the_end(plan):
    """1.5 beats off by (.5 + 1): 1. With hardly a beat played it is one left out at most."""
    doubtful = Guess(0, 15.0, 0.0, doubt=1.0, ran=True)
    assert price(plan, doubtful, plan.at(1), 0.5, TURN_S, N) == pytest.approx(1.0)
    over = Guess(0, 16.5, 0.0, over=True, ran=True)
    assert price(plan, over, plan.at(1), 0.5, TURN_S, N) == 0.0
    early = replace(N, ahead=5.0)
    assert price(plan, Guess(0, 2.4, 0.0), plan.at(1), 0.5, TURN_S, early) == 5.0
    assert price(plan, Guess(0, 2.6, 0.0), plan.at(1), 0.5, TURN_S, early) == 64 + 8 * 13.4 / 16


@pytest.mark.parametrize(
    ("at", "beat", "ran", "to", "nats"),
    [(2.9, 2.4, False, 0, 32.0), (3.0, 1.4, False, 0, 128.0), (2.9, 2.6, False, 0, 512.0),
     (2.9, 1.4, True, 0, 128.0), (2.9, 1.4, False, 2, 128.0)],
)  # fmt: skip
def test_a_record_that_has_not_run_begins_late(plan, at, beat, ran, to, nats):
    parent = Guess(to, at, 0.0, ran=ran)
    assert price(plan, parent, plan.at(to), beat, TURN_S, N) == nats


@pytest.mark.parametrize(
    ("here", "to", "beat", "nats"),
    [(1, 1, 1.49, 28.0), (1, 1, 9.0, 512.0), (2, 0, 1.0, 3996.0), (1, 0, 9.0, 2048.0 + 4)],
)  # fmt: skip
def test_a_stop_is_worth_100_to_beginning_anew_alone(plan, here, to, beat, nats):
    parent = Guess(here, 8.0, 0.0, ran=True)
    assert price(plan, parent, plan.at(to), beat, TURN_S, N, stopped=True) == nats
    dear = replace(N, stop=9999.0)
    assert price(plan, parent, plan.at(to), beat, TURN_S, dear, stopped=True) == (
        0.0 if beat < 1.5 else nats
    )


@pytest.mark.parametrize(
    ("here", "lost_at", "to", "beat", "far"),
    [
        # From nowhere: what goes on may have gone on to the next, what waits begins anew.
        (-1, 0, 3, 5.0, 3), (-1, 0, 1, 5.0, 1), (-1, 2, 2, 5.0, 1), (-1, 3, 1, 5.0, 3),
        (-1, 0, 3, 0.4, 4), (-1, 2, 2, 0.4, 1), (-1, 3, 1, 0.4, 3), (-1, 3, 1, 0.6, 3),
        (-1, 0, 3, 0.5, 3),
        (-1, 0, 3, 0.6, 3), (-1, -1, 3, 5.0, 1),
        # Over one, two or none; back by one, two or three.
        (0, -1, 3, 5.0, 2), (1, -1, 3, 5.0, 1), (0, -1, 1, 5.0, 1), (3, -1, 2, 5.0, 1),
        (3, -1, 1, 5.0, 2), (3, -1, 0, 5.0, 3),
    ],
)  # fmt: skip
def test_farther_costs_by_the_logarithm(plan, here, lost_at, to, beat, far):
    parent = Guess(here, 5.0, 0.0, lost_at=lost_at, ran=True)
    both = [price(plan, parent, plan.at(to), beat, TURN_S, replace(N, farther=f)) for f in (0, 10)]
    assert both[1] - both[0] == pytest.approx(10 * math.log(far))


def places(plan, section, at):
    return search.places(plan.at(section), at, N)


@pytest.mark.parametrize(
    ("kind", "beat", "still_s", "found"),
    [
        ("runs", 6.0, 0.0, [(6.0, 0.0)]), ("hand", 6.0, 0.0, []), ("held", 6.0, 0.0, []),
        ("held", 6.0, 0.1, [(6.0, 0.0)]), ("hand", 6.0, 0.1, []),
        ("runs", -0.49, 0.0, [(0.0, 0.0)]),
        ("runs", -0.51, 0.0, []), ("runs", 15.99, 0.0, [(15.99, 0.0)]), ("runs", 16.01, 0.0, []),
    ],
)  # fmt: skip
def test_a_leading_record_tells_its_beat(plan, kind, beat, still_s, found):
    """One from 2.0, half a second a beat, 16 of them; a record held tells where both are held."""
    one = Gesture(kind, 9.0, 2.0, True, 10.0, 2.0 + beat / 2, 1.0)
    assert places(plan, 0, heard(left=one, still_s=still_s)) == [
        (pytest.approx(each), doubt) for each, doubt in found
    ]
    assert places(plan, 0, heard(left=one, still_s=still_s, telling=False)) == []
    assert places(plan, 0, heard(right=one, still_s=still_s)) == []


MIDWAY = (3.2, 1.6)
"""Of Three's 8 beats .4, doubtful by .2 of them."""


@pytest.mark.parametrize(
    ("kind", "from_s", "at_s", "news", "found"),
    [
        # Right plays from 40.0 to 41.0. Held within .15 s of its cue it waits there.
        ("held", 40.5, 40.14, True, (0.0, 0.5)), ("held", 40.5, 39.86, True, (0.0, 0.5)),
        ("held", 40.5, 40.16, True, None), ("held", 40.5, 39.84, True, None),
        ("held", 39.84, 40.0, True, None),
        # Let go there .75 s ago at a speed of 1.1: 1.65 beats; from elsewhere it may be anywhere.
        ("runs", 40.14, 40.9, True, (1.65, 0.3)), ("runs", 39.86, 40.6, True, (1.65, 0.3)),
        ("runs", 40.16, 40.9, True, MIDWAY), ("runs", 40.0, 40.9, False, MIDWAY),
        ("hand", 40.5, 40.0, False, MIDWAY), ("hand", 41.0, 41.9, False, MIDWAY),
        ("runs", 39.84, 40.6, True, None), ("runs", 41.01, 41.9, True, None),
    ],
)  # fmt: skip
def test_a_worked_record_tells_its_beginning_alone(plan, kind, from_s, at_s, news, found):
    one = Gesture(kind, 9.25, from_s, news, 10.0, at_s, 1.0)
    wanted = [] if found is None else [pytest.approx(found)]
    assert places(plan, 2, heard(right=one, ratio=1.1)) == wanted
    assert places(plan, 1, heard(left=one)) == []  # rests beside a record that leads
    assert places(plan, 2, heard(left=one)) == []


@pytest.mark.parametrize(
    ("since_s", "stopped_s", "beat"),
    [(2.0, -math.inf, 7.9), (9.25, 7.5, 5.0), (9.25, 7.01, 5.98), (9.25, 6.99, 1.5)],
)  # fmt: skip
def test_a_count_by_the_clock_began_with_its_release_or_with_the_end_of_a_stop(
    plan, since_s, stopped_s, beat
):
    """A release 8 s old is the last beat of 8 at most; after a stop 2.5 s ago beat 5."""
    one = Gesture("runs", since_s, 40.0, True, 10.0, 40.9, 1.0)
    (found,) = places(plan, 2, heard(right=one, stopped_s=stopped_s))
    assert found == (pytest.approx(beat), 0.3)


def test_a_score_as_it_was_when_the_gesture_began(plan):
    """Price and past, and what gestures begun before it had told by then, of what they tell."""
    run = Gesture("runs", 4.0, 2.0, True, 10.0, 8.0, 1.0)
    held = Gesture("held", 8.0, 5.0, False, 10.0, 5.0)
    guess = Guess(0, 8.0, 5.0, -1.0, past=0.5)
    guess.votes = {"left": Vote(2.0, 9.0), "right": Vote(-3.0, 9.0)}
    at = heard(left=run, right=held)
    wanted = -0.5 + 2.0 * likeness.weight(run, 4.0, N) - 3.0 * likeness.weight(held, 1.0, N)
    assert search._before(guess, at, 9.0, N) == pytest.approx(wanted)
    assert search._before(guess, at, 8.0, N) == pytest.approx(
        -0.5 + 2.0 * likeness.weight(run, 3.0, N)
    )
    assert search._before(guess, at, 3.0, N) == -0.5  # before it was itself come to at 5 s
    assert search._before(guess, heard(right=held), 9.0, N) == pytest.approx(
        -0.5 - 3.0 * likeness.weight(held, 1.0, N)
    )


CHEAP = replace(N, next_early=5.0, next_bars=0.0, again=7.0, first=9.0, ahead=6.0, stop=4.0)


def found(plan, at, told, *others):
    ways = search.found(plan, at, told, [told, *others], TURN_S, CHEAP)
    return {guess.section: guess for guess in ways}


def test_a_place_found_is_come_to_from_the_cheapest_guess(plan):
    """Left let go at 2 s from 50.0: Four's beat 1. From Three's beat 7.5 of 8 (1.5 / .5) squared
    is 9, so 5 at most; from Two's beat 15 one is left out, 6: .4 nats ahead it scores -5.6, with
    .6 it scores -5.4."""
    run = Gesture("runs", 9.5, 50.0, True, 10.0, 50.5, 1.0)
    two, three = Guess(1, 15.0, 2.0, -1.0, past=1.4), Guess(2, 7.5, 3.0, -1.0, past=0.5)
    (four,) = found(plan, heard(left=run), two, three).values()
    assert four == Guess(3, 1.0, 9.5, -6.0, past=0.5, ran=True)
    assert four.score == -5.5
    (four,) = found(plan, heard(left=run), replace(two, past=1.6), three).values()
    assert four == Guess(3, 1.0, 9.5, -7.0, past=1.6, ran=True)


def test_who_said_to_stay_leaves_at_the_price_of_a_word(plan):
    run = Gesture("runs", 9.5, 50.0, True, 10.0, 50.5, 1.0)
    (four,) = found(plan, heard(left=run), Guess(2, 7.5, 3.0, stays=True)).values()
    assert four.price == -5.0 - 8192.0
    back = Gesture("runs", 9.5, 30.0, True, 10.0, 30.5, 1.0)
    stays = Guess(2, 7.0, 3.0, stays=True, ran=True)
    before = Guess(-1, 0.0, 0.0)
    anew = next(search.found(plan, heard(left=back), before, [stays], TURN_S, CHEAP))
    assert (anew.section, anew.beat, anew.price) == (2, 1.0, -7.0)


@pytest.mark.parametrize(("since_s", "price_"), [(9.49, 0.0), (9.51, -5.5)])
def test_who_left_at_the_end_did_not_go_on_beyond_it(plan, since_s, price_):
    """Three went on beyond its end at 9.2 s: paid is 1 and 3 for each of 1.5 beats. What began by
    .3 s after that left it then; what begins later left it after going on."""
    run = Gesture("runs", since_s, 50.0, True, 10.0, 50.0 + 10.0 - since_s, 1.0)
    over = Guess(2, 9.5, 9.2, -5.5, over=True)
    (four,) = found(plan, heard(left=run), over).values()
    assert four.price == pytest.approx(price_)


@pytest.mark.parametrize(
    ("kind", "still_s", "ran", "late", "price_"),
    [("runs", 0.0, True, False, -7.0), ("held", 0.5, False, False, -7.0),
     ("held", 1.01, False, True, -3.0)],
)  # fmt: skip
def test_what_waits_for_a_second_begins_late_and_anew(plan, kind, still_s, ran, late, price_):
    """Two at beat 8; right again at its cue at 5.0: the same anew is 7, after a stop 3."""
    one = Gesture(kind, 9.9, 5.0, True, 10.0, 5.0, 1.0)
    (anew,) = found(plan, heard(right=one, still_s=still_s), Guess(1, 8.0, 2.0, ran=True)).values()
    assert (anew.ran, anew.late, anew.price) == (ran, late, price_)
    assert anew.since_s == 10.0


def test_from_nowhere_a_count_by_the_clock_is_come_to_midway_unless_it_waits(plan):
    """.4 of Three's 8 beats, doubtful by .2 of them; one that waits at its cue is at its first."""
    nowhere = Guess(-1, 0.0, 0.0)
    held = Gesture("held", 9.0, 40.0, True, 10.0, 40.0)
    for still_s, place in ((0.5, MIDWAY), (1.5, (0.0, 0.5))):
        three = found(plan, heard(right=held, still_s=still_s), nowhere)[2]
        assert (three.beat, three.doubt) == pytest.approx(place)
    run = Gesture("runs", 9.5, 50.0, True, 10.0, 50.5, 1.0)
    assert found(plan, heard(left=run), nowhere)[3].beat == 1.0


def test_a_running_record_came_to_its_passage_when_it_passed_its_first_beat(plan):
    """At twice its speed four beats of half a second are a second ago; it began to run before."""
    run = Gesture("runs", 2.0, 44.0, True, 10.0, 52.0, 2.0)
    four = found(plan, heard(left=run), Guess(1, 8.0, 0.0))[3]
    assert (four.beat, four.since_s) == (4.0, 9.0)
    late = found(plan, heard(left=run), Guess(1, 8.0, 9.5))[3]
    assert late.since_s == 9.5


@pytest.mark.parametrize(
    ("left_at", "beat", "doubt", "since_s"),
    [
        # Two of 16 beats is left at its end: half a second beyond it Three began then.
        (17.0, 1.1, 0.3, 9.5454), (14.51, 0.0, 0.3, 10.0), (14.5, 3.2, 1.6, 6.0),
    ],
)  # fmt: skip
def test_a_later_count_by_the_clock_begins_where_one_left_at_its_end_ended(
    plan, left_at, beat, doubt, since_s
):
    """A beat is half a second of record; at 1.1 times the speed it was .4545 s ago."""
    moved = Gesture("hand", 6.0, 40.5, False, 10.0, 40.6)
    two = Guess(1, left_at, 2.0)
    beat, doubt_, begun_s, left_s = search._come_to(
        plan, two, plan.at(2), MIDWAY, 6.0, heard(right=moved, ratio=1.1), N
    )
    expected = (1.0 if left_at == 17.0 else beat, doubt, since_s)
    assert (beat, doubt_, begun_s) == pytest.approx(expected, abs=1e-3)
    assert left_s == pytest.approx(since_s, abs=1e-3)


def test_what_is_told_already_is_not_looked_for(plan):
    """Right moved inside Three, counted by the clock; told is Three itself, or another beside it.

    A guess of Three is there with a nat more, or less, than coming to it anew would have."""
    moved = Gesture("hand", 6.0, 40.5, False, 10.0, 40.6)
    at, one = heard(right=moved), Guess(0, 8.0, 2.0)
    assert found(plan, at, Guess(2, 3.0, 2.0)) == {}
    anew = found(plan, at, one)[2].score
    assert found(plan, at, one, Guess(2, 3.0, 2.0, anew + 1.0)) == {}
    assert found(plan, at, one, Guess(2, 3.0, 2.0, anew)) == {}
    assert list(found(plan, at, one, Guess(2, 3.0, 2.0, anew - 1.0))) == [2]
    assert found(plan, heard(right=moved, telling=False), one) == {}
    # A release from its cue tells its first beats whoever is there already.
    run = Gesture("runs", 9.5, 40.0, True, 10.0, 40.5, 1.0)
    there = found(plan, heard(right=run), one, Guess(2, 3.0, 2.0, 50.0))
    assert {section: guess.beat for section, guess in there.items()} == {2: 1.0}
    assert found(plan, heard(right=run), one)[2].beat == 1.0
