"""What a hand means to do, a record's and a network's figures, in small cases worked by hand."""

from dataclasses import replace

import numpy as np
import pytest

from liveaid.routine.model import Performer, Piece
from liveaid.simulate import STEADY, Dead, Network
from liveaid.simulate.course import Leg, shifted
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.juggle import juggle
from liveaid.simulate.line import MotionLine
from liveaid.simulate.network import Messages, transmit
from liveaid.simulate.steps import Step
from liveaid.simulate.track import Track
from liveaid.simulate.turns import JuggleTurn, TurnStroke, juggle_turns, scratch_strokes
from liveaid.simulate.turntable import Record, wind_lasts_s


def leg_of(*, left=None, right=None, from_beat=0.0, to_beat=8.0, lasts_s=1.0):
    """A juggle at 60 BPM, a beat a second, each deck's span `lasts_s` long."""
    spans = {}
    for side, strokes in (("left", left), ("right", right)):
        spans[side] = {"hand": "works", "from": 10.0, "to": 10.0 + lasts_s}
        if strokes is not None:
            spans[side]["strokes"] = strokes
    piece = Piece.model_validate(
        {"name": "J", "bars": 2, "tempo": 60, "count": "clock"} | spans
    )  # fmt: skip
    return Leg(Step(0, from_beat, to_beat), piece, 0.0, from_beat, to_beat, from_beat, to_beat,
               count=MotionLine(0.0, 0.0, 1.0))  # fmt: skip


def turns(leg, first="left", busy_after=None, seed=1):
    found = juggle_turns(leg, first, busy_after, np.random.default_rng(seed))
    return [(turn.side, turn.from_beat, turn.to_beat) for turn in found]


@pytest.mark.parametrize(
    ("left", "right", "played"),
    [
        ([0, 4], [2, 6], [("left", 0, 2), ("right", 2, 4), ("left", 4, 6), ("right", 6, 8)]),
        # Between two of its own a record runs half the way and is brought back in the other half.
        ([1, 3], [5], [("left", 1, 2), ("left", 3, 5), ("right", 5, 8)]),
        ([0, 2, 6], [4], [("left", 0, 1), ("left", 2, 4), ("right", 4, 6), ("left", 6, 8)]),
        # A deck without strokes takes over half-way between the other's.
        ([0, 4], None, [("left", 0, 2), ("right", 2, 4), ("left", 4, 6), ("right", 6, 8)]),
        (None, [1, 3], [("right", 1, 2), ("left", 2, 3), ("right", 3, 5.5), ("left", 5.5, 8)]),
    ],
)
def test_a_juggle_goes_by_the_map_s_strokes(left, right, played):
    assert turns(leg_of(left=left, right=right)) == played


def test_of_the_map_s_strokes_those_in_the_leg_are_played():
    leg = leg_of(left=[0, 2, 4], right=[1, 3, 5], from_beat=2.0, to_beat=5.0)
    assert turns(leg) == [("left", 2, 3), ("right", 3, 4), ("left", 4, 5)]


@pytest.mark.parametrize(
    ("share", "lengths"),
    [
        (0.0, [1] * 8),  # one beat each, anew after every two
        (0.5, [2] * 4),
        (0.9, [2] * 4),
    ],
)
def test_turns_of_its_own_by_known_draws(chance, share, lengths):
    """Begun midway, at the next whole beat."""
    played = juggle_turns(leg_of(lasts_s=2.0), "left", None, chance(share))
    begins = [sum(lengths[:n]) for n in range(len(lengths))]
    assert [(turn.from_beat, turn.to_beat) for turn in played] == [
        (begin, begin + lasts) for begin, lasts in zip(begins, lengths, strict=True)
    ]
    late = juggle_turns(leg_of(lasts_s=2.0, from_beat=0.3), "left", None, chance(share))
    assert late[0].from_beat == 1.0


