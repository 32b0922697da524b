"""One stroke from rest to rest, worked by hand.

Half the way at a = 80 turns/s2, half braking: way = a (t / 2)^2. At the limit v = 4.5 turns/s the
way is v^2 / a = 20.25 / 80 = 0.253125 turns.
"""

import numpy as np
import pytest

from liveaid.record.strokes import (
    spin_back_place,
    stroke_place,
    stroke_s,
)

HAND = {"turns_per_s": 4.5, "turns_per_s2": 80.0}


@pytest.mark.parametrize(
    ("turns", "seconds"),
    [
        (0.0, 0.0),
        (0.2, 0.1),  # 2 sqrt(0.2 / 80) = 2 x 0.05
        (-0.2, 0.1),
        (0.253125, 0.1125),  # 2 x 4.5 / 80; the other branch says 0.05625 + 0.05625
        (0.45, 0.15625),  # 0.45 / 4.5 + 4.5 / 80 = 0.1 + 0.05625
        (-0.9, 0.25625),  # 0.2 + 0.05625
    ],
)
def test_the_least_time_of_a_stroke(turns, seconds):
    assert stroke_s(turns, **HAND) == pytest.approx(seconds, abs=1e-9)


def test_an_unhurried_stroke_goes_with_the_least_jerk():
    # Flash and Hogan 1985, x(u) = 10 u^3 - 15 u^4 + 6 u^5: at a quarter 0.15625 - 0.05859375
    # + 0.005859375 = 0.103515625; at the half 1.25 - 0.9375 + 0.1875 = 0.5.
    place = stroke_place(np.array([-0.2, 0.0, 0.25, 0.5, 0.75, 1.0, 1.3]))
    assert place == pytest.approx([0, 0, 0.103515625, 0.5, 0.896484375, 1, 1], abs=1e-12)


def test_its_fastest_moment_is_the_middle_at_fifteen_eighths_of_the_mean():
    # x'(u) = 30 u^2 (1 - u)^2: 30 / 16 = 1.875; at a quarter 30 x 0.0625 x 0.5625 = 1.0546875.
    at, step = np.array([-0.1, 0.0, 0.25, 0.5, 0.75, 1.0, 1.2]), 1e-4
    speed = (stroke_place(at + step) - stroke_place(at - step)) / (2.0 * step)
    assert speed == pytest.approx([0, 0, 1.0546875, 1.875, 1.0546875, 0, 0], abs=1e-6)


def test_a_thrown_record_slows_evenly():
    # x(u) = u (2 - u): 0.25 x 1.75 = 0.4375, 0.5 x 1.5 = 0.75.
    place = spin_back_place(np.array([-1.0, 0.0, 0.25, 0.5, 1.0, 2.0]))
    assert place == pytest.approx([0, 0, 0.4375, 0.75, 1, 1], abs=1e-12)
