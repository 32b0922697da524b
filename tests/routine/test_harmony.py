"""Harmony: pairs of sounds judged by hand, just within and just beyond each limit.

Equal temperament with A = 440 Hz (ISO 16): a semitone is 2 ** (1 / 12), a cent a hundredth of it.
The circle of fifths and closely related keys are any harmony handbook's (from memory).
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine.harmony import (
    Pitched,
    key_cost,
    meet,
    relation_cost,
    retunings,
    tempo_step,
)
from liveaid.routine.keys import Key, parse_key

C, A_MINOR = parse_key("C major"), parse_key("A minor")


@pytest.mark.parametrize(
    ("cents", "tuned"),
    [(0, "in tune"), (11.9, "in tune"), (12, "uneasy"), (-24.9, "uneasy"), (25, "out of tune")],
)
def test_how_well_in_tune_two_sounds_are(cents: float, tuned: str):
    met = meet(Pitched(C), Pitched(C, tuning_cents=cents))
    assert (met.tuned, met.relation) == (tuned, "same key")
    assert met.cents_off == pytest.approx(cents)


@pytest.mark.parametrize(
    ("other", "fifths", "rubs"),
    [("G major", 1, False), ("D major", 2, False), ("A major", 3, True), ("F# major", 6, True),
     ("A minor", 0, False), ("C minor", 3, False)],
)  # fmt: skip
def test_keys_rub_beyond_two_fifths_but_parallel_keys_do_not(other: str, fifths: int, rubs: bool):
    met = meet(Pitched(C), Pitched(parse_key(other)))
    assert (met.fifths, met.rubs) == (fifths, rubs)


def test_tuning_and_speed_add_up_to_what_is_heard():
    # 30 cents sharp, and slowed by 2 ** (-0.3 / 12) so that it falls 30 cents: C itself.
    key, cents = Pitched(C, tuning_cents=30.0, moved_semitones=-0.3).heard
    assert (str(key), cents) == ("C major", pytest.approx(0.0, abs=1e-9))
    # C at +0.77 semitones is 23 cents below C sharp.
    key, cents = Pitched(C, moved_semitones=0.77).heard
    assert (str(key), cents) == ("C# major", pytest.approx(-23.0))


def test_what_is_heard_is_written_with_its_cents():
    assert str(Pitched(C)) == "C major"
    assert str(Pitched(C, tuning_cents=0.4)) == "C major"
    assert str(Pitched(C, tuning_cents=0.5)) == "C major"
    assert str(Pitched(C, tuning_cents=0.6)) == "C major +1 cents"
    assert str(Pitched(C, tuning_cents=-3)) == "C major -3 cents"
    assert str(Pitched(C, tuning_cents=40)) == "C major +40 cents"
    assert str(Pitched(C, moved_semitones=0.77)) == "C# major -23 cents (from C major)"


def test_in_tune_means_in_a_key_that_goes_with_the_other():
    # C against C at +0.77 semitones. Down 77 cents is C: 2 ** (-0.77 / 12) - 1 = -4.35 %.
    # Up, C sharp (23 cents) rubs; D, two fifths away, is 123 cents: 2 ** (1.23 / 12) - 1 = +7.36 %.
    down, up = retunings(Pitched(C), Pitched(C, moved_semitones=0.77))
    assert (str(down.key), down.relation) == ("C major", "same key")
    assert down.percent == pytest.approx(-4.350, abs=1e-3)
    assert (str(up.key), up.relation) == ("D major", "2 fifths apart")
    assert up.percent == pytest.approx(7.363, abs=1e-3)


def test_two_sounds_moved_alike_stay_in_tune():
    met = meet(Pitched(A_MINOR, moved_semitones=1.33), Pitched(parse_key("E minor"), 0.0, 1.33))
    assert (met.relation, met.cents_off) == ("a fifth apart", pytest.approx(0.0))


@pytest.mark.parametrize(
    ("before", "after", "reading", "percent"),
    [
        (100, 108, Fraction(1), 8.0),
        (100, 125, Fraction(1), 25.0),  # as far as the plain reading is kept
        (70, 140, Fraction(2), 0.0),
        (140, 70, Fraction(1, 2), 0.0),
        (140, 72, Fraction(1, 2), 100 * (144 / 140 - 1)),
        (92, 140, Fraction(2), 100 * (70 / 92 - 1)),
    ],
)
def test_a_tempo_is_read_plain_half_or_double(
    before: float, after: float, reading: Fraction, percent: float
):
    step = tempo_step(before, after)
    assert (step.reading, step.percent) == (reading, pytest.approx(percent))


@given(st.integers(0, 11), st.integers(0, 11), st.floats(-50, 50), st.floats(-6, 6))
def test_who_is_asked_first_changes_only_the_sign(a: int, b: int, cents: float, moved: float):
    one, two = Pitched(Key(a, "major"), cents), Pitched(Key(b, "minor"), 0.0, moved)
    there, back = meet(one, two), meet(two, one)
    off = abs(there.cents_off)
    if off < 49.999:  # halfway between two keys either may be taken
        assert off == pytest.approx(abs(back.cents_off), abs=1e-6)
        assert there.fifths == back.fifths


@given(st.integers(0, 11), st.floats(-6, 6))
def test_every_retuning_ends_where_it_says(tonic: int, moved: float):
    sound, other = Pitched(C), Pitched(Key(tonic, "major"), moved_semitones=moved)
    for way in retunings(sound, other):
        added = 12.0 * math.log2(1.0 + way.percent / 100.0)
        met = meet(sound, Pitched(other.key, moved_semitones=moved + added))
        assert met.beside == way.key
        assert met.cents_off == pytest.approx(0.0, abs=1e-6)
        assert not met.rubs


def test_a_clash_costs_all_and_being_out_of_tune_adds():
    assert key_cost(C, C) == 0.0
    assert key_cost(C, C, cents=50) == 1.0
    assert key_cost(C, C, cents=27.5) == pytest.approx(0.5)  # halfway from 5 to 50


# Steps on the circle of fifths from C: G 1, D 2, A 3, E 4, B 5, F sharp 6; a minor counts as its
# relative major. The costs are common practice, no source.
@pytest.mark.parametrize(
    ("other", "costs"),
    [
        ("C major", 0.0), ("A minor", 0.05), ("C minor", 0.4),
        ("G major", 0.15), ("F major", 0.15), ("E minor", 0.25), ("D minor", 0.25),
        ("D major", 0.5), ("B minor", 0.5), ("A major", 0.75), ("F# minor", 0.75),
        ("E major", 0.9), ("B major", 1.0), ("F# major", 1.0),
    ],
)  # fmt: skip
def test_what_the_relation_of_two_keys_costs(other: str, costs: float):
    assert relation_cost(C, parse_key(other)) == pytest.approx(costs)
    assert relation_cost(parse_key(other), C) == pytest.approx(costs)


def test_being_out_of_tune_uses_up_what_the_relation_leaves():
    g = parse_key("G major")
    assert key_cost(C, g, cents=4.9) == pytest.approx(0.15)
    assert key_cost(C, g, cents=-27.5) == pytest.approx(0.15 + 0.85 / 2)
    assert key_cost(C, g, cents=-50) == 1.0


def test_two_tunings_are_told_apart_by_what_they_differ():
    assert meet(Pitched(C, 10.0), Pitched(C, 30.0)).cents_off == pytest.approx(20.0)
    assert meet(Pitched(C, 30.0), Pitched(C, 10.0)).cents_off == pytest.approx(-20.0)
    # In tune by moving the second by so much: 2 ** (-0.2 / 12) - 1 = -1.149 %.
    (nearest, _) = retunings(Pitched(C, 10.0), Pitched(C, 30.0))
    assert nearest.percent == pytest.approx(-1.149, abs=1e-3)


def test_the_smaller_move_is_told_first_whichever_way_it_goes():
    # 30 cents flat: up by 2 ** (0.3 / 12) - 1 = 1.748 % to C, or down 170 cents to B flat, 9.353 %.
    up, down = retunings(Pitched(C), Pitched(C, -30.0))
    assert (str(up.key), up.percent) == ("C major", pytest.approx(1.748, abs=1e-3))
    assert (str(down.key), down.percent) == ("Bb major", pytest.approx(-9.353, abs=1e-3))


def test_what_is_in_tune_needs_no_move():
    (only,) = retunings(Pitched(C), Pitched(C))
    assert (only.percent, only.relation) == (0.0, "same key")


@pytest.mark.parametrize(
    ("after", "reading", "percent"),
    [
        (75.0, Fraction(1), -25.0),  # 25 % down is still plain
        (74.0, Fraction(1), -26.0),  # 148 of 100 would be 48 %
        (60.0, Fraction(1, 2), 20.0),
        (126.0, Fraction(1), 26.0),  # double time would be 37 %
    ],
)
def test_a_tempo_is_read_the_nearest_way(after: float, reading: Fraction, percent: float):
    step = tempo_step(100.0, after)
    assert (step.reading, step.percent) == (reading, pytest.approx(percent))


def test_a_step_moves_a_key_by_its_semitones():
    # 12 log2(1.059463) is a semitone, 12 log2(0.943874) one down.
    assert tempo_step(100.0, 105.9463).semitones == pytest.approx(1.0, abs=1e-4)
    assert tempo_step(100.0, 94.3874).semitones == pytest.approx(-1.0, abs=1e-4)
