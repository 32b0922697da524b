"""The platter's arithmetic, against the standards."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.record.platter import (
    exact_rpm,
    pitch_percent,
    semitones,
    speed_ratio,
    sticker_degrees,
    sticker_place,
    turn_s,
    turns,
)


# IEC 60098 (analogue audio disk records): nominal speeds 33 1/3 and 45 turns a minute.
@pytest.mark.parametrize(
    ("rpm", "seconds"), [(100 / 3, 1.8), (33.333, 1.8), (33.3, 1.8), (33, 1.8), (45, 60 / 45)]
)
def test_a_turn_lasts_what_the_standards_speed_says(rpm: float, seconds: float):
    assert turn_s(rpm) == pytest.approx(seconds, abs=1e-12)


def test_a_rounded_speed_does_not_drift_the_sticker():
    assert sticker_degrees(180.0, 33.333) == pytest.approx(0.0, abs=1e-9)
    assert exact_rpm(45) == 45


def test_turns_are_signed():
    assert turns(-3.6, 100 / 3) == pytest.approx(-2.0)


# Equal temperament: a semitone is the twelfth root of two, 1.059463 (ISO 16 with 12 equal steps).
def test_pitch_costs_the_semitones_equal_temperament_says():
    assert semitones(1.08) == pytest.approx(1.332, abs=5e-4)
    assert semitones(1.05946309436) == pytest.approx(1.0, abs=1e-9)
    assert speed_ratio(1) == pytest.approx(1.0594631, abs=1e-7)
    assert speed_ratio(12) == 2.0


@given(st.floats(20, 300), st.floats(20, 300))
def test_pitch_brings_one_tempo_to_the_other(a: float, b: float):
    assert a * (1 + pitch_percent(a, b) / 100) == pytest.approx(b)
    assert pitch_percent(90.0, 99.0) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("cue_s", "rpm", "turn", "degrees"),
    [
        (0.0, 100 / 3, 0, 0),
        (1.8, 100 / 3, 1, 0),
        (79_380 * 37 / 44_100, 100 / 3, 37, 0),
        (2.7, 100 / 3, 1, 180),
        (6.3, 100 / 3, 3, 180),  # 3.5 turns: the half turn is not one more
        (4.0, 45, 3, 0),
        (5.39, 33, 2, 358),  # 2.9944 turns are 2 turns and 358.0 degrees
        (1.7999, 100 / 3, 1, 0),  # 0.02 degrees short of a turn is that turn
    ],
)
def test_turn_and_angle_are_those_of_the_platter(cue_s, rpm, turn, degrees):
    # 33 1/3 turns a minute are 1.8 s a turn, 45 are 1.3333 s (IEC 60098).
    assert sticker_place(cue_s, rpm) == (turn, degrees)
