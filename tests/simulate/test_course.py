"""When each set piece is played and how fast, the hands' chance fixed: every leg by hand.

Set pieces of two bars of four at 120 BPM: 8 beats, 4 s of record.
"""

from dataclasses import replace

import pytest

from liveaid.routine import Routine
from liveaid.simulate import STEADY
from liveaid.simulate.course import Leg, lay_course
from liveaid.simulate.line import MotionLine
from liveaid.simulate.steps import Halt, Step, pause
from liveaid.simulate.turntable import MOTOR_START_S, MOTOR_STOP_S

HANDS = replace(STEADY, timing_error_s=0.02, pitch_error_percent=1.0, match_error_percent=0.5,
                pitch_drift_percent=0.2)  # fmt: skip


def routine_of(*pieces, **more) -> Routine:
    whole = [
        {"name": f"P{n}", "bars": 2, "tempo": 120} | piece for n, piece in enumerate(pieces)
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": whole} | more)


def runs(at):
    return {"hand": "runs", "at": at}


def laid(routine, rng, *steps, hands=HANDS):
    return lay_course(routine, [pause(1.0), *steps], hands, rng)


def line(t0_s, x0, rate, gain=0.0):
    return (pytest.approx(t0_s), pytest.approx(x0), pytest.approx(rate), pytest.approx(gain))


def told(motion):
    return (motion.t0_s, motion.x0, motion.rate, motion.gain)


def legs_told(leg: Leg):
    return {
        "step": (leg.step.piece, leg.from_beat, leg.to_beat, leg.how),
        "times": (leg.planned_s, leg.start_s, leg.end_s),
        "count": told(leg.count),
        "runs": {side: told(motion) for side, motion in leg.runs.items()},
        "anew": set(leg.anew),
    }


def test_records_are_let_go_late_and_fast_by_their_errors(chance):
    """All errors are one spread up. The first: .02 s late, at 1.01, .002 faster at its end: 4 s of
    record at 1.011 on the whole. The second is let go .02 s after that, .5 % faster than the one
    that runs beside it; that one goes on along its line. On the clock the third is on time."""
    routine = routine_of(
        {"count": "left", "left": runs(10.0)},
        {"count": "right", "left": runs(14.0), "right": runs(30.0)},
        {"count": "clock", "left": runs(50.0)},
    )
    found = laid(routine, chance(off=1.0), *(Step(n, to_beat=8.0) for n in range(3)))
    gain = 0.002 * 1.011 / 4.0
    first_ends = 1.02 + 4.0 / 1.011
    second = first_ends + 0.02
    flows = 1.012 + gain * 0.02
    rate = flows * 1.005
    gain_2 = 0.002 * (rate + 0.001) / 4.0
    second_ends = second + 4.0 / (rate + 0.001)
    assert [legs_told(leg) for leg in found] == [
        {"step": (-1, 0.0, 0.0, "stand"), "times": (0.0, 0.0, pytest.approx(1.02)),
         "count": (0.0, 0.0, 0.0, 0.0), "runs": {}, "anew": set()},
        {"step": (0, 0.0, 8.0, "flow"),
         "times": (1.0, pytest.approx(1.02), pytest.approx(second)),
         "count": line(1.02, 0.0, 2.02, 2 * gain), "runs": {"left": line(1.02, 10.0, 1.01, gain)},
         "anew": {"left"}},
        {"step": (1, 0.0, 8.0, "flow"),
         "times": (pytest.approx(first_ends), pytest.approx(second), pytest.approx(second_ends)),
         "count": line(second, 0.0, 2 * rate, 2 * gain_2),
         "runs": {"left": line(second, 14.0 + 0.02 * (1.012 + gain * 0.01), flows, gain_2),
                  "right": line(second, 30.0, rate, gain_2)},
         "anew": {"right"}},
        {"step": (2, 0.0, 8.0, "flow"),
         "times": (pytest.approx(second_ends), pytest.approx(second_ends),
                   pytest.approx(second_ends + 4.0 / 1.011)),
         "count": line(second_ends, 0.0, 2.02, 2 * gain),
         "runs": {"left": line(second_ends + 0.02, 50.0, 1.01 * 1.005, gain)}, "anew": {"left"}},
    ]  # fmt: skip


def test_a_count_that_runs_on_begins_as_its_first_beat_comes_by(chance):
    routine = routine_of({"count": "left", "left": runs(10.0)}, {"count": "left", "left": runs(14)})
    legs = laid(routine, chance(off=1.0), Step(0, to_beat=8.0), Step(1, to_beat=8.0))
    ends = 1.02 + 4.0 / 1.011
    assert (legs[2].planned_s, legs[2].start_s) == (pytest.approx(ends), pytest.approx(ends))
    # It goes on at the speed it has, and drifts on from there.
    assert legs[2].count.rate == pytest.approx(2 * 1.012)
    assert legs[2].anew == frozenset()


@pytest.mark.parametrize(
    ("off", "reach", "rate", "drift"),
    [(1.0, 0.5, 1.005, 0.0), (-1.0, 0.5, 0.995, 0.0), (1.0, 1.1, 1.01, 0.001),
     (-1.0, 1.1, 0.99, -0.001), (-1.0, 8.0, 0.99, -0.002)],
)  # fmt: skip
def test_speeds_stay_within_the_faders_reach(chance, off, reach, rate, drift):
    routine = routine_of({"count": "left", "left": runs(10.0)}, turntable={"pitch_range": reach})
    leg = laid(routine, chance(off=off), Step(0, to_beat=8.0))[1]
    gain = drift * (rate + drift / 2) / 4.0
    assert told(leg.runs["left"]) == line(1.0 + 0.02 * off, 10.0, rate, gain)


def test_in_less_than_a_second_of_record_a_speed_drifts_no_faster(chance):
    routine = routine_of({"count": "left", "left": runs(10.0)})
    leg = laid(routine, chance(off=1.0), Step(0, 7.0, 8.0))[1]
    assert told(leg.runs["left"]) == line(1.02, 13.5, 1.01, 0.002 * 1.011)
    assert told(leg.count) == line(1.02, 7.0, 2.02, 2 * 0.002 * 1.011)


@pytest.mark.parametrize(
    ("late_s", "goes_on"), [(0.2, True), (0.24, True), (0.26, False), (-0.24, True)]
)
def test_a_record_that_rested_goes_on_where_it_comes_to_its_cue_in_time(chance, late_s, goes_on):
    """Through a set piece of 4 s unheard; the other record, which has the count, is let go late."""
    routine = routine_of(
        {"count": "left", "left": runs(10.0)},
        {"count": "right", "right": runs(30.0)},
        {"count": "right", "left": runs(18.0), "right": runs(34.0)},
    )
    steps = [Step(n, to_beat=8.0) for n in range(3)]
    legs = laid(routine, chance(), *steps, hands=replace(STEADY, timing_bias_s=late_s))
    assert ("left" in legs[3].anew) is not goes_on
    assert "right" not in legs[3].anew


def test_a_record_goes_on_unheard_at_the_speed_of_the_one_beside_it(chance):
    """What runs unheard to its next cue is what the other is matched to."""
    routine = routine_of(
        {"count": "left", "left": runs(10.0)},
        {"count": "right", "right": runs(30.0)},
        {"count": "left", "left": runs(18.0)},
    )
    hands = replace(HANDS, pitch_drift_percent=0.0)
    legs = laid(routine, chance(off=1.0), *(Step(n, to_beat=8.0) for n in range(3)), hands=hands)
    assert legs[2].runs["right"].rate == pytest.approx(1.01 * 1.005)
    assert legs[3].anew == frozenset()
    plain = routine_of(
        {"count": "left", "left": runs(10.0)},
        {"count": "right", "right": runs(30.0)},
        {"count": "left", "left": runs(70.0)},
    )
    legs = laid(plain, chance(off=1.0), *(Step(n, to_beat=8.0) for n in range(3)), hands=hands)
    assert legs[2].runs["right"].rate == pytest.approx(1.01)


def test_after_the_needle_came_down_all_goes_on_at_the_speed_it_had(chance):
    """From beat 4 to 6 at once: 2.002 s of record into the set piece at 1.01 and its drift."""
    routine = routine_of({"count": "left", "left": runs(10.0), "right": runs(40.0)})
    legs = laid(routine, chance(off=1.0), Step(0, to_beat=4.0), Step(0, 6.0, 8.0, how="needle"))
    first, then = legs[1], legs[2]
    assert first.end_s == pytest.approx(1.02 + 2.0 / 1.011)
    assert told(then.count) == line(first.end_s, 6.0, 2 * 1.012)
    assert told(then.runs["left"]) == line(first.end_s, 13.0, 1.012)
    across = first.runs["right"]
    assert told(then.runs["right"]) == line(
        first.end_s, across.at(first.end_s), across.rate_at(first.end_s)
    )
    assert then.anew == frozenset({"left"})


def test_a_platter_is_braked_stands_and_starts_again(chance):
    """From beat 3: braked evenly it goes half as far as it would have; so as it starts again."""
    routine = routine_of({"count": "right", "left": runs(50.0), "right": runs(20.0)})
    step = Step(0, to_beat=8.0, halt=Halt(3.0, 2.5))
    _, before, brake, stand, up, on = laid(routine, chance(), step, hands=STEADY)
    stops_s = 2.5 + MOTOR_STOP_S
    starts_s, again_s = stops_s + 2.5, stops_s + 2.5 + MOTOR_START_S
    stood_s = 21.5 + MOTOR_STOP_S / 2
    up_s = stood_s + MOTOR_START_S / 2
    rows = [(leg.how, leg.start_s, leg.end_s, leg.from_beat, leg.to_beat, *told(leg.runs["right"]))
            for leg in (before, brake, stand, up, on)]  # fmt: skip
    beats = [3.0, 3.0 + MOTOR_STOP_S, 3.0 + MOTOR_STOP_S, 3.0 + MOTOR_STOP_S + MOTOR_START_S]
    expected = [
        ("flow", 1.0, 2.5, 0.0, 3.0, 1.0, 20.0, 1.0, 0.0),
        ("brake", 2.5, stops_s, 3.0, beats[1], 2.5, 21.5, 1.0, -1.0 / MOTOR_STOP_S),
        ("stand", stops_s, starts_s, beats[1], beats[2], stops_s, stood_s, 0.0, 0.0),
        ("spin up", starts_s, again_s, beats[2], beats[3], starts_s, stood_s, 0.0,
         1.0 / MOTOR_START_S),
        ("flow", again_s, again_s + (8.0 - beats[3]) / 2, beats[3], 8.0, again_s, up_s, 1.0, 0.0),
    ]  # fmt: skip
    for row, wanted in zip(rows, expected, strict=True):
        assert row[0] == wanted[0]
        assert row[1:] == pytest.approx(wanted[1:])
    assert {told(leg.runs["left"]) for leg in (brake, stand, up, on)} == {(1.0, 50.0, 1.0, 0.0)}
    assert {leg.planned_s == leg.start_s for leg in (brake, stand, up, on)} == {True}


def test_only_a_platter_with_the_count_is_braked(chance):
    routine = routine_of({"count": "clock", "left": runs(50.0)})
    with pytest.raises(ValueError, match="only a platter that carries the count"):
        laid(routine, chance(), Step(0, to_beat=8.0, halt=Halt(3.0, 1.0)), hands=STEADY)


def test_a_leg_says_what_a_hand_does_there_and_where_a_record_must_stand():
    routine = routine_of(
        {"count": "left", "left": runs(10.0), "right": {"hand": "works", "from": 5, "to": 6}}
    )
    leg = Leg(Step(0, 2.0, 8.0), routine.pieces[0], 0.0, 0.0, 3.0, 2.0, 8.0)
    assert (leg.index, leg.beat_s, leg.juggles) == (0, 0.5, False)
    assert (leg.wants_s("left"), leg.wants_s("right")) == (11.0, 5.0)
    assert leg.worked("right").to_s == 6.0
    with pytest.raises(ValueError, match="the left deck runs in set piece 0"):
        leg.worked("left")
    idle = Leg(pause(1.0), None, 0.0, 0.0, 1.0, 0.0, 0.0)
    assert (idle.index, idle.wants_s("left"), idle.juggles) == (-1, None, False)


# A quadratic's root, as any textbook has it: from 0, at 2 a second, braked by 1 a second: 1.5 are
# passed at 1 s, since 2 - 0.5 = 1.5, and 2 at 2 s, where it turns.
@pytest.mark.parametrize(("x", "t_s"), [(1.5, 1.0), (0.0, 0.0), (2.0, 2.0), (2.1, float("inf")),
                                        (-2.5, -1.0)])  # fmt: skip
def test_a_line_says_when_it_is_where(x, t_s):
    assert MotionLine(5.0, 7.0, 2.0, -1.0).when(7.0 + x) == pytest.approx(5.0 + t_s)
