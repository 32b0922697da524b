"""When a hand did what, from records drawn by hand two hundred times a second, within 2 ms.

A push goes from rest to rest as 3 s^2 - 2 s^3 of its way (a hand's, from memory: least jerk has
about that shape). A hand that takes a running record slows it evenly: behind by u^2 / (2 stop).
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.hear import (
    _dip,
    _parted,
    _rest_costs,
    _rises,
    _slowest,
    _taken,
    near,
    releases,
    strokes,
    takes_of_hand,
)
from liveaid.practice.motion import motion
from liveaid.practice.trace import DeckTrace

T = np.arange(0.0, 8.0, 0.005)


def of(x):
    return motion(DeckTrace(T, np.asarray(x, float)))


def pushed(*pushes, at=10.0):
    """A record at rest, moved by each (from second, seconds, way) in turn."""
    x = np.full(len(T), at)
    for start_s, lasts_s, way_s in pushes:
        s = np.clip((T - start_s) / lasts_s, 0.0, 1.0)
        x += way_s * (3 * s**2 - 2 * s**3)
    return of(x)


def run(start_s, end_s, *, from_s=10.0, speed=1.0):
    """A record let go at a second and held at another."""
    return of(from_s + speed * np.clip(T - start_s, 0.0, end_s - start_s))


def test_a_record_let_go_is_heard_where_its_line_was_at_its_cue():
    (one,) = releases(run(2.0, 5.0))
    assert one.line.when(10.0) == pytest.approx(2.0, abs=0.002)
    assert one.line.speed == pytest.approx(1.0, abs=0.001)
    assert (one.from_s, one.start_s, one.end_s) == pytest.approx((10.0, 2.0, 5.0), abs=0.04)
    (fast,) = releases(run(2.0, 5.0, speed=1.06))
    assert fast.line.when(10.0) == pytest.approx(2.0, abs=0.002)
    assert fast.line.speed == pytest.approx(1.06, abs=0.001)


def test_a_slipmat_that_slips_does_not_tell():
    """It comes to speed evenly in 40 ms: 20 ms behind, as if let go so much later."""
    u = np.clip(T - 2.0, 0.0, 3.0)
    slips = np.where(u < 0.04, u * u / 0.08, u - 0.02)
    (one,) = releases(of(10.0 + slips))
    assert one.line.when(10.0) == pytest.approx(2.02, abs=0.002)
    assert one.line.speed == pytest.approx(1.0, abs=0.001)


def test_only_its_first_second_or_so_tells_when_a_record_was_let_go():
    """For 2 s at its own speed, then 8 % faster: the line is that of the beginning."""
    u = T - 1.0
    (one,) = releases(of(10.0 + np.clip(u, 0, 2.0) + 1.08 * np.clip(u - 2.0, 0, 3.0)))
    assert one.line.when(10.0) == pytest.approx(1.0, abs=0.002)
    assert one.line.lasts_s == pytest.approx(1.2, abs=0.02)


def test_a_needle_set_down_on_a_running_record_lets_it_run_from_there():
    x = np.where(T < 3.0, 10.0 + T, 40.0 + T)
    first, second = releases(of(x))
    assert first.from_s == pytest.approx(10.0)
    assert second.from_s == pytest.approx(43.0, abs=0.01)
    assert second.line.when(43.0) == pytest.approx(3.0, abs=0.002)


def test_releases_near_a_cue():
    found = releases(run(2.0, 5.0, from_s=10.3))
    assert len(near(found, 10.0, within_s=0.31)) == len(near(found, 10.6, within_s=0.31)) == 1
    assert near(found, 10.0, within_s=0.29) == []


@pytest.mark.parametrize("stop_s", [0.02, 0.04, 0.06])
def test_a_record_is_taken_where_it_begins_to_fall_behind(stop_s):
    """Twice: it runs from 1 s and from 5 s, and is slowed evenly from 3 s and from 7 s on."""
    x = np.full(len(T), 10.0)
    for start_s in (1.0, 5.0):
        u = np.clip(T - start_s - 2.0, 0.0, stop_s)
        x += np.clip(T - start_s, 0.0, 2.0) + u - u * u / (2 * stop_s)
    found = takes_of_hand(of(x))
    assert found == pytest.approx([3.0, 7.0], abs=0.002)


def test_a_record_that_is_never_taken_or_never_runs():
    assert takes_of_hand(of(10.0 + T)) == []
    assert takes_of_hand(pushed((2.0, 0.2, 0.3))) == []
    assert releases(pushed((2.0, 0.1, 0.05))) == []


@pytest.mark.parametrize(("lasts_s", "way_s"), [(0.1, 0.1), (0.2, 0.3), (0.3, 0.2), (0.15, 0.45)])
def test_a_push_is_heard_where_it_begins(lasts_s, way_s):
    record = pushed((3.0, lasts_s, way_s), (3.8, 0.2, -way_s), (5.0, lasts_s, way_s))
    first, second = strokes(record, start_s=0.0, end_s=8.0, stands_part=True)
    assert (first.at_s, second.at_s) == pytest.approx((3.0, 5.0), abs=0.003)
    assert (first.from_s, first.way_s) == pytest.approx((10.0, way_s), abs=0.002)


@pytest.mark.parametrize(("way_s", "heard"), [(0.033, 0), (0.038, 1)])
def test_a_tremble_is_no_stroke(way_s, heard):
    assert len(strokes(pushed((3.0, 0.1, way_s)), start_s=0.0, end_s=8.0)) == heard


def test_only_strokes_that_begin_in_the_time_asked_for():
    record = pushed((2.0, 0.2, 0.3), (3.0, 0.2, -0.3), (4.0, 0.2, 0.3), (5.0, 0.2, -0.3))
    assert len(strokes(record, start_s=1.9, end_s=4.1)) == 2
    assert [round(s.at_s) for s in strokes(record, start_s=2.1, end_s=4.1)] == [4]
    assert [round(s.at_s) for s in strokes(record, start_s=1.9, end_s=3.9)] == [2]


def test_pulls_are_no_strokes():
    assert strokes(pushed((2.0, 0.2, -0.3), (3.0, 0.2, -0.3)), start_s=0.0, end_s=8.0) == []


def test_a_way_forward_on_which_the_record_stands_is_two_strokes_where_asked():
    record = pushed((3.0, 0.15, 0.2), (3.3, 0.15, 0.2), (5.0, 0.2, -0.4))
    (whole,) = strokes(record, start_s=0.0, end_s=8.0)
    assert whole.way_s == pytest.approx(0.4, abs=0.002)
    parts = strokes(record, start_s=0.0, end_s=8.0, stands_part=True)
    assert [part.at_s for part in parts] == pytest.approx([3.0, 3.3], abs=0.005)
    assert [part.way_s for part in parts] == pytest.approx([0.2, 0.2], abs=0.01)


def test_a_needle_that_is_set_down_pushes_nothing():
    """From 10 to 40 s at once, and there a push."""
    s = np.clip((T - 5.0) / 0.2, 0.0, 1.0)
    record = of(np.where(T < 3.0, 10.0, 40.0) + 0.3 * (3 * s**2 - 2 * s**3))
    (one,) = strokes(record, start_s=0.0, end_s=8.0)
    assert (one.at_s, one.from_s) == pytest.approx((5.0, 40.0), abs=0.003)


def test_between_steps_a_parabola_is_lowest():
    """(a - c) / (2 (a - 2 b + c)) of a step from the middle one of a, b, c."""
    for costs, best, off in (
        ([4, 1, 2], 1, 0.25), ([2, 1, 4], 1, -0.25), ([9, 4, 1, 2], 2, 0.25), ([3, 1, 3], 1, 0.0),
        ([1, 2, 4], 0, 0.0), ([4, 2, 1], 2, 0.0), ([1, 1, 1], 1, 0.0), ([1, 2, 1], 1, 0.0),
    ):  # fmt: skip
        assert _dip(np.array(costs, float), best) == pytest.approx(off)


def test_what_two_curves_from_rest_leave_of_each_moment():
    """Against numpy's least squares over the columns themselves: a level; after the moment a square
    and a cube; before it a square where four messages tell it, a cube where seven do."""
    rng = np.random.default_rng(2)
    t = np.arange(14) * 0.01
    x = 20.0 + np.where(t > 0.06, 30 * (t - 0.06) ** 2, 0.0) + 0.003 * rng.standard_normal(14)
    weight = 1.0 / (0.001 + 0.02 * t)
    moments = np.arange(0.005, 0.13, 0.01)
    found = _rest_costs(t[None, :] - moments[:, None], x, weight)
    for moment, cost in zip(moments, found, strict=True):
        u, told = t - moment, int((t < moment).sum())
        after, before = np.maximum(u, 0), np.minimum(u, 0)
        columns = [np.ones(14), after**2, after**3]
        columns += [before**2] * (told >= 4) + [before**3] * (told >= 7)
        table = np.transpose(columns) * weight[:, None]
        table /= np.linalg.norm(table, axis=0)
        wanted = (x - x.mean()) * weight
        off = table @ np.linalg.lstsq(table, wanted, rcond=None)[0] - wanted
        assert cost == pytest.approx(off @ off, rel=1e-4)


@pytest.mark.parametrize("stop_s", [0.02, 0.05])
def test_a_lag_that_grows_by_an_even_slowing_tells_its_moment(stop_s):
    """Behind by u^2 / (2 stop) while it slows and u - stop / 2 after; one message far off costs no
    more than 10 ms squared."""
    t = 3.0 + np.arange(50) * 0.005
    u = t - 3.1013
    lag_s = np.where(u <= 0, 0.0, np.where(u < stop_s, u * u / (2 * stop_s), u - stop_s / 2))
    at_s, cost = _taken(t, lag_s, stop_s)
    assert at_s == pytest.approx(3.1013, abs=1e-4)
    assert cost < 4e-6
    lag_s[5] = 0.5
    at_s, strayed = _taken(t, lag_s, stop_s)
    assert at_s == pytest.approx(3.1013, abs=1e-4)
    assert strayed - cost == pytest.approx(0.0001)
    # A moment is looked for from 20 ms on, each millisecond: of 22 ms there are less than three.
    assert _taken(t[:5], lag_s[:5], stop_s)[0] == pytest.approx(3.02, abs=0.001)
    assert _taken(np.array([3.0, 3.0215]), np.zeros(2), stop_s) == (3.0215, 0.0)


def test_ways_forward_of_3_5_hundredths_turned_at_both_ends():
    """Hundredths of a second of record: back by less than 3.5 and it goes on."""
    for hundredths, found in (
        ([0, 3, 0], []), ([0, 4, 0], [(0, 1)]), ([0, 4], [(0, 1)]), ([4, 0], []),
        ([2, 0, 0, 1, 4, 8, 5, 9, 9, 5, 2, 6, 1], [(2, 8), (10, 11)]),
        ([0, 4, 8, 4, 9], [(0, 2), (3, 4)]), ([0, 4, 8, 5, 9], [(0, 4)]), ([5, 1, 2, 3, 0, 3], []),
        ([0, 9, 3, -1, -2, 4], [(0, 1), (4, 5)]),
    ):  # fmt: skip
        assert _rises(np.array(hundredths) / 100.0) == found, hundredths


def test_the_slowest_of_a_way_and_where_it_is_parted():
    """Places in hundredths; 1.6 is below four tenths of 4.1 and not of 3.9."""
    x = np.array([0, 2, 4, 6, 7, 8, 10, 12, 14, 16], float) / 100.0
    t = np.arange(10) * 0.01

    def parted(slowest, before=4.1, after=5.0):
        speed = np.array([1, before, before, 2.5, slowest, 2.5, after, after, after, 1])
        return _parted(t, x, speed, 0, 9)

    assert parted(1.6) == [(0, 4), (4, 9)]
    assert parted(1.6, after=4.1) == [(0, 4), (4, 9)]
    assert parted(1.6, before=3.9) == [(0, 9)]
    assert parted(1.6, after=3.9) == [(0, 9)]
    assert parted(1.7) == [(0, 9)]
    speed = np.array([9, 8, 7, 6, 5, 5, 6, 7, 8, 9.0])
    assert _slowest(x, speed, 2, 9) == 5
    assert _slowest(x, speed, 5, 9) == 5
    # Where the next slower one is 3.5 hundredths off or more, it is not come to.
    assert _slowest(np.arange(10) * 0.04, speed, 2, 9) == 2
    assert _slowest(np.arange(10) * 0.02, speed, 2, 9) == 5
