"""One hand at one deck, its chance fixed: every knot of the record's curve by hand.

A turn is 1.8 s of record. Knots are (second, deck-file second, speed).
"""

from dataclasses import replace

import pytest

from liveaid.routine.model import Performer, Piece
from liveaid.simulate import STEADY
from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.juggle import juggle
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import scratch
from liveaid.simulate.steps import Step
from liveaid.simulate.turns import JuggleTurn, TurnStroke, scratch_strokes
from liveaid.simulate.turntable import HOLD_S, RELEASE_S, Record

KNOWN = replace(STEADY, wind_slow_turns_per_s=2.0, wind_fast_turns_per_s=3.0, rock_rate=0.0)


def hand_at(rng, x_s=10.0, *, t_s=0.0, performer=None, **hands):
    record = Record(t_s=t_s, x_s=x_s, turn_s=1.8)
    figures = Performer.model_validate({"needle_time": 2.0} | (performer or {}))
    return DeckHand("left", record, replace(KNOWN, **hands), figures, rng)


def knots(hand):
    track = hand.record.track()
    rows = zip(track.t_s.tolist(), track.x_s.tolist(), track.speed.tolist(), strict=True)
    return list(rows)[1:-1]  # without where it stood before, and stands after


def flat(rows):
    return [number for row in rows for number in row]


def same(found, expected):
    assert len(found) == len(expected)
    assert flat(found) == pytest.approx(flat(expected), abs=1e-9)


def wound(t_s, x_s, to_s, *, turns_per_s, over_turns, waver):
    """A winding by hand: .12 s to get under way, on at even places, .12 s to stand, .08 s there,
    and back by what it went beyond, in .12 s and half a second a turn."""
    sign = 1.0 if to_s > x_s else -1.0
    beyond_s, speed = sign * over_turns * 1.8, turns_per_s * 1.8
    whole_s = abs(to_s + beyond_s - x_s) / speed + 0.12
    inner_s = whole_s - 0.24
    pushes = max(1, round(inner_s / 0.25))
    ts = [0.12 + inner_s * n / pushes for n in range(pushes + 1)]
    rows = [(t_s + t, x_s + sign * speed * (t - 0.06), sign * speed * waver) for t in ts]
    turned_s = t_s + whole_s
    return [
        *rows,
        (turned_s, to_s + beyond_s, 0.0),
        (turned_s + 0.08, to_s + beyond_s, 0.0),
        (turned_s + 0.08 + 0.12 + 0.5 * over_turns, to_s, 0.0),
    ]


@pytest.mark.parametrize(
    ("share", "turns_per_s", "over", "waver"), [(0.5, 2.5, 0.12, 1.0), (0.25, 2.25, 0.08, 0.8)]
)
@pytest.mark.parametrize("to_s", [28.0, 2.0])
def test_a_record_is_wound_to_its_cue(chance, share, turns_per_s, over, waver, to_s):
    """Half of 2 to 3 turns a second, of .04 to .2 turns over, of a wavering by .6 to 1.4."""
    hand = hand_at(chance(share))
    hand.bring_to(to_s, 9.0)
    same(
        knots(hand),
        wound(0.0, 10.0, to_s, turns_per_s=turns_per_s, over_turns=over, waver=waver),
    )  # fmt: skip


def test_a_quick_performer_winds_as_much_quicker(chance):
    """Half as fast again as one whose map says nothing, whose hand winds at 3 turns a second."""
    hand = hand_at(chance(), performer={"wind_speed": 4.5})
    hand.bring_to(28.0, 9.0)
    same(knots(hand), wound(0.0, 10.0, 28.0, turns_per_s=3.75, over_turns=0.12, waver=1.0))


def test_there_already_or_beyond_the_files_begin(chance):
    hand = hand_at(chance())
    hand.bring_to(10.009, 9.0)
    assert knots(hand) == []
    hand = hand_at(chance(off=-1.0), 1.0, cue_error_s=0.5)
    hand.bring_to(0.2, 9.0)
    assert hand.record.x_s == 0.0
    hand = hand_at(chance(off=1.0), 1.0, cue_error_s=0.5)
    hand.bring_to(2.0, 9.0)
    assert hand.record.x_s == 2.5


