"""How belief moves: nothing is lost, a rate of any fraction moves it by just that much."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.follow.axis import axis_of
from liveaid.follow.motion import Motion
from liveaid.routine import Routine

MAP = Routine.model_validate(
    {
        "title": "Two",
        "pieces": [
            {"name": "A", "bars": 8, "tempo": 120, "count": "left",
             "left": {"hand": "runs", "at": 1.0}},
            {"name": "B", "bars": 1, "tempo": 90},
        ],
    }
)  # fmt: skip
AXIS = axis_of(MAP)


def _mean_beat(motion, belief):
    first, end = AXIS.first[1], AXIS.first[2]
    part = belief[first:end]
    return float(np.arange(end - first) @ part / part.sum() + motion.offset[1]) / 8


@given(st.floats(0.005, 0.05), st.floats(0.5, 4.0))
def test_belief_moves_at_its_rate_whatever_the_step(step_s, rate_bps):
    motion = Motion(AXIS)
    belief = np.zeros(AXIS.size)
    belief[AXIS.first[1] + 8] = 1.0
    steps = int(4.0 / rate_bps / step_s)
    rates = np.where(AXIS.beats > 0, rate_bps, 0.0)
    for _ in range(steps):
        belief = motion.moved(belief, rates, step_s)
    assert _mean_beat(motion, belief) == pytest.approx(1.0 + rate_bps * step_s * steps, abs=0.02)


@given(st.lists(st.tuples(st.floats(-3.0, 5.0), st.floats(0.0, 2.0)), max_size=20))
def test_moving_and_leaping_keep_a_distribution(moves):
    motion = Motion(AXIS)
    belief = np.full(AXIS.size, 1.0 / AXIS.size)
    for rate_bps, seconds in moves:
        belief = motion.moved(belief, np.where(AXIS.beats > 0, rate_bps, 0.0), seconds)
        belief = motion.leapt(belief, seconds, np.ones(AXIS.size))
        assert belief.min() >= 0.0
        assert belief.sum() == pytest.approx(1.0, abs=1e-9)


def test_a_set_piece_ends_in_the_next():
    motion = Motion(AXIS)
    belief = np.zeros(AXIS.size)
    belief[AXIS.first[1]] = 1.0
    rates = np.where(AXIS.beats > 0, 2.0, 0.0)
    belief = motion.moved(belief, rates, 17.0)
    assert belief[AXIS.first[2] : AXIS.first[3]].sum() > 0.99


def test_an_unplaced_routine_is_refused_with_its_set_piece():
    unplaced = {"title": "T", "pieces": [{"name": "Loose end", "bars": 1, "tempo": 90,
                "left": {"hand": "runs"}}]}  # fmt: skip
    with pytest.raises(ValueError, match=r"Loose end.*placed map"):
        axis_of(Routine.model_validate(unplaced))