@pytest.mark.parametrize(
    ("busy", "lasts_s", "ends"),
    [
        ("right", 2.0, [("left", 0, 2)]),  # the other's span of two beats reaches to the end
        ("right", 1.95, [("left", 0, 2)]),  # but for a tenth of a beat
        ("right", 1.85, [("left", 0, 1), ("right", 1, 2)]),
        ("left", 2.0, [("left", 0, 1), ("right", 1, 2)]),
        (None, 2.0, [("left", 0, 1), ("right", 1, 2)]),
    ],
)
def test_a_deck_wanted_elsewhere_gives_its_last_turn_up(chance, busy, lasts_s, ends):
    leg = leg_of(lasts_s=lasts_s, to_beat=2.0)
    played = juggle_turns(leg, "left", busy, chance(0.0))
    assert [(turn.side, turn.from_beat, turn.to_beat) for turn in played] == ends


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("lasts_s", "most"), [(1.0, 1), (1.85, 2), (1.75, 1)])
def test_without_strokes_turns_last_one_or_two_beats_as_far_as_the_span_goes(seed, lasts_s, most):
    """A span may fall a fifth of a beat short of its turn."""
    played = turns(leg_of(lasts_s=lasts_s), "right", seed=seed)
    assert [side for side, _, _ in played] == (["right", "left"] * 8)[: len(played)]
    lengths = {end - begin for _, begin, end in played}
    assert lengths <= set(range(1, most + 1))
    assert (played[0][1], played[-1][2]) == (0.0, 8.0)


def test_of_the_maps_own_turns_none_is_given_up():
    mapped = leg_of(left=[0, 2, 4, 6], right=[1, 3, 5, 7], lasts_s=4.0)
    assert turns(mapped, busy_after="right")[-1] == ("right", 7, 8)


def test_written_strokes_are_played_within_the_leg():
    leg = leg_of(left=[0, 1.5, 3, 6], from_beat=1.0)
    found = scratch_strokes(leg, "left", 4, 6.0, np.random.default_rng(1))
    assert found == [TurnStroke(1.5, True), TurnStroke(3, True)]


def test_a_course_that_comes_later_comes_later_in_all_its_times():
    leg = replace(leg_of(), runs={"left": MotionLine(1.0, 10.0, 1.0, 0.1)}, planned_s=0.5)
    (later,) = shifted([leg], 2.5)
    assert (later.planned_s, later.start_s, later.end_s) == (3.0, 2.5, 10.5)
    assert later.count == MotionLine(2.5, 0.0, 1.0)
    assert later.runs == {"left": MotionLine(3.5, 10.0, 1.0, 0.1)}


# -- a record under a hand: 1.8 s a turn


def record(x_s=10.0):
    return Record(t_s=0.0, x_s=x_s, turn_s=1.8)


def place_s(under, *at_s):
    return under.track().position_s(np.array(at_s))


def test_a_record_let_go_slips_for_half_its_release():
    """Thrown by the hand it reaches speed in a while: at even gain half of that is lost, so it is
    let go so much before its beat, and runs on its line after."""
    from liveaid.simulate.turntable import RELEASE_S

    under = record()
    onset_s, _ = under.let_go(MotionLine(2.0, 10.0, 1.0))
    assert onset_s == pytest.approx(2.0 - RELEASE_S / 2)
    under.go_on(3.0)
    assert place_s(under, 2.0 + RELEASE_S / 2, 2.5) == pytest.approx([10.0 + RELEASE_S / 2, 10.5])


def test_a_hand_that_was_not_back_lets_go_late_by_just_that():
    from liveaid.simulate.turntable import RELEASE_S

    under = record()
    under.go_on(2.25)
    onset_s, line = under.let_go(MotionLine(2.0, 10.0, 1.0, 0.125))
    assert onset_s == 2.25
    assert line.t0_s == pytest.approx(2.25 + RELEASE_S / 2)
    assert replace(line, t0_s=2.0) == MotionLine(2.0, 10.0, 1.0, 0.125)


@pytest.mark.parametrize(
    ("to_s", "lasts_s", "takes_s"),
    [(10.3, 0.4, 0.4), (9.7, 0.4, 0.4), (12.0, 0.1, 0.5), (8.0, 0.1, 0.5), (10.0, 0.001, 0.02)],
)
def test_a_stroke_takes_its_time_or_what_a_hand_needs(to_s, lasts_s, takes_s):
    """Two seconds of record at six times nominal at most, the mean being two thirds of the peak:
    1.5 * 2 / 6 = .5 s. Half-way in time is half-way in place."""
    under = record()
    under.stroke(to_s, lasts_s)
    assert under.now_s == pytest.approx(takes_s)
    assert place_s(under, takes_s / 2)[0] == pytest.approx((10.0 + to_s) / 2)


