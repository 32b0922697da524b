"""What one record does, from messages drawn by hand a hundred times a second."""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.motion import fitted_line, jumps, motion
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
    ],
)  # fmt: skip
def test_a_jump_is_further_than_any_hand_goes(step_s, after_s, jumped):
    t = np.array([0.0, 0.005, 0.01, 0.01 + after_s, 0.015 + after_s])
    x = np.array([10.0, 10.0, 10.0, 10.0 + step_s, 10.0 + step_s])
    assert jumps(t, x, 0.005) == ([3] if jumped else [])


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
    assert drawn((0.0, 10.0), (0.065, 10.065)).phases == ()
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
