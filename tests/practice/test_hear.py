"""When a hand did what, from records drawn by hand two hundred times a second, within 2 ms.

A push goes from rest to rest as 3 s^2 - 2 s^3 of its way (a hand's, from memory: least jerk has
about that shape). A hand that takes a running record slows it evenly: behind by u^2 / (2 stop).
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice import hear
from liveaid.practice.hear import (
    STROKE_S,
    Release,
    _behind,
    _dip,
    _onset,
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
from liveaid.practice.motion import Motion, Phase, SpeedLine, motion
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
    """(a - c) / (2 (a - 2 b + c)) of a step from the middle one of a, b, c; lower than b there by a
    quarter of that times a - c."""
    for costs, best, off, low in (
        ([4, 1, 2], 1, 0.25, 0.875), ([2, 1, 4], 1, -0.25, 0.875), ([9, 4, 1, 2], 2, 0.25, 0.875),
        ([3, 1, 3], 1, 0.0, 1.0), ([1, 2, 4], 0, 0.0, 1.0), ([4, 2, 1], 2, 0.0, 1.0),
        ([1, 1, 1], 1, 0.0, 1.0), ([1, 2, 1], 1, 0.0, 2.0),
    ):  # fmt: skip
        assert _dip(np.array(costs, float), best) == pytest.approx((off, low))


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
    assert cost == pytest.approx(0.0, abs=5e-8)
    lag_s[5] = 0.5
    at_s, strayed = _taken(t, lag_s, stop_s)
    assert at_s == pytest.approx(3.1013, abs=1e-4)
    assert strayed - cost == pytest.approx(0.0001, rel=0.01)
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
    # Just as far is none yet, and no way back either.
    assert _rises(STROKE_S * np.array([0, 1, 0])) == []
    assert _rises(STROKE_S * np.array([0, 2, 1, 4])) == [(0, 3)]


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
    # Just as long as a stroke a part is one, before and after.
    ways = 5.0 + STROKE_S * np.array([0, 0.5, 1, 2, 4])
    assert _parted(t[:5], ways - 5.0, np.array([9, 9, 1, 9, 9.0]), 0, 4) == [(0, 2), (2, 4)]
    # Three in one way, 8 hundredths from place to place; the last slow one is its end.
    ways, speed = 5.0 + 0.08 * np.arange(10), np.array([5, 9, 9, 1, 9, 9, 2, 9, 9, 0.0])
    assert _parted(t, ways, speed, 0, 9) == [(0, 3), (3, 6), (6, 9)]
    assert _slowest(np.arange(10) * 0.001, np.arange(10, 0, -1.0), 2, 9) == 9
    speed = np.array([9, 8, 7, 6, 5, 5, 6, 7, 8, 9.0])
    assert _slowest(x, speed, 2, 9) == 5
    assert _slowest(x, speed, 5, 9) == 5
    # Where the next slower one is 3.5 hundredths off or more, it is not come to.
    assert _slowest(np.arange(10) * 0.04, speed, 2, 9) == 2
    assert _slowest(np.arange(10) * 0.02, speed, 2, 9) == 5


def marked(*phases, x=None):
    """Messages each 5 ms that run at 1 from 10.0 on, cut into phases by hand: (does, from, to)."""
    x = 10.0 + T if x is None else x
    found = tuple(
        Phase(does, start_s, end_s, 10.0 + start_s, 10.0 + end_s, 0, 0, bool(jumped))
        for does, start_s, end_s, *jumped in phases
    )
    return Motion(T, x, np.ones(len(T)), 0.005, 0.001, found)


def test_which_messages_tell_when_a_record_was_let_go():
    """The first 45 ms are left out, of a short run a third; 1.2 s at most; after a jump all tells.
    It came from where it stood before, or where it jumped to."""
    record = marked(
        ("stands", 0.0, 1.99), ("runs", 2.0, 5.0), ("moves", 5.0, 6.0), ("runs", 6.0, 6.09),
        ("stands", 6.1, 6.2), ("runs", 6.3, 7.0, True), ("moves", 7.0, 7.1), ("runs", 7.2, 7.205),
    )  # fmt: skip
    found = releases(record)
    heard = [(one.line.t0_s, one.line.lasts_s, one.from_s, one.start_s, one.end_s) for one in found]
    assert heard == [
        pytest.approx((2.645, 1.2, 11.99, 2.0, 5.0)), pytest.approx((6.06, 0.06, 16.0, 6.0, 6.09)),
        pytest.approx((6.65, 0.7, 16.3, 6.3, 7.0)),
    ]  # fmt: skip
    assert near(found, 12.0, within_s=12.0 - found[0].from_s) == found[:1]
    assert near(found, 20.0, within_s=4.5) == [found[1], found[2]]
    at = Release(SpeedLine(0.0, 0.0, 1.0), 3.0, 0.0, 1.0)
    assert [near([at], cue, within_s=1.0) for cue in (2.0, 4.0, 4.1)] == [[at], [at], []]


def test_which_messages_tell_when_a_record_was_taken(monkeypatch):
    """The last 45 ms before the hand shows are left out, of a short run a third; 1.2 s at most."""
    asked = []
    monkeypatch.setattr(hear, "_line", lambda _, *span: asked.append(span))
    record = marked(
        ("runs", 1.0, 4.0), ("moves", 4.0, 4.1), ("runs", 5.0, 5.09), ("stands", 5.1, 5.5),
        ("runs", 6.0, 6.5), ("runs", 6.5, 7.0), ("stands", 7.0, 7.5, True), ("runs", 7.6, 7.9),
    )  # fmt: skip
    assert takes_of_hand(record) == []
    assert asked == [pytest.approx((2.755, 3.955)), pytest.approx((5.0, 5.06))]


def test_how_far_behind_its_line_a_record_is_about_a_taking():
    """From .16 s before to .12 s after. Its line passes 13.0 at 3 s at a speed of 2: where it was
    .02 s of record behind, that is .01 s. Pulled back it says no more: held until 3.05 s."""
    x = np.minimum(13.0 + 2.0 * (T - 3.0), 13.0 + 2.0 * 0.02)
    x[T > 3.052] -= 0.02
    t, lag_s = _behind(marked(x=x - 0.02), SpeedLine(3.0, 13.0, 2.0), 3.0)
    assert (t[0], t[-1]) == pytest.approx((2.84, 3.05))
    assert lag_s == pytest.approx(np.where(t <= 3.02, 0.01, 0.01 + t - 3.02))
    t, _ = _behind(marked(), SpeedLine(3.0, 13.0, 1.0), 3.0)
    assert (t[0], t[-1]) == pytest.approx((2.84, 3.115))


@pytest.mark.parametrize("stop_s", [0.0212, 0.0438])
def test_a_taking_is_told_to_a_fifth_of_a_millisecond_between_stops(stop_s):
    """How long the hand took lies between the steps that are tried, 2.5 ms apart."""
    x = np.full(len(T), 10.0)
    for start_s in (1.0, 5.0):
        u = np.clip(T - start_s - 2.0, 0.0, stop_s)
        x += np.clip(T - start_s, 0.0, 2.0) + u - u * u / (2 * stop_s)
    assert takes_of_hand(of(x)) == pytest.approx([3.0, 7.0], abs=2e-4)


def test_three_moments_are_enough_to_choose_from():
    """From 20 ms on, each millisecond below the last message: 3.020, 3.021 and 3.022 s."""
    assert _taken(np.array([3.0, 3.01, 3.0225]), np.zeros(3), 0.04)[0] == pytest.approx(3.022)


def onset_by_steps(t, x, speed, low, high, interval_s, jitter_s, *, whole):
    """A push's begin worked out another way: its bounds looked for message by message, numpy's
    least squares at each millisecond, a parabola through the lowest three."""
    way = x[high] - x[low]
    floor = x[low] + (0.006 if way > 0.06 else 0.1 * way)
    rough = max(k for k in range(low, high + 1) if x[k] <= floor)
    half = min(k for k in range(rough, high + 1) if x[k] >= x[low] + way / 2)
    first_s = max([0.060, 7 * interval_s] + [0.4 * (t[high] - t[rough])] * whole)
    soon = min(k for k in range(len(t)) if t[k] >= t[rough] + first_s)
    ends = max(min(half, soon), min(rough + 4, high))
    slow = t[rough] - t[low] + 0.03
    reach = max(0.03, 2 * interval_s, 0.12 if slow > 0.12 else slow)
    begins = min(
        k for k in range(len(t)) if t[k] >= t[rough] - max(0.05, 4 * interval_s, reach + 0.02)
    )
    begins = max([begins] + [k + 1 for k in range(begins, rough) if x[k] > x[low] + 0.3 * way])
    t, x, speed, at = t[begins : ends + 1], x[begins : ends + 1], speed[begins : ends + 1], t[rough]
    if len(t) < 5:
        return at
    weight = 1.0 / (0.0007 + abs(speed) * jitter_s)

    def cost(moment):
        u = t - moment
        told = int((u < 0).sum())
        columns = [np.ones(len(u)), np.maximum(u, 0) ** 2, np.maximum(u, 0) ** 3]
        columns += [np.minimum(u, 0) ** 2] * (told >= 4) + [np.minimum(u, 0) ** 3] * (told >= 7)
        table = np.transpose(columns) * weight[:, None]
        table /= np.maximum(np.linalg.norm(table, axis=0), 1e-12)
        wanted = (x - x.mean()) * weight
        return float(((table @ np.linalg.lstsq(table, wanted, rcond=1e-9)[0] - wanted) ** 2).sum())

    moments = [at - reach + k / 1000 for k in range(math.ceil(1500 * reach - 1e-6))]
    costs = [cost(moment) for moment in moments]
    best = costs.index(min(costs))
    if best in (0, len(costs) - 1):
        return moments[best]
    a, b, c = costs[best - 1 : best + 2]
    return moments[best] + 0.0005 * (a - c) / (a - 2 * b + c)


@pytest.mark.parametrize(
    ("interval_s", "lasts_s", "way_s", "back_s"),
    [
        (0.005, 0.1, 0.05, 0.4), (0.005, 0.1, 0.3, 0.4), (0.005, 0.9, 0.2, 0.4),
        (0.005, 0.3, 0.3, 0.0), (0.005, 1.8, 0.3, 0.02), (0.02, 0.2, 0.2, 0.4),
        (0.02, 0.5, 0.2, 0.0), (0.03, 0.3, 0.3, 0.05), (0.01, 0.05, 0.3, 0.4),
    ],
)  # fmt: skip
@pytest.mark.parametrize("whole", [True, False])
def test_where_a_push_begins_is_a_fit_of_curves_from_rest(
    interval_s, lasts_s, way_s, back_s, whole
):
    """Fast and slow pushes, far and near, pulled back `back_s` before; messages 1 ms jittered."""
    t = np.arange(0.0, 4.0, interval_s)
    s = np.clip((t - 1.503) / lasts_s, 0.0, 1.0)
    before = np.clip((t - 1.503 + back_s + 0.2) / 0.2, 0.0, 1.0)
    x = 10.0 + way_s * (3 * s**2 - 2 * s**3) - 0.4 * (3 * before**2 - 2 * before**3)
    t = t + 0.001 * np.random.default_rng(7).random(len(t))
    speed = np.gradient(x, t)
    ((low, high),) = _rises(x)
    told = SimpleNamespace(interval_s=interval_s, jitter_s=0.001)
    found = _onset(t, x, speed, low, high, told, whole=whole)
    wanted = onset_by_steps(t, x, speed, low, high, interval_s, 0.001, whole=whole)
    assert found == pytest.approx(wanted, abs=2e-5)
