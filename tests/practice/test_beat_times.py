"""When each beat was, from a record that runs or from the hands alone: least squares by hand.

A beat is 0.5 s of record, 120 BPM at pitch 0.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.beat_times import (
    BeatTimes,
    _bent,
    _leaning,
    _smoothed,
    _speed,
    beats_of_hands,
    beats_of_record,
)
from liveaid.practice.motion import SpeedLine, motion
from liveaid.practice.trace import DeckTrace


def test_a_count_goes_on_beyond_its_ends_at_the_tempo_it_had_there():
    """Four beats of 0.5 s from 10 s on, then four of 0.6 s."""
    count = BeatTimes(np.array([0.0, 4.0, 8.0]), np.array([10.0, 12.0, 14.4]))
    pairs = [(-2.0, 9.0), (0.0, 10.0), (2.0, 11.0), (4.0, 12.0), (6.0, 13.2), (10.0, 15.6)]
    for beat, at_s in pairs:
        assert count.when(beat) == pytest.approx(at_s)
        assert count.beat_at(at_s) == pytest.approx(beat)
    assert count.tempo_bpm(0.0, 4.0) == pytest.approx(120.0)
    assert count.tempo_bpm(4.0, 8.0) == pytest.approx(100.0)
    assert count.tempo_bpm(0.0, 8.0) == pytest.approx(8 * 60 / 4.4)


def test_beats_left_out_take_no_time():
    """Beats 4 to 8 were left out: the twelve take 4 s, as the eight that were played."""
    beats, times = np.array([0.0, 4.0, 8.0, 12.0]), np.array([0.0, 2.0, 2.0, 4.0])
    count = BeatTimes(beats, times, left_out=(4.0, 8.0))
    spans = [(0.0, 12.0), (6.0, 12.0), (0.0, 6.0), (9.0, 12.0), (0.0, 3.0)]
    assert [count.tempo_bpm(*span) for span in spans] == pytest.approx([120.0] * 5)


def by_hands(*, start_s=10.0, about_s=10.0, lines=(), acts=(), speed=1.0, beats=16):
    return beats_of_hands(by="left", start_s=start_s, about_s=about_s, beat_s=0.5, beats=beats,
                          lines=lines, acts=acts, speed=speed)  # fmt: skip


@pytest.mark.parametrize(("speed", "beat_s"), [(1.0, 0.5), (1.25, 0.4), (0.8, 0.625)])
def test_with_nothing_let_go_the_count_goes_on_as_before(speed, beat_s):
    count = by_hands(speed=speed)
    assert [count.when(beat) for beat in (0, 4, 16)] == pytest.approx(
        [10.0 + beat * beat_s for beat in (0, 4, 16)]
    )
    assert count.by == "left"
    assert by_hands(start_s=None) is None  # no start and no act


def test_acts_that_are_all_late_do_not_shift_a_count_that_is_known():
    late = [(float(beat), 10.1 + 0.5 * beat) for beat in range(9)]
    assert by_hands(acts=late).when(0.0) == pytest.approx(10.0)
    # Where nothing told when it begins, they are all there is.
    found = by_hands(start_s=None, about_s=9.7, acts=late)
    assert (found.when(0.0), found.when(8.0)) == pytest.approx((10.1, 14.1))


def test_acts_that_come_ever_later_bend_the_count():
    """On beats 0 to 8, 10 ms later each: the middle of their ways from the middle, 40 ms, is 20, so
    they spread by 1.4826 x 20 = 29.652 ms. A beat's length is sure to 2 % where no record tells,
    10 ms. Change: 10 x 60 / (60 + (29.652 / 10)^2) = 600 / 68.792 = 8.722 ms a beat."""
    acts = [(float(beat), 10.0 + 0.51 * beat) for beat in range(9)]
    count = by_hands(acts=acts)
    assert count.when(0.0) == pytest.approx(10.0)
    assert count.when(8.0) == pytest.approx(10.0 + 8 * 0.508722, abs=1e-4)
    # With no start it is where they are late by nothing on the whole: 40 - 4 x 8.722 = 5.112 ms.
    loose = by_hands(start_s=None, acts=acts)
    assert loose.when(0.0) == pytest.approx(10.005112, abs=1e-5)
    assert loose.when(8.0) == pytest.approx(10.005112 + 8 * 0.508722, abs=1e-4)


def test_one_act_that_is_far_off_bends_nothing():
    """Four spreads are 16 ms at least, for no hand is steadier than 4 ms."""
    acts = [(float(beat), 10.0 + 0.5 * beat) for beat in range(8)]
    assert by_hands(acts=[*acts, (8.0, 14.017)]).when(8.0) == pytest.approx(14.0, abs=1e-9)
    # Of one 15 ms late the length's sureness takes: off the middle of nine by 4 beats, its share is
    # 4 x 15 / (60 + (4 / 10)^2) = 0.997 ms a beat.
    assert by_hands(acts=[*acts, (8.0, 14.015)]).when(8.0) == pytest.approx(14.00798, abs=1e-4)


def line(speed, at_s=10.0, lasts_s=1.0):
    return SpeedLine(at_s, 0.0, speed, lasts_s)


def test_records_let_go_tell_the_tempo():
    for lines in ([line(1.02)], [line(1.02, 10.0 + k) for k in range(4)]):
        count = by_hands(lines=lines)
        assert count.when(16.0) == pytest.approx(10.0 + 8.0 / 1.02)
    # Of four one is a slip of the hand: it does not count.
    slip = [line(1.02), line(1.021, 11.0), line(1.019, 12.0), line(1.3, 13.0)]
    assert by_hands(lines=slip).when(16.0) == pytest.approx(10.0 + 8.0 / 1.02, abs=0.02)
    # The longer run tells more, by the cube: 1.2 s against 0.6 are 1.728 to 0.216, but no more than
    # one and a half times the middle length, 0.9: 1.35^3 is above 1.728, so 8 to 1.
    uneven = by_hands(lines=[line(1.00, 10.0, 1.2), line(1.09, 10.0, 0.6)])
    assert uneven.when(16.0) == pytest.approx(10.0 + 8.0 / 1.01, abs=0.002)


def test_records_that_get_faster_lean_the_count_as_far_as_a_drift_goes():
    """1.00 as it begins and 1.02 ten seconds on: on the mean 1.01, so 20 beats in 9.901 s. Two
    lines 1 % off their middle could lean by chance: the drift stays near none."""
    count = by_hands(lines=[line(1.00, 10.0), line(1.02, 20.0)], beats=20)
    assert count.when(20.0) == pytest.approx(10.0 + 10.0 / 1.01, abs=2e-3)
    first, last = (count.when(b + 1.0) - count.when(b) for b in (0.0, 19.0))
    assert 0.0 < first - last < 0.001


def by_record(*points, at_s=10.0, start_s=0.0, end_s=14.0, beats=16.0):
    """The count of a record drawn straight from (second, position) to the next."""
    t = np.arange(0.0, 14.0, 0.01)
    drawn = DeckTrace(t, np.interp(t, *np.transpose(points)))
    return beats_of_record(motion(drawn), by="right", at_s=at_s, beat_s=0.5, beats=beats,
                           start_s=start_s, end_s=end_s)  # fmt: skip


def test_a_record_that_runs_tells_every_beat():
    """From 10 s of its file at 2 s on."""
    whole = ((0, 10), (2, 10), (10, 18), (14, 18))
    count = by_record(*whole)
    assert [count.when(beat) for beat in (0, 5, 16)] == pytest.approx([2.0, 4.5, 10.0], abs=1e-3)
    assert count.by == "right"
    # The set piece begins at 12 s of it: two seconds later.
    assert by_record(*whole, at_s=12.0).when(0.0) == pytest.approx(4.0, abs=1e-3)


def test_a_record_at_another_pitch_tells_its_own_tempo():
    fast = by_record((0, 10), (2, 10), (10, 18.64), (14, 18.64))  # 8.64 s in 8
    assert fast.tempo_bpm(1.0, 15.0) == pytest.approx(120 * 1.08, abs=0.05)


def test_only_what_belongs_to_the_set_piece_counts():
    """It runs from 8 s of its file at 0 s; half a beat before its first beat and after its last is
    counted, and nothing outside of the time asked for."""
    runs = ((0, 8), (14, 22))
    knots = by_record(*runs, beats=8.0).beats
    assert (knots[0], knots[-1]) == pytest.approx((-0.5, 8.5), abs=0.05)
    knots = by_record(*runs, start_s=4.0, end_s=6.0).beats  # at 12 to 14 s of it: beats 4 to 8
    assert (knots[0], knots[-1]) == pytest.approx((4.0, 8.0), abs=0.05)


@pytest.mark.parametrize(("lasts_s", "told"), [(0.3, False), (0.6, True)])
def test_a_run_of_a_third_of_a_second_tells_nothing(lasts_s, told):
    end = 2.0 + lasts_s
    count = by_record((0, 10), (2, 10), (end, 10 + lasts_s), (14, 10 + lasts_s))
    assert (count is not None) is told


def test_a_records_beats_are_read_off_lines_a_quarter_second_apart():
    """It runs 4 % fast and then 2 % slow, 1 ms of noise, each line through .6 s either way by
    numpy's polyfit; .05 s where it slips at both ends of a run are left out."""
    t = np.arange(0.0, 9.0, 0.01)
    x = np.interp(t, (0.0, 1.0, 4.0, 7.0, 9.0), (10.0, 10.0, 13.12, 16.06, 16.06))
    x += np.where((t > 1.0) & (t < 7.0), 0.001, 0.0) * np.random.default_rng(4).standard_normal(900)
    found = motion(DeckTrace(t, x))
    count = beats_of_record(found, by="right", at_s=10.2, beat_s=0.5, beats=10.0,
                            start_s=0.5, end_s=6.9)  # fmt: skip
    (runs,) = (phase for phase in found.phases if phase.does == "runs")
    inside = (found.t_s >= runs.start_s + 0.05) & (found.t_s < runs.end_s - 0.05)
    inside &= (found.x_s >= 10.2 - 0.25) & (found.x_s <= 10.2 + 10.5 * 0.5) & (found.t_s <= 6.9)
    t, x = found.t_s[inside], found.x_s[inside]
    knots = np.linspace(t[0], t[-1], int((t[-1] - t[0]) / 0.25) + 1)
    places = []
    for knot in knots:
        near = (t >= knot - 0.6) & (t < knot + 0.6)
        places.append(np.polyval(np.polyfit(t[near] - knot, x[near], 1), 0.0))
    assert count.times_s == pytest.approx(knots)
    assert count.beats == pytest.approx((np.array(places) - 10.2) / 0.5)


