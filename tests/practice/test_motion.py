"""What one record does, from messages drawn by hand a hundred times a second."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from liveaid.practice.motion import JUMP_S, Phase, _joined, fitted_line, jumps, motion
from liveaid.practice.trace import DeckTrace

STEP_S = 0.01


def drawn(*points, **more):
    """What a record does that goes straight from one (second, position) to the next."""
    t = np.arange(points[0][0], points[-1][0], STEP_S)
    return motion(DeckTrace(t, np.interp(t, *np.transpose(points))), **more)


def told(found, *, least_s=0.1):
    """(does, from second, to second, from place, to place) of what lasts, to a tenth."""
    return [
        (p.does, *(round(x, 1) for x in (p.start_s, p.end_s, p.from_s, p.to_s)))
        for p in found.phases
        if p.end_s - p.start_s > least_s
    ]


@pytest.mark.parametrize(
    ("speed", "does"),
    [
        (0.0, "stands"), (0.11, "stands"), (-0.11, "stands"), (0.13, "moves"), (-0.13, "moves"),
        # A record runs within the fader's 8 % and 12 % more of its own speed.
        (0.79, "moves"), (0.81, "runs"), (1.0, "runs"), (1.19, "runs"), (1.21, "moves"),
        (5.0, "moves"), (-1.0, "moves"),
    ],
)  # fmt: skip
def test_a_speed_tells_what_a_record_does(speed, does):
    found = drawn((0.0, 10.0), (2.0, 10.0 + 2 * speed))
    assert [phase.does for phase in found.phases] == [does]
    assert found.speed[100] == pytest.approx(speed)


@pytest.mark.parametrize(("speed", "does"), [(0.39, "runs"), (0.37, "moves"), (1.61, "runs")])
def test_a_wider_fader_lets_a_record_run_slower(speed, does):
    found = drawn((0.0, 10.0), (2.0, 10.0 + 2 * speed), pitch_range_percent=50.0)
    assert [phase.does for phase in found.phases] == [does]


def test_a_record_that_stands_runs_and_is_brought_back():
    found = drawn((0, 10), (1, 10), (3, 12), (4, 12), (4.5, 10), (6, 10))
    assert told(found) == [
        ("stands", 0.0, 1.0, 10.0, 10.0), ("runs", 1.0, 3.0, 10.0, 12.0),
        ("stands", 3.0, 4.0, 12.0, 12.0), ("moves", 4.0, 4.5, 12.0, 10.0),
        ("stands", 4.5, 6.0, 10.0, 10.0),
    ]  # fmt: skip
    assert not any(phase.jumped for phase in found.phases)
    first, last = found.phases[0], found.phases[-1]
    assert (first.first, last.last) == (0, 600)
    assert found.interval_s == pytest.approx(STEP_S)


@pytest.mark.parametrize(("lasts_s", "runs"), [(0.06, False), (0.3, True)])
def test_what_runs_for_less_than_a_tenth_of_a_second_is_a_hands_move(lasts_s, runs):
    end = 1.0 + lasts_s
    found = drawn((0, 10), (1, 10), (end, 10 + lasts_s), (3, 10 + lasts_s))
    assert any(phase.does == "runs" for phase in found.phases) is runs


def test_a_needle_that_is_set_elsewhere_jumps():
    found = drawn((0, 10), (2, 12), (2.001, 40), (4, 42))
    assert told(found) == [("runs", 0.0, 2.0, 10.0, 12.0), ("runs", 2.0, 4.0, 40.0, 42.0)]
    assert [phase.jumped for phase in found.phases if phase.does == "runs"] == [False, True]


@pytest.mark.parametrize(
    ("step_s", "after_s", "jumped"),
    [
        # Beyond 0.08 s of record at once, and 14 s of it a second: no hand does that.
        (0.15, 0.01, True), (-0.15, 0.01, True), (0.13, 0.01, False),
        (0.081, 0.005, True), (0.079, 0.005, False),
        (1.5, 0.1, True), (1.3, 0.1, False),
        # Two messages that came nearly together are an interval apart.
        (0.06, 0.001, False), (0.09, 0.001, True),
        # Just as far is none yet: 7/32 in 1/64 of a second are 14 a second.
        (JUMP_S, 0.005, False), (0.21875, 0.015625, False),
    ],
)  # fmt: skip
def test_a_jump_is_further_than_any_hand_goes(step_s, after_s, jumped):
    t = np.array([0.0, 0.005, 0.01, 0.01 + after_s, 0.015 + after_s])
    x = np.array([0.0, 0.0, 0.0, step_s, step_s])
    assert jumps(t - t[2], x, 0.005) == ([3] if jumped else [])


def test_a_run_that_a_touch_disturbs_goes_on_and_one_that_is_stopped_does_not():
    """Touched for 0.06 s, half as fast again and half as fast, it is where it would be; stopped for
    0.08 s it is behind."""
    touched = drawn((0, 10), (1, 11), (1.03, 11.045), (1.06, 11.06), (3, 13))
    assert told(touched) == [("runs", 0.0, 3.0, 10.0, 13.0)]
    stopped = drawn((0, 10), (1, 11), (1.08, 11), (3, 12.92))
    assert [each[0] for each in told(stopped)] == ["runs", "runs"]
    # For half a second a hand pushed it faster and let it fall back to its place: two runs.
    long = drawn((0, 10), (1, 11), (1.2, 11.4), (1.4, 11.4), (3, 13))
    assert [each[0] for each in told(long)].count("runs") == 2


def test_fewer_than_eight_messages_tell_nothing():
    few = drawn((0.0, 10.0), (0.065, 10.065))
    assert (few.phases, few.interval_s, few.jitter_s) == ((), 0.01, 0.001)
    assert len(drawn((0.0, 10.0), (0.075, 10.075)).phases) == 1
    assert [phase.does for phase in drawn((0.0, 10.0), (0.195, 10.195)).phases] == ["runs"]


def test_a_message_among_others_that_agree_is_put_in_line():
    t = np.arange(0.0, 2.0, STEP_S)
    x = 10.0 + t
    for stray in (10.5, 0.0, 11.2):
        wrong = x.copy()
        wrong[100] = stray
        found = motion(DeckTrace(t, wrong))
        assert found.x_s[100] == pytest.approx(11.0, abs=0.011)
        assert [phase.does for phase in found.phases] == ["runs"]


def test_of_two_messages_that_come_together_the_one_furthest_on_counts():
    """The one due at 1 s is held up and comes a millisecond before the next; backwards the same."""
    for way in (1.0, -1.0):
        t = np.arange(0.0, 2.0, STEP_S)
        x = 10.0 + way * 3.0 * t
        t[100] = t[101] - 0.001
        found = motion(DeckTrace(t, x))
        assert len(found.t_s) == len(t) - 1
        assert 10.0 + way * 3.0 in np.round(x, 6)
        assert 10.0 + way * 3.0 not in np.round(found.x_s, 6)


def line_of(speed, count=50, **stray):
    t = np.arange(count) * STEP_S + 3.0
    x = 5.0 + speed * (t - 3.0)
    for place, off in stray.items():
        x[int(place[1:])] += off
    return fitted_line(t, x)


def test_a_line_through_a_run_leaves_strays_out():
    """50 messages from 3 s on: its middle is 24.5 steps on, at 3.245 s, it lasts 0.49 s."""
    for found in (line_of(1.02), line_of(1.02, _10=0.5), line_of(1.02, _10=-0.5, _40=0.3)):
        assert (found.t0_s, found.lasts_s) == (pytest.approx(3.245), pytest.approx(0.49))
        assert found.speed == pytest.approx(1.02, abs=1e-6)
        assert found.x0_s == pytest.approx(5.0 + 1.02 * 0.245, abs=1e-6)
        assert found.at(4.0) == pytest.approx(6.02, abs=1e-5)
        assert found.when(6.02) == pytest.approx(4.0, abs=1e-5)


@pytest.mark.parametrize(
    ("speed", "count", "drawn_"),
    [(1.0, 3, False), (1.0, 4, True), (0.19, 50, False), (0.21, 50, True)],
)
def test_when_a_line_can_be_drawn(speed, count, drawn_):
    assert (line_of(speed, count) is not None) is drawn_


@pytest.mark.parametrize(
    ("interval_s", "noise_s"), [(0.01, 0.0), (0.01, 0.002), (0.01, 0.02), (0.02, 0.0)]
)
def test_a_speed_is_the_slope_through_a_window_as_wide_as_the_jitter_asks(interval_s, noise_s):
    """Each against numpy's polyfit over its own window, which is worked out message by message:
    a third of the time a hand moves it, and the needle is set elsewhere. The window's half is
    cbrt(1.5 interval (jitter / 0.03)^2), from 22 to 80 ms and more than two messages."""
    rng = np.random.default_rng(5)
    t = np.cumsum(interval_s * rng.uniform(0.9, 1.1, 90))
    x = 10.0 + t + noise_s * rng.standard_normal(90)
    x[60:] += 30.0 + np.cumsum(np.full(30, 2.0 * interval_s))
    found = motion(DeckTrace(t, x))
    t, x = found.t_s, found.x_s
    (cut,) = jumps(t, x, found.interval_s)
    ends = np.where(np.arange(len(t)) < cut, 0, 1)

    def slope(k, around_s):
        near = (np.abs(t - t[k]) <= around_s) & (ends == ends[k])
        return np.polyfit(t[near] - t[k], x[near], 1)[0] if near.sum() > 2 else 0.0

    middle = sorted(b - a for a, b in pairwise(t.tolist()))
    interval = (middle[len(middle) // 2] + middle[(len(middle) - 1) // 2]) / 2
    off = []
    for k in range(1, len(t) - 1):
        share = (t[k] - t[k - 1]) / (t[k + 1] - t[k - 1])
        if abs(slope(k, max(0.05, 3 * interval)) - 1.0) < 0.3:
            off.append(abs(x[k] - x[k - 1] - share * (x[k + 1] - x[k - 1])) / 1.5**0.5)
    jitter = max(1.4826 * float(np.median(off)), 0.0002)
    assert found.jitter_s == pytest.approx(jitter)
    asked = (1.5 * interval * (jitter / 0.03) ** 2) ** (1 / 3)
    around = max(min(max(asked, 0.022), 0.080), 2.01 * interval)
    assert found.speed == pytest.approx([slope(k, around) for k in range(len(t))], abs=1e-6)


@pytest.mark.parametrize(
    ("speed", "jitter_s"), [(1.25, 0.002421), (1.35, 0.0002), (0.75, 0.002421)]
)
def test_jitter_is_told_by_what_runs_alone(speed, jitter_s):
    """Two thirds of it stray by 1 ms to and fro, 2 from the middle of their neighbours: 1.4826 x 2
    / 1.2247. Within 0.3 of a record's speed that counts; beyond, only the third that strays by
    nothing, and no jitter is thought less than 0.2 ms."""
    t = np.arange(600) * STEP_S
    x = 10.0 + np.interp(t, (0.0, 2.0, 6.0), (0.0, 2.0, 2.0 + 4.0 * speed))
    x[200:] += 0.001 * (-1.0) ** np.arange(400)
    assert motion(DeckTrace(t, x)).jitter_s == pytest.approx(jitter_s, rel=1e-3)


def test_jitter_is_a_millisecond_where_less_than_eight_messages_lie_between_others():
    assert [drawn((0.0, 10.0), (end, 10.0 + end)).jitter_s for end in (0.085, 0.095)] == [
        0.001,
        0.0002,
    ]


def left_of(x):
    """Places of the messages that are left of so many, and what they say now."""
    t = np.arange(len(x)) * STEP_S
    found = motion(DeckTrace(t, np.asarray(x, float)))
    return [round(at / STEP_S) for at in found.t_s], found.x_s


@pytest.mark.parametrize(
    ("lag", "twins", "gone"),
    [(1, 1, [10]), (1, 2, []), (2, 1, [10]), (3, 1, [10]), (4, 1, [])],
)
def test_a_place_told_again_is_a_message_come_late(lag, twins, gone):
    """One, two or three messages later; told three times in a row it stands."""
    x = 10.0 + STEP_S * np.arange(20)
    x[10 : 10 + twins] = x[10 - lag]
    left, _ = left_of(x)
    assert sorted(set(range(20)) - set(left)) == gone


@pytest.mark.parametrize(
    ("step_s", "off_s", "put_s"),
    [
        # More than 30 ms off among messages that agree, and half as much again as they are apart.
        (1e-6, 0.029, 0.029), (1e-6, 0.031, 0.0), (1e-6, -0.029, -0.029), (1e-6, -0.031, 0.0),
        # 10 ms apart, 20 its neighbours: 60 ms from the middle one of five, the next, 10 ms on.
        (0.01, 0.069, 0.069), (0.01, 0.071, 0.01), (0.01, -0.069, -0.069), (0.01, -0.071, -0.01),
    ],
)  # fmt: skip
def test_how_far_off_a_message_is_put_in_line(step_s, off_s, put_s):
    x = 10.0 + step_s * np.arange(20)
    x[10] += off_s
    left, said = left_of(x)
    assert left == list(range(20))
    assert said - (10.0 + step_s * np.arange(20)) == pytest.approx(
        [0.0] * 10 + [put_s] + [0.0] * 9, abs=2e-6
    )


@pytest.mark.parametrize(("late_s", "left"), [(0.0049, 99), (0.0051, 100)])
def test_messages_come_together_when_they_are_within_half_of_what_is_usual(late_s, left):
    t = np.arange(100) * STEP_S
    t[50] = t[51] - late_s
    assert len(motion(DeckTrace(t, 10.0 + np.arange(100) * STEP_S)).t_s) == left


def phase(does, start_s, end_s, from_s, to_s, *, jumped=False):
    return Phase(
        does, start_s, end_s, from_s, to_s, round(100 * start_s), round(100 * end_s), jumped
    )


@pytest.mark.parametrize(
    ("lasts_s", "off_s", "joined"),
    [
        (0.149, 0.0, True), (0.151, 0.0, False),
        # 20 ms and four times a jitter of 1 ms.
        (0.1, 0.0239, True), (0.1, 0.0241, False), (0.1, -0.0239, True), (0.1, -0.0241, False),
    ],
)  # fmt: skip
def test_a_run_torn_apart_is_joined_where_it_goes_on_as_it_was(lasts_s, off_s, joined):
    at, on = 2.0 + lasts_s, 12.0 + lasts_s + off_s
    before, gap = phase("runs", 1.0, 2.0, 11.0, 12.0), phase("moves", 2.0, at, 12.0, on)
    after = phase("runs", at, at + 1.0, on, on + 1.0)
    whole = phase("runs", 1.0, at + 1.0, 11.0, on + 1.0)
    stands = phase("stands", at + 1.0, 9.0, on + 1.0, on + 1.0)
    found = list(_joined([before, gap, after, stands], 0.001))
    assert found == ([whole, stands] if joined else [before, gap, after, stands])
    for odd in (
        replace(gap, jumped=True),
        replace(after, jumped=True),
        replace(after, does="moves"),
    ):
        torn = [before, *(odd if odd.start_s == one.start_s else one for one in (gap, after))]
        assert list(_joined(torn, 0.001)) == torn


@pytest.mark.parametrize(("off_s", "counts"), [(0.0019, True), (0.0021, False)])
def test_a_message_2_ms_off_a_line_counts_in_it_and_one_further_off_does_not(off_s, counts):
    """At the 41st of 50, 155 ms past the middle: it leans the line by 0.155 off / 1.04125, the sum
    of (k - 24.5)^2 / 10,000 for k from 0 to 49."""
    leans = 0.155 * off_s / 1.04125 if counts else 0.0
    assert line_of(1.02, _40=off_s).speed - 1.02 == pytest.approx(leans, abs=1e-8)


def test_a_line_that_too_few_messages_agree_on_is_none():
    """Five, of which two say something else."""
    assert line_of(1.0, 5, _0=0.4, _4=-0.4) is None


@pytest.mark.parametrize(
    ("place", "says", "gone"),
    [
        # The message before was held up, or is the first or the last of all but two.
        (50, 50, 50), (0, 0, 0), (97, 97, 97), (98, 98, 98),
        # The later one says an older place, or the same: it was overtaken.
        (50, 49, 51), (50, 49.5, 51), (98, 97.5, 99),
    ],
)  # fmt: skip
@pytest.mark.parametrize("speed", [1.0, -0.5])
def test_which_of_two_messages_that_come_together_is_left_out(place, says, gone, speed):
    """One is `place`, the other comes a millisecond after it."""
    t, x = np.arange(100) * STEP_S, 10.0 + speed * STEP_S * np.arange(100)
    if says == place:
        t[place] = t[place + 1] - 0.001
    else:
        t[place + 1] = t[place] + 0.001
        x[place + 1] = 10.0 + speed * STEP_S * says
    found = motion(DeckTrace(t, x))
    assert found.t_s.tolist() == np.delete(t, gone).tolist()


def test_messages_of_one_moment_draw_no_line():
    assert fitted_line(np.full(4, 3.0), np.arange(4.0)) is None
    two = fitted_line(np.array([3.0, 3.0, 3.01, 3.02]), np.array([5.0, 5.0, 5.01, 5.02]))
    assert two.speed == pytest.approx(1.0)