def test_a_hand_takes_a_record_no_sooner_than_it_is_there_and_a_held_one_stays():
    under = record()
    under.follow(MotionLine(0.0, 10.0, 1.0))
    under.go_on(1.0)
    assert under.take(0.5, stop_s=0.2) == 1.0
    assert (under.now_s, under.x_s) == (pytest.approx(1.2), pytest.approx(11.1))
    assert under.take(2.0, stop_s=0.2) == 2.0
    assert (under.now_s, under.x_s) == (2.0, pytest.approx(11.1))


def test_the_needle_puts_another_place_under_it_at_once():
    under = record()
    under.put(1.0, 30.0, MotionLine(0.0, 29.0, 1.0))
    under.go_on(1.5)
    under.put(2.0, 50.0)
    under.go_on(3.0)
    assert place_s(under, 0.99, 1.0, 1.5, 1.99, 2.5) == pytest.approx(
        [10.0, 30.0, 30.5, 30.99, 50.0], abs=0.02
    )


@pytest.mark.parametrize("turns_", [4.0, -4.0])
def test_winding_s_time_by_hand(turns_):
    """4 turns and a tenth at 2 a second are 2.05 s, .12 s to get under way, .08 s to turn about,
    and .12 s and half a second a turn back: .05 s."""
    told = wind_lasts_s(turns_ * 1.8, turns_per_s=2.0, turn_s=1.8, over_turns=0.1)
    assert told == pytest.approx(2.05 + 0.12 + 0.08 + 0.12 + 0.05)
    under = record(20.0)
    under.wind(20.0 + turns_ * 1.8, turns_per_s=2.0, over_turns=0.1, waver=[1.0])
    assert under.now_s == pytest.approx(told)
    assert under.x_s == pytest.approx(20.0 + turns_ * 1.8)


@pytest.mark.parametrize(("way_s", "takes_s"), [(0.03, 0.15), (-0.03, 0.15)])
def test_a_record_all_but_there_is_nudged(way_s, takes_s):
    """A fiftieth of a turn is .036 s."""
    under = record()
    under.wind(10.0 + way_s, turns_per_s=3.0, over_turns=0.1, waver=[1.0])
    assert (under.now_s, under.x_s) == (pytest.approx(takes_s), pytest.approx(10.0 + way_s))


# -- one hand at one deck


def hand_at(x_s=10.0, *, seed=1, needle_s=2.0, **hands):
    performer = Performer.model_validate({"needle_time": needle_s})
    under = record(x_s)
    known = replace(STEADY, wind_slow_turns_per_s=2.5, wind_fast_turns_per_s=2.5, rock_rate=0.0)
    return DeckHand("left", under, replace(known, **hands), performer,
                    np.random.default_rng(seed))  # fmt: skip


@pytest.mark.parametrize(("from_s", "jumps"), [(10.059, 0), (9.941, 0), (10.061, 1), (9.939, 1)])
def test_a_record_within_six_hundredths_of_its_cue_is_let_go_from_where_it_stands(from_s, jumps):
    hand = hand_at(from_s)
    hand.start(MotionLine(2.0, 10.0, 1.0))
    assert len(hand.record.track().jumps_s()) == jumps


def test_a_record_that_runs_is_called_up_on_the_beat():
    hand = hand_at()
    hand.record.follow(MotionLine(0.0, 10.0, 1.0))
    assert hand.start(MotionLine(2.0, 30.0, 1.0)) == 2.0
    assert hand.record.x_s == 30.0


@pytest.mark.parametrize(
    ("home_s", "jumps", "x_s", "until_s"),
    [(10.05, 0, 10.0, 0.0), (9.95, 0, 10.0, 0.0), (10.07, 0, 10.07, 3.157),
     (10.5, 0, 10.5, 3.2), (9.5, 0, 9.5, 3.2), (11.4, 0, 11.4, 3.35), (8.6, 0, 8.6, 3.35),
     (11.6, 1, 11.6, 3.0), (8.4, 1, 8.4, 3.0)],
)  # fmt: skip
def test_a_record_near_its_span_is_moved_there_and_a_far_one_called_up(home_s, jumps, x_s, until_s):
    """Within .06 s it stands there; within 1.5 s the hand moves it, .15 s and a tenth of the way,
    and no faster than a hand: 1.5 * 1.4 / 6 = .35 s."""
    hand = hand_at()
    hand.to_home(home_s, 3.0)
    assert hand.record.x_s == pytest.approx(x_s)
    assert len(hand.record.track().jumps_s()) == jumps
    assert hand.record.now_s == pytest.approx(until_s)