# 10 turns at 2.5 a second take (10 + .12) / 2.5 + .12 + .08 + .12 + .06 = 4.428 s, and .15 s are
# kept free: 4.578. The needle wants its 2 s and 1.5 for setting it down: 3.65.
@pytest.mark.parametrize(
    ("until_s", "by"),
    [(4.58, "hand"), (4.57, "needle"), (3.66, "needle"), (3.64, "called up")],
)
def test_the_way_to_a_cue_is_the_one_there_is_time_for(chance, until_s, by):
    hand = hand_at(chance(0.5))
    hand.bring_to(28.0, until_s)
    if by == "hand":
        assert hand.record.now_s == pytest.approx(4.428)
    elif by == "needle":
        # Put at just the cue, half-way between .8 turns before and after it, and set in .65 s.
        same(knots(hand), [(2.0, 10.0, 0.0), (2.0, 28.0, 0.0), (2.2, 28.0, 0.0),
                           (2.85, 28.0, 0.0)])  # fmt: skip
    else:
        at_s = until_s - 0.325
        same(knots(hand), [(at_s, 10.0, 0.0), (at_s, 28.0, 0.0)])


@pytest.mark.parametrize(("share", "lands_s"), [(0.0, 28.0 - 1.44), (0.75, 28.0 + 0.72)])
def test_the_needle_lands_up_to_eight_tenths_of_a_turn_off(chance, share, lands_s):
    hand = hand_at(chance(share))
    hand.bring_to(28.0, 3.9)
    sets_s = 0.4 + 0.5 * share
    same(knots(hand), [(2.0, 10.0, 0.0), (2.0, lands_s, 0.0), (2.2, lands_s, 0.0),
                       (2.2 + sets_s, 28.0, 0.0)])  # fmt: skip


def test_the_needle_lands_no_sooner_than_the_file(chance):
    hand = hand_at(chance(0.0), 40.0)
    hand.bring_to(0.5, 4.3)
    assert min(x for _, x, _ in knots(hand)) == 0.0


@pytest.mark.parametrize(("until_s", "rate", "rocks"), [(8.5, 0.6, True), (8.4, 0.6, False),
                                                       (8.5, 0.5, False)])  # fmt: skip
def test_a_record_is_rocked_at_its_cue_with_four_seconds_to_spare(chance, until_s, rate, rocks):
    """There at 4.428 s. Half-way: .6 s of waiting, twice .165 s forward and back in .2 s each."""
    hand = hand_at(chance(0.5), rock_rate=rate)
    hand.bring_to(28.0, until_s)
    rows = [row for row in knots(hand) if row[0] > 4.43]
    at = 5.028
    expected = [(at, 28.0, 0.0), (at + 0.2, 28.165, 0.0), (at + 0.4, 28.0, 0.0),
                (at + 0.6, 28.165, 0.0), (at + 0.8, 28.0, 0.0)]  # fmt: skip
    same(rows, expected if rocks else [])


def test_a_record_away_from_its_cue_is_called_up_before_it_is_let_go(chance):
    """Half-way between .15 and .4 s before, where there is time for it."""
    hand = hand_at(chance(0.5))
    line = MotionLine(2.0, 30.0, 1.0)
    assert hand.start(line) == pytest.approx(2.0 - RELEASE_S / 2)
    same(knots(hand)[:2], [(1.725, 10.0, 0.0), (1.725, 30.0, 0.0)])
    late = hand_at(chance(0.5), t_s=1.73)
    assert late.start(line) == 2.0
    same(knots(late), [(2.0, 10.0, 0.0), (2.0, 30.0, 1.0)])
    later = hand_at(chance(0.5), t_s=2.5)
    assert later.start(line) == 2.5
    same(knots(later), [(2.5, 30.5, 1.0)])


def test_a_hand_at_the_cue_needs_half_the_slip_before_the_beat(chance):
    line = MotionLine(2.0, 10.0, 1.0)
    for t_s, starts_s in ((1.9, 2.0 - RELEASE_S / 2), (1.99, 2.0)):
        hand = hand_at(chance(0.5), t_s=t_s)
        assert hand.start(line) == pytest.approx(starts_s)


def test_a_running_record_is_taken_before_its_span_is_worked(chance):
    """Held within HOLD_S, half of which it runs on; a further way than .06 s is called up."""
    for home_s, jumps in ((13.0, 0), (13.2, 1)):
        hand = hand_at(chance(0.5))
        hand.record.follow(MotionLine(0.0, 10.0, 1.0))
        hand.to_home(home_s, 3.0)
        stands_s = 13.0 - HOLD_S / 2
        rows = [(3.0 - HOLD_S, 13.0 - HOLD_S, 1.0), (3.0, stands_s, 0.0)]
        same(knots(hand), [*rows, *[(3.0, home_s, 0.0)] * jumps])


