"""Times to bring a record to its cue, worked by hand from the table's figures.

By hand: 0.5 s x log2(12 turns + 1) / log2(13) for a way within reach, 0.75 turns, and the same as
settling beyond it, a whole turn counting as the most, with turns / 3 turns a second to wind it:
log2(13) = 3.70044.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.record.bring import Bringing, bring, by_hand_s, settle_s, turns_in
from liveaid.record.figures import COMMON, FIGURES
from liveaid.record.places import SAME_S, has_left_course, is_there, on_course, stands_at
from liveaid.routine.model import Performer

HANDS = Performer()


@pytest.mark.parametrize(
    ("turns", "settles"),
    [
        (0.0, 0.0),
        (-0.25, 0.27024),  # log2(3 + 1) = 2; 0.5 x 2 / 3.70044
        (0.125, 0.17862),  # log2(1.5 + 1) = 1.32193; 0.5 x 1.32193 / 3.70044
        (1.0, 0.5),
        (-40.0, 0.5),
    ],
)
def test_settling_depends_on_the_way(turns, settles):
    assert settle_s(turns, HANDS) == pytest.approx(settles, abs=1e-5)


def test_a_quarter_turns_back_cue_fits_a_beat_at_120_and_an_eighth_fits_half_a_beat():
    # 0.27024 s of 0.5 s; 0.17862 s of 0.25 s.
    assert by_hand_s(-0.25, HANDS) == pytest.approx(0.27024, abs=1e-5)
    assert by_hand_s(-0.125, HANDS) == pytest.approx(0.17862, abs=1e-5)


def test_beyond_reach_a_record_is_taken_anew_and_wound():
    # 0.75 turns: 0.5 x log2(10) / 3.70044 = 0.44886 s; 0.76: 0.25333 + 0.5 x log2(10.12) / 3.70044.
    assert by_hand_s(0.75, HANDS) == pytest.approx(0.44886, abs=1e-5)
    assert by_hand_s(0.76, HANDS) == pytest.approx(0.25333 + 0.45119, abs=1e-5)
    # A thousand millionth of a turn more than the reach is the reach.
    assert by_hand_s(0.75 + 1e-9, HANDS) == pytest.approx(0.44886, abs=1e-5)
    far = Performer.model_validate({"reach": 1})
    assert by_hand_s(0.76, far) == pytest.approx(0.45119, abs=1e-5)


def test_no_settling_time_is_quicker_than_the_fastest_stroke():
    # 0.2 turns at 80 turns/s2, half speeding up and half braking: 2 sqrt(0.2 / 80) = 0.1 s.
    assert by_hand_s(0.2, Performer.model_validate({"settle_time": 0})) == pytest.approx(0.1)


def test_the_needle_lands_two_turns_off_and_is_quicker_from_eleven_turns_on():
    # 3 s + 2 / 3 + 0.5 = 4.1667 s; by hand 11 / 3 + 0.5 = 4.1667 s as well.
    assert bring(30.0, HANDS).by_needle_s == pytest.approx(4.16667, abs=1e-5)
    assert (bring(10.9, HANDS).means, bring(11.1, HANDS).means) == ("by hand", "needle")
    assert bring(11.1, HANDS).needed_s == pytest.approx(4.16667, abs=1e-5)
    assert Bringing(by_hand_s=4.0, by_needle_s=4.0).means == "by hand"


def test_a_performer_who_lands_on_the_groove_sets_it_so():
    exact = Performer.model_validate({"needle_turns": 0, "needle_time": 2})
    assert bring(30.0, exact).needed_s == 2.0


@given(st.floats(0.0, 60.0))
def test_the_turns_that_fit_a_time_take_that_time(seconds):
    turns = turns_in(seconds, HANDS)
    if turns == pytest.approx(0.75):  # a little farther, it would have to be wound
        assert by_hand_s(0.75, HANDS) - 1e-6 <= seconds <= 0.75 / 3 + 0.44886
    else:
        assert by_hand_s(turns, HANDS) == pytest.approx(seconds, abs=1e-6)


@given(st.floats(-60.0, 60.0), st.floats(-60.0, 60.0))
def test_a_farther_way_never_takes_less(one, other):
    near, far = sorted((one, other), key=abs)
    assert by_hand_s(near, HANDS) <= by_hand_s(far, HANDS) + 1e-12


def test_every_figure_has_a_unit_and_a_source_and_every_setting_is_the_performers():
    known = {field.alias or name for name, field in Performer.model_fields.items()}
    for name, figure in FIGURES.items():
        assert figure.unit, name
        assert COMMON in figure.source or "from memory" in figure.source, name
        assert figure.setting is None or figure.setting in known, name


def test_the_performers_own_figures_start_from_the_table():
    table = [figure for figure in FIGURES.values() if figure.setting]
    for figure in table:
        fields = Performer.model_fields.items()
        default = next(f.default for n, f in fields if (f.alias or n) == figure.setting)
        assert default == figure.value


def test_ready_is_thirty_degrees_of_the_sticker_and_standing():
    # 30 degrees at 33 1/3 are 1.8 s / 12 = 0.15 s of record.
    assert stands_at(10.15, 10.0, 0.0)
    assert not stands_at(10.16, 10.0, 0.0)
    assert not stands_at(10.0, 10.0, 1.0)


def test_there_by_itself_is_ten_degrees():
    # 10 degrees are 1.8 s / 36 = 0.05 s.
    assert is_there(10.05, 10.0)
    assert not is_there(10.06, 10.0)


def test_a_running_record_is_on_course_when_what_is_left_brings_it_to_its_cue():
    # 20 s before its cue, at nominal speed, 20 s to go; stopped it is 20 s short of it.
    assert on_course(30.0, 50.0, 1.0, 20.0)
    assert not on_course(30.0, 50.0, 0.0, 20.0)
    # 0.15 s + 3 % of 20 s = 0.75 s off may be.
    assert on_course(30.7, 50.0, 1.0, 20.0)
    assert not on_course(30.8, 50.0, 1.0, 20.0)
    assert math.isfinite(settle_s(0.0, HANDS))


def test_a_record_is_off_its_course_only_half_a_turn_beyond_what_may_be():
    # 20 s before its cue at nominal speed: 0.9 s + 3 % of 20 s = 1.5 s may be off, either way.
    assert not has_left_course(31.4, 50.0, 1.0, 20.0)
    assert has_left_course(31.6, 50.0, 1.0, 20.0)
    assert not has_left_course(28.6, 50.0, 1.0, 20.0)
    assert has_left_course(28.4, 50.0, 1.0, 20.0)
    # Past its cue there is no more than the half turn: 0.9 s. It runs on, 2 s late, 2 s farther.
    assert not has_left_course(52.8, 50.0, 1.0, -2.0)
    assert has_left_course(53.0, 50.0, 1.0, -2.0)


def test_two_places_of_a_sound_are_one_within_a_tenth_of_a_millisecond():
    # 5 samples at 48 kHz are 0.104 ms, 4 are 0.083 ms.
    assert 4 / 48000 < SAME_S < 5 / 48000


def test_a_record_turned_back_slowly_stands_and_one_turned_back_fast_does_not():
    # Under 0.3 of nominal a record counts as held, in either direction.
    assert stands_at(9.85, 10.0, -0.29)
    assert not stands_at(9.84, 10.0, 0.0)
    assert not stands_at(10.0, 10.0, -0.31)
    assert not stands_at(10.0, 10.0, 0.31)


def test_there_is_no_way_in_no_time():
    assert turns_in(0.0, HANDS) == turns_in(-1.0, HANDS) == 0.0


def test_a_record_that_a_hand_takes_may_pass_its_cue_sooner_than_it_is_due():
    """From 48 s at its own speed it passes 50 s in two seconds; due in three, it is taken there up
    to one and a half sooner, or left to run past by a second."""
    assert on_course(48.0, 50.0, 1.0, 3.0, 1.5)
    assert not on_course(48.0, 50.0, 1.0, 3.0, 0.5)
    assert not on_course(48.0, 50.0, 1.0, 3.0)