@pytest.mark.parametrize(
    ("until_s", "jumps"),
    [
        (9.0, 0),  # 10 turns at 2.5 a second are 4 s, and half a second around
        (4.5, 1),  # 4.35 s are free: the needle's 2 s and 1.5 for setting it
        (3.0, 1),  # no time at all: called up
    ],
)
def test_how_a_record_is_brought_to_its_next_cue(until_s, jumps):
    hand = hand_at()
    hand.bring_to(28.0, until_s)
    assert hand.record.x_s == pytest.approx(28.0)
    assert len(hand.record.track().jumps_s()) == jumps
    assert hand.record.now_s <= until_s
    if until_s == 4.5:
        assert hand.record.track().jumps_s()[0] == pytest.approx(2.0)
    if until_s == 3.0:
        assert 2.5 <= hand.record.track().jumps_s()[0] <= 2.85


@pytest.mark.parametrize(
    ("until_s", "rate", "rocks"), [(20.0, 1.0, True), (20.0, 0.0, False), (4.5, 1.0, False)]
)
def test_with_four_seconds_to_spare_a_record_is_rocked_at_its_cue(until_s, rate, rocks):
    """A turn on takes below 1.5 s; a rock is up to a quarter of a second of record forwards."""
    hand = hand_at(rock_rate=rate)
    hand.bring_to(11.8, until_s)
    set_s = 2.0
    after = place_s(hand.record, *np.arange(set_s, until_s, 0.01))
    assert bool(after.max() > 11.87) is rocks
    assert after.max() < 12.06
    assert after.min() > 11.79


def test_errors_follow_one_another():
    """e[k] = r e[k-1] + sqrt(1 - r^2) n[k], as told: 4,000 of them with r = .8 are as wide as
    asked, and alike by .8 from one to the next. Reference: numpy's correlation."""
    hand = hand_at(timing_error_s=0.02, correlation=0.8, timing_bias_s=0.01)
    late_s = np.array([hand.timing_s(0.0) for _ in range(4000)])
    assert late_s.std() == pytest.approx(0.02, rel=0.1)
    assert late_s.mean() == pytest.approx(0.01, abs=0.003)
    assert np.corrcoef(late_s[:-1], late_s[1:])[0, 1] == pytest.approx(0.8, abs=0.04)


def juggled(turns_, *, wound_after, to_beat=8.0, **hands):
    hand = hand_at(**hands)
    played = [JuggleTurn(side, begin, end) for side, begin, end in turns_]
    juggle(hand, leg_of(lasts_s=2.5, to_beat=to_beat), played, wound_after=wound_after)
    return hand


def test_a_juggled_record_runs_from_its_release_to_its_return():
    """At 60 BPM a beat is a second of record: let go at beat 2 it is at 11 s a second later, taken
    at beat 4, back at its cue before beat 6, and runs on past the end."""
    hand = juggled([("right", 0, 2), ("left", 2, 4), ("right", 4, 6), ("left", 6, 8)],
                   wound_after=False)  # fmt: skip
    told = [(event.kind, event.beat, event.planned_s) for event in hand.events]
    assert told == [("release", 2, 2.0), ("return", 4, 4.0), ("release", 6, 6.0)]
    assert [event.actual_s for event in hand.events] == pytest.approx([2.0, 4.0, 6.0])
    assert place_s(hand.record, 3.0, 5.9) == pytest.approx([11.0, 10.0], abs=1e-6)
    assert hand.record.line is not None


@pytest.mark.parametrize("wound_after", [False, True])
def test_after_its_last_turn_it_is_brought_back_unless_it_is_wound_elsewhere(wound_after):
    hand = juggled([("left", 0, 2), ("right", 2, 8)], wound_after=wound_after)
    assert hand.events[0].kind == "start"
    assert (abs(hand.record.x_s - 10.0) < 1e-6) is not wound_after


def test_a_hand_that_misses_lets_nothing_go_but_the_first():
    turns_ = [("left", 0, 1), ("right", 1, 2), ("left", 2, 3), ("right", 3, 4), ("left", 4, 8)]
    hand = juggled(turns_, wound_after=False, miss_rate=1.0)
    told = [(event.kind, event.beat, event.actual_s is None) for event in hand.events]
    assert told == [
        ("start", 0, False), ("return", 1, False), ("release", 2, True), ("return", 3, True),
        ("release", 4, True),
    ]  # fmt: skip