@pytest.mark.parametrize(
    ("off", "at_s", "late"),
    [(1.0, 0.0, 0.03), (-1.0, 0.0, -0.01), (1.0, 120.0, 0.038)],
)
def test_errors_are_spread_about_the_bias_of_what_is_done(chance, off, at_s, late):
    """Bias 10 ms and spread 20 ms; after two minutes the spread is a fifth wider and all comes 4 ms
    later. A stroke has a bias and a spread of its own."""
    more = {"fatigue_per_min": 0.1, "drift_s_per_min": 0.002, "correlation": 0.0}
    starts = hand_at(chance(off=off), timing_bias_s=0.01, timing_error_s=0.02, **more)
    strokes = hand_at(chance(off=off), stroke_bias_s=0.01, stroke_error_s=0.02, **more)
    assert starts.timing_s(at_s) == pytest.approx(late)
    assert strokes.stroke_s(at_s) == pytest.approx(late)


def test_an_error_is_followed_by_part_of_itself(chance):
    """.6 of the last and .8 of a new one, which is one spread each time: .8, 1.28, 1.568."""
    hand = hand_at(chance(off=1.0), correlation=0.6, timing_error_s=0.1)
    assert [hand.timing_s(0.0) for _ in range(3)] == pytest.approx([0.08, 0.128, 0.1568])


def test_a_record_let_go_into_a_rising_speed_is_as_fast_as_it_then_is(chance):
    hand = hand_at(chance())
    hand.record.let_go(MotionLine(2.0, 10.0, 1.0, 0.5))
    half = RELEASE_S / 2
    same(knots(hand), [(2.0 - half, 10.0, 0.0),
                       (2.0 + half, 10.0 + half + 0.25 * half**2, 1.0 + 0.5 * half)])  # fmt: skip


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_short_way_is_one_push_up_and_down_again(chance, sign):
    """.2 s and a tenth of a turn, .38 s of record at 4.5 a second: too short to go on at speed.
    Up and down as evenly, 2 sqrt(.38 * .12 / 4.5); then .08 s, and .17 s back."""
    hand = hand_at(chance())
    hand.record.wind(10.0 + 0.2 * sign, turns_per_s=2.5, over_turns=0.1, waver=[1.0])
    up_s = 2 * (0.38 * 0.12 / 4.5) ** 0.5
    same(knots(hand), [(up_s, 10.0 + 0.38 * sign, 0.0), (up_s + 0.08, 10.0 + 0.38 * sign, 0.0),
                       (up_s + 0.25, 10.0 + 0.2 * sign, 0.0)])  # fmt: skip


# -- strokes in a span of 2.5 s from 10 on, at 60 BPM, a beat a second


def leg_of(start=10.0, end=12.5, *, from_beat=0.0, **more):
    plan = {"hand": "works", "from": start, "to": end, **more}
    piece = Piece.model_validate({"name": "S", "bars": 2, "tempo": 60, "left": plan})
    return Leg(Step(0, from_beat, 8.0), piece, 0.0, from_beat, 8.0, from_beat, 8.0,
               count=MotionLine(0.0, 0.0, 1.0))  # fmt: skip


def scratched(hand, beats, until_beat, *, leg=None, planned=True, place_s=None, home_s=10.0):
    strokes = [TurnStroke(beat, planned, place_s) for beat in beats]
    scratch(hand, leg or leg_of(), strokes, until_beat=until_beat, home_s=home_s)
    return knots(hand)


def test_strokes_are_pushed_out_and_brought_back_before_the_next(chance):
    """A push takes half-way between .07 and .22 s and no more than .45 of the gap, and goes 3.5 s
    of record a second, three quarters of it; back takes half-way between .12 and .25 s, and is
    there .005 s before the next at the latest."""
    hand = hand_at(chance(0.5))
    found = scratched(hand, [1.0, 2.0, 2.1], 4.0)
    same(found, [
        (1.0, 10.0, 0.0), (1.145, 10.0 + 0.75 * 3.5 * 0.145, 0.0), (1.33, 10.0, 0.0),
        (2.0, 10.0, 0.0), (2.045, 10.0 + 0.75 * 3.5 * 0.045, 0.0), (2.095, 10.0, 0.0),
        (2.1, 10.0, 0.0), (2.245, 10.0 + 0.75 * 3.5 * 0.145, 0.0), (2.43, 10.0, 0.0),
    ])  # fmt: skip
    assert [(e.kind, e.beat, e.planned_s, e.actual_s, e.onset_s, e.cue_s) for e in hand.events] == [
        ("stroke", beat, beat, beat, beat, 10.0) for beat in (1.0, 2.0, pytest.approx(2.1))
    ]


