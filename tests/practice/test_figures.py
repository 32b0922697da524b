"""Clean rates, noise doses, tolerances and ladders, held against published figures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from liveaid.errors import UsageError
from liveaid.practice.act_score import ActScore
from liveaid.practice.care import (
    BREAK_S,
    HANDS_ON_S,
    HandsOn,
    allowed_h,
    dose_percent,
    noise_line,
)
from liveaid.practice.ladder import Ladder
from liveaid.practice.limits import Limits
from liveaid.practice.timing import timing
from liveaid.practice.wilson import clean_rate


# Newcombe, "Two-sided confidence intervals for the single proportion: comparison of seven
# methods" (Statistics in Medicine 17, 1998), table I, method 3 (score, no continuity correction).
@pytest.mark.parametrize(
    ("clean", "takes", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_clean_rate_gives_the_published_intervals(clean, takes, low, high):
    rate = clean_rate(clean, takes)
    assert (rate.low, rate.high) == pytest.approx((low, high), abs=6e-5)


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
       st.floats(0.5, 0.999))  # fmt: skip
def test_clean_rate_agrees_with_scipy(pair, confidence):
    clean, takes = pair
    theirs = binomtest(clean, takes).proportion_ci(confidence, method="wilson")
    ours = clean_rate(clean, takes, confidence=confidence)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_no_takes_leave_every_rate_possible():
    assert (clean_rate(0, 0).low, clean_rate(0, 0).high) == (0.0, 1.0)


@pytest.mark.parametrize(("clean", "takes"), [(-1, 3), (4, 3)])
def test_a_rate_that_cannot_be_is_refused(clean, takes):
    with pytest.raises(ValueError, match="no such rate"):
        clean_rate(clean, takes)


# NIOSH publication 98-126 (1998), table 1-1: level in dBA and the longest time allowed a day.
NIOSH = [(85, 8.0), (88, 4.0), (91, 2.0), (94, 1.0), (97, 0.5), (100, 0.25)]


@pytest.mark.parametrize(("level_dba", "hours"), NIOSH)
def test_allowed_time_is_the_tables(level_dba, hours):
    assert allowed_h(level_dba) == pytest.approx(hours)


@pytest.mark.parametrize(("level_dba", "hours"), NIOSH)
def test_the_tables_time_is_a_full_dose(level_dba, hours):
    assert dose_percent([(level_dba, hours)]) == pytest.approx(100.0)


def test_doses_of_several_spells_add_up():
    """NIOSH 98-126, section 1.1.3: D = (C1/T1 + C2/T2 + ...) x 100."""
    assert dose_percent([(85, 4), (94, 0.25), (100, 0.0625)]) == pytest.approx(100.0)


def test_levels_below_80_count_nothing_and_above_140_are_never_allowed():
    assert dose_percent([(79.9, 24)]) == 0.0
    assert dose_percent([(141, 0.001)]) == math.inf
    assert "nobody should be in this noise" in noise_line(141, 0.1)


def test_the_noise_line_defers_to_local_rules_and_a_clinician():
    for level in (70, 94, 120):
        line = noise_line(level, 0.5)
        assert "Local rules" in line or level > 140
        assert "clinician" in line


def test_a_break_is_due_after_hands_on_time_and_over_after_a_rest():
    hands, now = HandsOn(), 0.0
    while now < HANDS_ON_S + 1:
        hands, now = hands.moved(now), now + 1.0
    assert hands.break_due(now)
    assert not hands.break_due(now + BREAK_S + 1)
    assert hands.moved(now + BREAK_S + 1).since_break_s == 0.0


def test_time_with_hands_off_is_no_hands_on_time():
    hands = HandsOn().moved(0.0).moved(1.0).moved(100.0)
    assert hands.total_s == pytest.approx(1.0)


def error(seconds, beat_s=0.6, by="right"):
    return ActScore(kind="release", side="left", beat=0.0, outcome="heard",
               heard_s=1 + seconds, due_s=1.0, beat_s=beat_s, by=by)  # fmt: skip


def test_bias_and_spread_are_mean_and_standard_deviation():
    """By hand: 10, 20, 30, 40 ms: mean 25, squares 225 + 25 + 25 + 225, a third, its root."""
    found = timing([error(ms / 1000) for ms in (10, 20, 30, 40)])
    assert found.bias_ms == pytest.approx(25.0)
    assert found.spread_ms == pytest.approx(math.sqrt(500 / 3))
    assert found.worst_beats == pytest.approx(0.04 / 0.6)


def test_where_nothing_gave_the_count_there_is_spread_but_neither_early_nor_late():
    found = timing([error(ms / 1000, by=None) for ms in (100, 110, 120)])
    assert found.bias_ms is None
    assert found.spread_ms == pytest.approx(10.0)


def test_default_tolerance_lies_where_people_are():
    """Beside published figures, at 100 BPM (600 ms a beat).

    Friberg and Sundberg 1995: just noticed at 2.5 % of the beat. Repp 2005: trained tappers spread
    by about 2 % of the beat, and few by more than 4 % (from memory).
    """
    allowed = Limits()
    assert allowed.bias_beats <= 0.025
    assert 0.02 < allowed.spread_beats <= 0.04
    assert allowed.worst_beats > 2 * allowed.spread_beats  # one act of 20 lies beyond two spreads


@given(st.floats(0.3, 1.0), st.floats(0.005, 0.2), st.floats(1.0, 50.0), st.lists(st.booleans()))
def test_the_ladder_never_asks_for_a_pitch_beyond_the_fader(start, step, reach, takes):
    ladder = Ladder(
        full_tempo_bpm=96.0, pitch_range_percent=reach, start_part=start, step_part=step
    )
    for clean in takes:
        ladder = ladder.after(clean=clean)
        assert -reach - 1e-6 <= ladder.pitch_percent <= 0.0
        assert ladder.tempo_bpm == pytest.approx(96.0 * (1 + ladder.pitch_percent / 100))
    assert ladder.parts[-1] == 1.0
    assert list(ladder.parts) == sorted(set(ladder.parts))


def test_the_ladder_goes_up_after_clean_takes_in_a_row_and_down_after_misses():
    ladder = Ladder(full_tempo_bpm=100.0, pitch_range_percent=50, start_part=0.8, step_part=0.1,
                    up_after=2, down_after=2)  # fmt: skip
    assert (ladder.part, ladder.pitch_percent) == (0.8, pytest.approx(-20.0))
    ladder = ladder.after(clean=True).after(clean=False).after(clean=True).after(clean=True)
    assert ladder.part == 0.9  # the miss in between broke the first row
    ladder = ladder.after(clean=False).after(clean=False)
    assert ladder.part == 0.8
    assert ladder.after(clean=False).after(clean=False).part == 0.8  # nothing below the first rung


def test_a_start_beyond_the_fader_starts_where_the_fader_ends_and_says_so():
    ladder = Ladder(full_tempo_bpm=92.0, pitch_range_percent=8.0, start_part=0.7)
    assert ladder.held_up
    assert ladder.pitch_percent == pytest.approx(-8.0)


@pytest.mark.parametrize("start", [0.0, 1.2, -1.0])
def test_a_ladder_that_cannot_be_is_refused(start):
    with pytest.raises(UsageError, match="100 %"):
        Ladder(full_tempo_bpm=92.0, pitch_range_percent=8.0, start_part=start)


def test_a_ladders_rungs_are_even_steps_and_a_step_of_nothing_is_none():
    ladder = Ladder(full_tempo_bpm=92.0, pitch_range_percent=50.0, start_part=0.6, step_part=0.07)
    assert ladder.parts == (0.6, 0.65, 0.72, 0.79, 0.86, 0.93, 1.0)  # .58 would be below the start
    with pytest.raises(UsageError, match="a step above 0 %"):
        Ladder(full_tempo_bpm=92.0, pitch_range_percent=8.0, start_part=0.7, step_part=0.0)
