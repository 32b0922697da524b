"""A record under a hand. Times and speeds without a source are common practice."""

import numpy as np
import pytest

from liveaid.simulate.line import MotionLine
from liveaid.simulate.turntable import Record, wind_lasts_s

# IEC 60098: 33 1/3 turns a minute, so 1.8 s a turn; 45 turns a minute, so 4/3 s.
LP_TURN_S, SINGLE_TURN_S = 1.8, 60.0 / 45.0


def _record(x_s=10.0, turn_s=LP_TURN_S):
    return Record(t_s=0.0, x_s=x_s, turn_s=turn_s)


def test_released_record_runs_on_the_line_it_was_meant_to():
    record = _record()
    onset, line = record.let_go(MotionLine(2.0, 10.0, 1.012))
    record.go_on(5.0)
    track = record.track()
    assert line.at(2.0) == 10.0
    assert 1.9 < onset < 2.0
    assert track.position_s(np.array([4.0]))[0] == pytest.approx(10.0 + 2.0 * 1.012)
    assert track.position_s(np.array([onset]))[0] == 10.0


def test_record_never_runs_backward_while_the_slipmat_catches_it():
    record = _record()
    record.let_go(MotionLine(2.0, 10.0, 1.0))
    record.go_on(3.0)
    speed = record.track().speed_at(np.arange(0.0, 3.0, 0.001))
    assert speed.min() >= 0.0
    assert speed.max() <= 1.0 + 1e-9


def test_record_not_yet_back_is_let_go_late_and_says_so():
    record = _record()
    record.go_on(2.5)
    onset, line = record.let_go(MotionLine(2.0, 10.0, 1.0))
    assert onset == 2.5
    assert line.when(10.0) > 2.5


def test_record_that_runs_cannot_be_let_go_again():
    record = _record()
    record.let_go(MotionLine(1.0, 10.0, 1.0))
    with pytest.raises(ValueError, match="held"):
        record.let_go(MotionLine(2.0, 11.0, 1.0))


def test_taken_record_stands_after_half_its_way():
    # Even braking takes half the way of even speed in the same time (textbook).
    record = _record()
    record.let_go(MotionLine(1.0, 10.0, 1.0))
    record.take(2.0, stop_s=0.1)
    assert record.now_s == pytest.approx(2.1)
    assert record.x_s == pytest.approx(11.0 + 0.05)


@pytest.mark.parametrize("turn_s", [LP_TURN_S, SINGLE_TURN_S])
@pytest.mark.parametrize("turns", [-9.0, -1.0, 0.4, 3.0, 20.0])
def test_winding_goes_past_its_cue_and_ends_on_it(turns, turn_s):
    record = _record(60.0, turn_s)
    cue = 60.0 + turns * turn_s
    record.wind(cue, turns_per_s=4.0, over_turns=0.15, waver=[1.0])
    at = np.arange(0.0, record.now_s + 0.5, 0.001)
    past = np.sign(turns) * (record.track().position_s(at) - cue)
    assert record.x_s == cue
    assert past.max() == pytest.approx(0.15 * turn_s, rel=0.02)


@pytest.mark.parametrize("turn_s", [LP_TURN_S, SINGLE_TURN_S])
def test_long_winding_goes_at_the_hands_turns_a_second(turn_s):
    record = _record(0.0, turn_s)
    record.wind(40.0 * turn_s, turns_per_s=4.0, over_turns=0.1, waver=[1.0])
    turned = record.track().position_s(np.array([2.0, 7.0])) / turn_s
    assert turned[1] - turned[0] == pytest.approx(4.0 * 5.0, rel=1e-6)


@pytest.mark.parametrize("turns", [-30.0, 2.0, 11.0])
def test_winding_takes_as_long_as_was_reckoned(turns):
    record = _record(100.0)
    record.wind(100.0 + turns * 1.8, turns_per_s=3.0, over_turns=0.1, waver=[0.7, 1.3])
    reckoned = wind_lasts_s(turns * 1.8, turns_per_s=3.0, turn_s=1.8, over_turns=0.1)
    assert record.now_s == pytest.approx(reckoned, abs=0.01)


@pytest.mark.parametrize("to_s", [12.0, 8.0])
def test_stroke_is_no_faster_than_a_hand(to_s):
    record = _record()
    record.stroke(to_s, 0.01)
    speed = record.track().speed_at(np.arange(0.0, 2.0, 0.0005))
    assert np.abs(speed).max() == pytest.approx(6.0, rel=1e-3)