def test_now_and_then_a_stroke_is_let_run_and_taken(chance):
    """A fifth of the way: it runs .68 of what the gap leaves time to bring back at four times the
    speed, (1 - .12) / 1.3, and is held within HOLD_S; .146 s back."""
    runs_s = 0.68 * 0.88 / 1.3
    taken_s, hold_s = 1.0 + runs_s, 10.0 + runs_s - RELEASE_S / 2
    found = scratched(hand_at(chance(0.2)), [1.0, 2.0], 2.5)
    same(found[:5], [
        (1.0, 10.0, 0.0), (1.0 + RELEASE_S, 10.0 + RELEASE_S / 2, 1.0),
        (taken_s, hold_s, 1.0), (taken_s + HOLD_S, hold_s + HOLD_S / 2, 0.0),
        (taken_s + HOLD_S + 0.146, 10.0, 0.0),
    ])  # fmt: skip
    # In half a beat it is pushed: .1 s, .6 of 3.5 s a second.
    assert found[6] == pytest.approx((2.1, 10.0 + 0.6 * 3.5 * 0.1, 0.0))


def test_a_run_ends_where_the_span_does(chance):
    """.4 s of room: .68 of it. With less than .3 it is pushed."""
    found = scratched(hand_at(chance(0.2)), [1.0], 3.0, leg=leg_of(end=10.4))
    assert found[2][0] == pytest.approx(1.0 + 0.68 * 0.4)
    pushed = scratched(hand_at(chance(0.2)), [1.0], 3.0, leg=leg_of(end=10.29))
    assert pushed[1] == pytest.approx((1.1, 10.0 + 0.6 * 0.29, 0.0))


def test_a_stroke_reaches_as_far_as_meant_but_for_its_error(chance):
    found = scratched(hand_at(chance(0.5, off=1.0), reach_error_s=0.01), [1.0], 2.0)
    assert [x for _, x, _ in found] == pytest.approx(
        [10.0, 10.0 + 0.75 * 3.5 * 0.145 + 0.01, 10.01]
    )
    short = scratched(hand_at(chance(0.5, off=-1.0), reach_error_s=9.0), [1.0], 2.0)
    assert [x for _, x, _ in short] == pytest.approx([10.0, 10.02, 1.0])
    low = scratched(hand_at(chance(0.5, off=-1.0), reach_error_s=11.0), [1.0], 2.0)
    assert low[-1][1] == 0.0


def test_strokes_are_late_by_their_error_and_never_closer_than_a_hand_can(chance):
    hand = hand_at(chance(0.5, off=1.0), stroke_bias_s=0.05, t_s=1.2)
    found = scratched(hand, [1.0, 1.02, 2.0], 3.0)
    # The hand is free at 1.2; .06 s later the next; the third .05 s after its beat.
    begun = [event.actual_s for event in hand.events]
    assert begun[0] == pytest.approx(1.2)
    assert begun[2] == pytest.approx(2.05)
    assert found[-1][1] == 10.0
    assert [event.planned_s for event in hand.events] == pytest.approx([1.0, 1.02, 2.0])


def test_strokes_are_left_out_or_added_as_often_as_asked(chance):
    missed = hand_at(chance(0.5), miss_rate=0.6)
    assert scratched(missed, [1.0], 2.0) == []
    assert [(e.beat, e.planned_s, e.actual_s, e.cue_s) for e in missed.events] == [
        (1.0, 1.0, None, 10.0)
    ]
    for rate, gap, count in ((0.6, 0.3, 3), (0.6, 0.25, 2), (0.5, 0.3, 2)):
        hand = hand_at(chance(0.5), added_rate=rate)
        scratched(hand, [1.0, 1.0 + gap], 2.0)
        assert len(hand.events) == count
        if count == 3:
            added = hand.events[1]
            assert (added.planned_s, added.actual_s, added.beat) == (
                None, pytest.approx(1.15), pytest.approx(1.15),
            )  # fmt: skip


def test_strokes_of_its_own_are_not_told_and_end_where_the_next_begins(chance):
    hand = hand_at(chance(0.5), miss_rate=1.0, added_rate=1.0)
    leg = leg_of()
    strokes = [TurnStroke(1.0, False, 10.0), TurnStroke(2.0, False, 11.0), TurnStroke(3.0, False)]
    scratch(hand, leg, strokes, until_beat=4.0, home_s=10.5)
    assert hand.events == []
    rests = [x for t, x, _ in knots(hand) if t in (2.0, 3.0)]
    assert [*rests, hand.record.x_s] == pytest.approx([11.0, 10.5, 10.5])