def test_a_record_whose_span_is_over_is_held():
    """2.5 s of span and .05 s to spare, from beat 0, where no hand can be early and half the slip
    of .03 s is lost: taken at 2.565 s, not at beat 4."""
    hand = juggled([("left", 0, 4), ("right", 4, 8)], wound_after=True)
    assert hand.events[1].actual_s == pytest.approx(2.565)


# -- the network


RUNS = Track(np.array([0.0, 10.0]), np.array([5.0, 15.0]), np.array([1.0, 1.0]))
STANDS = Track(np.array([0.0, 10.0]), np.array([5.0, 5.0]), np.array([0.0, 0.0]))
PLAIN = {"rate_hz": 100.0, "delay_s": 0.0, "jitter_s": 0.0}


def sent(*, until_s=4.0, seed=1, **network) -> Messages:
    return transmit({"left": RUNS, "right": STANDS}, Network(**(PLAIN | network)),
                    until_s=until_s, rng=np.random.default_rng(seed))  # fmt: skip


def test_each_deck_s_own_delay_comes_on_top():
    found = sent(delay_s=0.02, left_delay_s=0.005, right_delay_s=0.03)
    left, right = found.of("left"), found.of("right")
    assert left.now_s - left.sent_s == pytest.approx(0.025)
    assert right.now_s - right.sent_s == pytest.approx(0.05)


def test_a_dead_deck_is_silent_from_its_first_moment_to_before_its_last():
    found = sent(dead=(Dead("left", 1.0, 2.0),))
    times = found.of("left").sent_s
    assert times[times < 1.5].max() == pytest.approx(1.0, abs=0.01)
    assert times[times > 1.5].min() == pytest.approx(2.0, abs=0.01)
    assert len(found.of("right")) == 400


def test_a_message_that_is_overtaken_comes_just_after_the_next():
    found = sent(reorder=1.0).of("left")
    order = np.argsort(found.sent_s)
    now = found.now_s[order]
    assert now[:-1] == pytest.approx(found.sent_s[order][1:] + 1e-5)
    assert now[-1] == pytest.approx(found.sent_s[order][-1])


def test_what_stands_is_sent_once_by_a_sender_on_change():
    found = sent(sends="on_change")
    assert (len(found.of("right")), len(found.of("left"))) == (1, 400)


@pytest.mark.parametrize("off_mm", [0.2, 1.0])
def test_an_off_centre_record_swings_once_a_turn_by_its_part_of_the_radius(off_mm):
    """e / r: 0.2 mm of 100 are .2 % of speed; the place by that of a turn's 1.8 s over 2 pi. The
    same seed without it: what differs is the swing alone. Reference: numpy's Fourier transform."""
    lines = [sent(off_centre_mm=mm, until_s=9.0, resolution_s=0.0).of("left") for mm in (0, off_mm)]
    part = off_mm / 100.0
    times = [line.sent_s for line in lines]
    straight = 5.0 + times[1]
    swing = lines[1].position_s - straight
    assert swing.max() == pytest.approx(part * 1.8 / (2 * np.pi), rel=0.01)
    assert swing.min() == pytest.approx(-part * 1.8 / (2 * np.pi), rel=0.01)
    assert (lines[1].speed - 1.0).max() == pytest.approx(part, rel=0.01)
    power = np.abs(np.fft.rfft(swing[:900]))
    assert np.argmax(power) == 5  # nine seconds are five turns
    slope = np.gradient(lines[1].position_s, times[1])
    assert slope[1:-1] == pytest.approx(lines[1].speed[1:-1], abs=1e-4)


@pytest.mark.parametrize(
    "wrong",
    [{"rate_hz": 10000.1}, {"delay_s": -0.001}, {"left_delay_s": -0.001}, {"right_delay_s": -1.0},
     {"resolution_s": -1.0}, {"off_centre_mm": -0.1}, {"loss": -0.01}, {"duplicates": 1.01}],
)  # fmt: skip
def test_a_network_beyond_its_bounds_cannot_be_built(wrong):
    with pytest.raises(ValueError, match="would do"):
        Network(**wrong)
    Network(rate_hz=10000.0, delay_s=0.0, loss=1.0, reorder=0.0, off_centre_mm=0.0)


def test_one_message_is_its_columns_at_that_place():
    found = sent()
    one = found[3]
    assert (one.now_s, one.sent_s, one.position_s) == (
        found.now_s[3], found.sent_s[3], found.position_s[3],
    )  # fmt: skip
    assert one.side == ("left", "right")[found.side[3]]
    assert len(found) == 800
