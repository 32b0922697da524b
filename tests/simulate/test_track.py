"""A record's curve, against scipy's own Hermite spline and the textbook's parabola."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from liveaid.simulate.line import MotionLine
from liveaid.simulate.track import Track, TrackBuilder

FIGURE = st.floats(-50, 50)
KNOTS = st.lists(st.tuples(st.floats(0.01, 5), FIGURE, FIGURE), min_size=2, max_size=12)


# scipy.interpolate.CubicHermiteSpline is the reference.
@given(KNOTS)
def test_curve_is_the_hermite_spline(knots):
    steps, x, v = (np.array(column) for column in zip(*knots, strict=True))
    t = np.cumsum(steps)
    track, spline = Track(t, x, v), CubicHermiteSpline(t, x, v)
    at = np.linspace(t[0], t[-1], 57)[1:-1]
    assert track.position_s(at) == pytest.approx(spline(at), abs=1e-6)
    assert track.speed_at(at) == pytest.approx(spline(at, 1), rel=1e-6, abs=1e-4)


def test_record_stands_still_before_and_after_all_that_was_set_down():
    builder = TrackBuilder(0.0, 2.0)
    builder.add(1.0, 3.0, 0.0)
    track = builder.track()
    assert track.position_s(np.array([-5.0, 9.0])).tolist() == [2.0, 3.0]


def test_jump_is_told_with_its_time_and_nothing_between():
    builder = TrackBuilder(0.0, 2.0)
    builder.add(1.0, 2.0, 0.0)
    builder.jump(40.0, 0.0)
    builder.add(2.0, 40.0, 0.0)
    track = builder.track()
    assert track.jumps_s().tolist() == [1.0]
    assert track.position_s(np.array([0.999999, 1.0, 1.5])).tolist() == [2.0, 40.0, 40.0]


# Even acceleration: s = v t + a t**2 / 2 (any mechanics textbook).
def test_line_is_the_parabola_of_even_acceleration():
    line = MotionLine(10.0, 5.0, 1.0, 0.5)
    assert line.at(14.0) == 5.0 + 1.0 * 4.0 + 0.5 * 0.5 * 16.0
    assert line.rate_at(14.0) == 3.0


@given(st.floats(0.5, 2), st.floats(-0.01, 0.01), st.floats(0, 20))
def test_line_finds_the_time_of_every_place_it_passes(rate, gain, later):
    line = MotionLine(3.0, 7.0, rate, gain)
    assert line.when(line.at(3.0 + later)) == pytest.approx(3.0 + later, abs=1e-6)


def test_line_that_stops_short_never_gets_there():
    # 1 s of record a second, braked by 0.5 a second: stands after v**2 / (2 a) = 1 s of record.
    line = MotionLine(0.0, 0.0, 1.0, -0.5)
    assert line.when(0.99) < 2.0
    assert line.when(1.01) == np.inf