def test_a_knot_with_too_few_messages_about_it_lies_straight_between_them():
    """Four messages, and .05 s from the first to the last of them, draw a line; less do not: the
    second of each is 3 ms off, which a line evens out."""
    for steps_s, drawn_ in ((0.02, True), (0.0166, False), (0.0168, True)):
        t = 5.0 + steps_s * np.arange(4)
        x = t + np.array([0.0, 0.003, 0.0, 0.0])
        line = np.polyval(np.polyfit(t - t[1], x, 1), 0.0)
        assert _smoothed(t, x, t[1:2])[0] == pytest.approx(line if drawn_ else t[1] + 0.003)
    t = 5.0 + 0.03 * np.arange(3)
    assert _smoothed(t, t + np.array([0.0, 0.003, 0.0]), t[1:2])[0] == pytest.approx(t[1] + 0.003)


def test_a_lean_is_held_near_none_as_if_by_so_much_more_weight():
    """Speeds 1.00, 1.02, 1.04 at 0, 1 and 4 s weighing 1, 2, 1: they count as 16 / 6 = 2.667, so
    .667, 1.333, .667; mean time 1.5, mean speed 1.02. Lean: (.667 x 1.5 x .02 + 0 + .667 x 2.5 x
    .02) / (1.5 + .333 + 4.167 + 2) = .05333 / 8."""
    at, speed, weight = (
        np.array([0.0, 1.0, 4.0]),
        np.array([1.0, 1.02, 1.04]),
        np.array([1, 2, 1.0]),
    )
    found = _leaning(at, speed, weight, 2.0)
    assert found == pytest.approx((1.02 - 1.5 * 0.05333333 / 8, 0.05333333 / 8, 16 / 6))


