"""A deck's line and its gestures held against figures worked out by hand.

Common practice, no source; a line's slope and its standard error are the textbook's (jitter over
the root of the summed squared deviations of the times), the bend is Page's cumulative sum (1954),
a ratio heard again is the scalar Kalman filter of Welch and Bishop (2006).
"""

import math

import pytest

from liveaid.follow.deck_line import Bend, Deck, Line
from liveaid.follow.gesture import Watch
from liveaid.follow.numbers import USUAL


def _heard(way, seconds, *, rate=50):
    """A deck that is told `way(time)` so many times a second, from 0 on."""
    deck = Deck()
    for step in range(round(seconds * rate) + 1):
        deck.hear(way(step / rate), step / rate)
    return deck


def test_a_line_of_one_point_stands_there_and_has_no_slope():
    line = Line()
    line.add(3.0, 40.0)
    assert (line.slope, line.span_s, line.spread) == (None, 0.0, 0.0)
    assert line.at(9.0) == 40.0


@pytest.mark.parametrize(
    ("off", "points"),
    [(2.0, 9), (-2.0, 9), (5.0, 5), (-5.0, 5), (3.0, 5), (1.5, 17), (1.0, None), (0.9, None)],
)
def test_a_bend_is_noticed_once_more_than_eight_deviations_lie_on_one_side(off, points):
    """Each point adds what it is off beyond one, two at most: after 9 points of 2.0 it is 9 x 1,
    after 5 of 3.0 or more 5 x 2, after 17 of 1.5 17 x .5; of 1.0 or less never."""
    bend = Bend()
    for count in range(1, 60):
        since = bend.add(off, (float(count), 0.0))
        if since:
            assert [time for time, _ in since] == [float(n) for n in range(1, count + 1)]
            assert count == points
            return
    assert points is None


def test_points_on_both_sides_are_no_bend():
    bend = Bend()
    assert not any(bend.add(2.5 if n % 2 else -2.5, (float(n), 0.0)) for n in range(100))


@pytest.mark.parametrize(("gap_s", "interval_s"), [(0.05, 0.05), (0.25, 0.06), (9.0, 0.0725)])
def test_the_usual_interval_follows_a_twentieth_of_what_is_new(gap_s, interval_s):
    """.05 + .05 x (.25 - .05) = .06; a gap counts half a second at most: .05 + .05 x .45."""
    deck = Deck()
    deck.hear(1.0, 0.0)
    deck.hear(1.0, gap_s)
    assert deck.interval_s == pytest.approx(interval_s)


def test_a_thousand_messages_a_second_are_some_hundred_points():
    """1,024 a second: .00098 + .04902 x .95^n falls below .008 at n = 38; from then on ten
    messages, 8.8 ms from the first to the last, are one point: 38 + 2011 / 10 = 239 in 2 s."""
    deck = _heard(lambda now: now, 2.0, rate=1024)
    assert len(deck.line.points) == 239
    assert deck.line.slope == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("leap_s", "lines", "jumped"),
    [
        (0.03, 0, False),
        (0.3, 1, False),
        (0.4, 1, False),
        (0.42, 1, True),
        (0.6, 1, True),
        (-0.44, 1, False),
        (-0.47, 1, True),
    ],
)
def test_a_record_is_moved_or_has_jumped(leap_s, lines, jumped):
    """In the 20 ms between two messages a hand moves it .4 s and 30 ms at most, the record's own
    20 ms forwards among them."""
    deck = _heard(lambda now: now + (leap_s if now > 0.99 else 0.0), 1.0)
    assert deck.lines == 0, "one message off the line may be a stray"
    deck.hear(1.02 + leap_s, 1.02)
    assert (deck.lines, deck.jumped) == (lines, jumped)
    if lines:
        assert deck.line_began == pytest.approx((1.0, 1.0 + leap_s))


def test_a_message_gone_astray_is_forgotten():
    deck = _heard(lambda now: 9.0 if abs(now - 0.5) < 0.001 else now, 1.0)
    assert (deck.lines, deck.line.slope, len(deck.line.points)) == (0, pytest.approx(1.0), 50)


def test_the_speed_it_turns_at_is_drawn_to_what_is_heard():
    """Told exactly for .6 s at 1.02: 31 points, root of their spread .996; jitter, 6 ms at first,
    falls by a hundredth at each of 11 looks: 5.4 ms; the slope's error .0055, three times it and
    a thousandth .0175; gain .0025 / (.0025 + .0175^2) = .891; 1 + .891 x .02 = 1.0178."""
    deck = _heard(lambda now: 1.02 * now, 0.58)
    assert deck.ratio is None
    deck = _heard(lambda now: 1.02 * now, 0.6)
    assert deck.ratio == pytest.approx(1.0178, abs=1e-4)
    assert deck.ratio_s == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("speed", "ratio"), [(1.09, 1.09), (0.91, 0.91), (1.11, None), (0.5, None)]
)
def test_what_the_fader_cannot_do_is_no_ratio(speed, ratio):
    """Ten per cent either way, the usual reach."""
    deck = _heard(lambda now: speed * now, 3.0)
    assert deck.ratio == (ratio and pytest.approx(ratio, abs=1e-3))