@pytest.mark.parametrize(
    ("share", "metre", "until", "beats"),
    [
        # The fifth of eight figures, beats 0 and 2, kept on.
        (0.5, 4, 8.0, [0, 2, 4, 6]),
        (0.5, 3, 6.0, [0, 2, 3, 5]),
        (0.5, 6, 6.0, [0, 2, 4]),  # the figure again from its fifth beat on
        (0.5, 4, 6.0, [0, 2, 4]),
        # The second, begun anew in every bar and at another place.
        (0.2, 4, 5.5, [0, 1, 1.5, 2, 3, 3.5, 4, 5]),
        (0.07, 4, 8.0, []),  # now and then nothing
    ],
)
def test_without_strokes_of_the_maps_a_bars_figure_is_kept(chance, share, metre, until, beats):
    found = scratch_strokes(leg_of(), "left", metre, until, chance(share))
    place_s = 10.0 + 0.75 * 2.5 * 0.2 if share == 0.2 else None
    assert found == [TurnStroke(beat, False, place_s) for beat in beats]


def test_a_figure_begins_with_the_leg(chance):
    found = scratch_strokes(leg_of(from_beat=2.0), "left", 4, 8.0, chance(0.5))
    assert [stroke.beat for stroke in found] == [2, 4, 6]


# -- a juggled record at 60 BPM: let go at 10 s, and brought back before its next turn


def juggled(rng, turns, *, end=12.5, wound_after=False):
    hand = hand_at(rng)
    leg = leg_of(end=end)
    # Both decks are worked: the right one's turns only tell that the left one's are not the first.
    played = [JuggleTurn("right", 0.0, turns[0][0]), *(JuggleTurn("left", *t) for t in turns)]
    juggle(hand, leg, played, wound_after=wound_after)
    return knots(hand)


def turned(at_s, until_s):
    """Let go so that it passes 10 s at speed, and held."""
    half, ran_s = RELEASE_S / 2, until_s - at_s
    return [
        (at_s - half, 10.0, 0.0), (at_s + half, 10.0 + half, 1.0),
        (until_s, 10.0 + ran_s, 1.0), (until_s + HOLD_S, 10.0 + ran_s + HOLD_S / 2, 0.0),
    ]  # fmt: skip


def back(until_s, ran_s, lasts_s):
    """From .02 s after it is held."""
    begins_s, x_s = until_s + HOLD_S + 0.02, 10.0 + ran_s + HOLD_S / 2
    return [(begins_s, x_s, 0.0), (begins_s + lasts_s, 10.0, 0.0)]


def test_a_juggled_record_is_brought_back_as_fast_as_a_hand_can(chance):
    """Half-way between .22 and .4 s would be .31: 2 s of record take 1.5 of that over 6, longer."""
    longer_s = 1.5 * (2.0 + HOLD_S / 2) / 6.0
    half = RELEASE_S / 2
    same(juggled(chance(0.5), [(2.0, 4.0), (6.0, 8.0)]), [
        *turned(2.0, 4.0), *back(4.0, 2.0, longer_s),
        (6.0 - half, 10.0, 0.0), (6.0 + half, 10.0 + half, 1.0),  # it runs on past the end
    ])  # fmt: skip


def test_a_short_turn_is_brought_back_at_leisure_or_in_less_than_half_the_time(chance):
    same(juggled(chance(0.5), [(2.0, 2.5), (6.0, 6.5)])[:6],
         [*turned(2.0, 2.5), *back(2.5, 0.5, 0.31)])  # fmt: skip
    # .465 s are free after a turn of a fifth of a beat: .45 of them; of .265 s .12 at least.
    for until, lasts_s in ((2.7, 0.45 * (0.5 - HOLD_S)), (2.5, 0.12)):
        same(juggled(chance(0.5), [(2.0, 2.2), (until, 6.5)])[:6],
             [*turned(2.0, 2.2), *back(2.2, 0.2, max(lasts_s, 0.12))])  # fmt: skip


def test_a_juggled_record_is_held_where_its_span_ends(chance):
    """.05 s past it, before its turn is over or before the end."""
    found = juggled(chance(0.5), [(2.0, 4.0), (6.0, 8.0)], end=11.5)
    same(found[:4], turned(2.0, 3.55))
    same(found[-4:], turned(6.0, 7.55))


def test_after_its_last_turn_it_is_brought_back_unless_it_is_wound_on(chance):
    rows = [*turned(2.0, 2.5), *back(2.5, 0.5, 0.31)]
    same(juggled(chance(0.5), [(2.0, 2.5)]), rows)
    same(juggled(chance(0.5), [(2.0, 2.5)], wound_after=True), rows[:4])