def test_how_sure_records_are_of_their_speed():
    """Beside 1.02: 0, 2 and 4 thousandths to either side, the middle one 2: 1.4826 x 2 / sqrt(5),
    as they all weigh alike; two lines or one are sure to half a hundredth, none to two."""
    speeds = [1.024, 1.018, 1.02, 1.022, 1.016]
    at_0, change, sure = _speed([line(speed) for speed in speeds], 10.0, 1.3)
    assert (at_0, change) == pytest.approx((1.02, 0.0))
    assert sure == pytest.approx(1.4826 * 0.002 / 5**0.5)
    assert _speed([line(1.02), line(1.03)], 10.0, 1.3) == pytest.approx((1.025, 0.0, 0.005))
    assert _speed([], 10.0, 1.3) == (1.3, 0.0, 0.02)
    # Three alike are not surer than a fifth of a thousandth among them allows, nor than a tenth.
    assert _speed([line(1.02)] * 3, 10.0, 1.0)[2] == pytest.approx(2e-4 / 3**0.5)
    assert _speed([line(1.02)] * 9, 10.0, 1.0)[2] == pytest.approx(1e-4)
    # A slip of the hand beyond four spreads leaves the others as they were.
    slip = _speed([line(speed) for speed in (*speeds, 1.045)], 10.0, 1.3)
    assert slip[0] == pytest.approx(1.02, abs=1e-9)


def test_acts_bend_a_beat_by_least_squares_with_its_length_held():
    """Late by 0, 10, 20 and 30 ms on beats 0 to 3: off the middle one by 15, 5, 5, 15, 10 on the
    whole, so 14.826 ms; 50 = b y over 5 = b b and (14.826 / 5)^2 more; late 15 - 1.5 of that."""
    change = 0.050 / (5.0 + (1.4826 * 10.0 / 5.0) ** 2)
    found = _bent(np.arange(4.0), np.array([0.0, 0.010, 0.020, 0.030]), 0.005)
    assert found == pytest.approx((change, 0.015 - 1.5 * change))