def test_the_pitch_faders_word_goes_before_a_slope_nearby():
    """A doubt of .002 and .6 s of drift beside the slope's .0172: 4.6e-6 / (4.6e-6 + 2.95e-4) is
    .0154; of .01 that is .00015."""
    deck = Deck()
    deck.hear_pitch(0.98, 0.0)
    for step in range(31):
        deck.hear(0.99 * step / 50, step / 50)
    assert deck.ratio == pytest.approx(0.98015, abs=1e-5)


def test_jitter_is_learnt_between_two_and_forty_milliseconds():
    """Told exactly it falls to 2 ms: 126 points within 2.5 s, spread .0004 x 126 (126^2 - 1) / 12,
    its root 8.166; 1.4 x .002 / 8.166 = .00034. Alternately 30 ms early and late it is 30 ms."""
    found = _heard(lambda now: now, 6.0).speed(6.0)
    assert found == pytest.approx((1.0, 0.000343), abs=2e-6)
    deck = _heard(lambda now: now + (0.03 if round(now * 50) % 2 else -0.03), 20.0)
    assert deck.jitter_s == pytest.approx(0.03, abs=0.001)
    assert deck.lines == 0


def test_a_speed_that_is_told_holds_for_three_tenths_of_a_second():
    deck = _heard(lambda now: now, 1.0)
    deck.told_speed, deck.told_speed_s = 1.5, 1.0
    assert deck.speed(1.29) == (1.5, 0.02)
    assert deck.speed(1.31) == pytest.approx((1.0, 0.0), abs=0.01)


def test_a_deck_never_heard_has_neither_speed_nor_place():
    deck = Deck()
    assert (deck.speed(1.0), deck.place(1.0)) == (None, None)
    deck.hear(7.0, 1.0)
    assert (deck.speed(1.0), deck.place(1.0)) == (None, 7.0)


def _watched(way, times, watch=None):
    watch = watch or Watch(Deck(), USUAL)
    for step, now in enumerate(times):
        watch.deck.hear(way(now), now)
        if step % 3 == 0:
            watch.look(now, 1.0, fresh=True, stands=False)
    return watch


def _hundredths(begin, end):
    return [step / 100 for step in range(round(begin * 100), round(end * 100))]


@pytest.mark.parametrize(
    ("speed", "kind"),
    [
        (0.0, "held"), (0.06, "held"), (-0.06, "held"), (0.08, "hand"), (-0.08, "hand"),
        (0.85, "hand"), (0.87, "runs"), (1.13, "runs"), (1.15, "hand"), (-1.0, "hand"),
    ],
)  # fmt: skip
def test_what_the_hand_does_is_told_by_speed(speed, kind):
    """Below .07 held; within .14 of its own speed it runs; the slope's error is .003 by then."""
    watch = _watched(lambda now: 30.0 + speed * now, _hundredths(0.0, 2.0))
    assert watch.gesture is not None
    assert watch.gesture.kind == kind
    assert watch.gesture.speed == pytest.approx(speed)
    assert watch.gesture.at_s == pytest.approx(30.0 + speed * watch.gesture.now_s)


@pytest.mark.parametrize(
    ("off_s", "same"), [(0.11, True), (-0.11, True), (0.13, False), (-0.13, False)]
)
def test_a_run_that_slips_is_the_same_within_twelve_hundredths(off_s, same):
    watch = _watched(lambda now: 30.0 + now, _hundredths(0.0, 2.0))
    run = watch.gesture
    _watched(lambda now: 30.0 + now + off_s, _hundredths(2.0, 3.0), watch)
    assert (watch.gesture is run) is same


def test_a_gestures_age_and_what_it_told_of_a_place():
    """Begun at 1 s, taken up again at 3 s; of a place entered at 2 s it told 1.5 s until 4.5."""
    watch = _watched(lambda now: 30.0 + max(now - 1.0, 0.0), _hundredths(0.0, 4.5))
    run = watch.gesture
    assert run is not None
    assert run.age_s == pytest.approx(3.5, abs=0.05)
    assert run.told_s(2.0, 4.5) == pytest.approx(2.5)
    run.taken_up_s = 3.0
    assert run.told_s(2.0, 4.5) == pytest.approx(1.5)
    assert run.told_s(-math.inf, 4.5) == pytest.approx(1.5)
