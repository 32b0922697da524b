"""The platter's arithmetic and the keys, against standards and handbook tables."""

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
    turn_s,
    turns,
)
from liveaid.routine.keys import Key, fifths_apart, parse_key, relation, shifted


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


# The circle of fifths as any harmony handbook prints it, from C clockwise (from memory).
CIRCLE = ["C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F"]
RELATIVE_MINORS = ["A", "E", "B", "F#", "C#", "G#", "Eb", "Bb", "F", "C", "G", "D"]


@pytest.mark.parametrize("step", range(12))
def test_the_circle_of_fifths_is_the_handbooks(step: int):
    home = parse_key("C major")
    assert fifths_apart(home, parse_key(f"{CIRCLE[step]} major")) == min(step, 12 - step)
    relative = parse_key(f"{RELATIVE_MINORS[step]} minor")
    assert relation(parse_key(f"{CIRCLE[step]} major"), relative) == "relative major and minor"


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        ("C major", "C major", "same key"),
        ("C major", "C minor", "parallel major and minor"),
        ("A minor", "E minor", "a fifth apart"),
        ("C major", "E minor", "neighbours by a fifth, other mode"),
        ("C major", "F# major", "6 fifths apart"),
    ],
)
def test_relations_are_named_as_a_handbook_names_them(a: str, b: str, said: str):
    assert relation(parse_key(a), parse_key(b)) == said
    assert relation(parse_key(b), parse_key(a)) == said


@pytest.mark.parametrize("text", ["", "H minor", "A", "A dorian", "A#b minor", "minor"])
def test_what_is_no_key_is_refused(text: str):
    with pytest.raises(ValueError, match="no such key"):
        parse_key(text)


@given(st.integers(0, 11), st.sampled_from(["major", "minor"]), st.integers(-24, 24))
def test_shifting_there_and_back_is_home(tonic: int, mode: str, by: int):
    key = Key(tonic, "major" if mode == "major" else "minor")
    assert shifted(shifted(key, by), -by) == key
    assert parse_key(str(key)) == key
