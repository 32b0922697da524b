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
    DayOfHands,
    HandsOn,
    allowed_h,
    dose_percent,
    noise_line,
)
from liveaid.practice.ladder import Ladder
from liveaid.practice.limits import LEVELS, Limits
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


@pytest.mark.parametrize(
    ("off_s", "since_s"),
    [(0.5, 1.5), (2.0, 3.0), (2.5, 1.0), (299.0, 1.0), (300.0, 0.0), (400.0, 0.0)],
)
def test_hands_off_for_two_seconds_is_no_work_and_for_five_minutes_a_break(off_s, since_s):
    """A second of work, and then so long off: up to 2 s count as work, 5 min begin anew."""
    hands = HandsOn().moved(10.0).moved(11.0).moved(11.0 + off_s)
    assert hands.since_break_s == pytest.approx(since_s)
    assert hands.total_s == pytest.approx(1.0 + (off_s if off_s <= 2 else 0.0))


def test_a_break_is_due_after_25_minutes_of_work():
    at_work = HandsOn(since_break_s=1500.0, total_s=2000.0, last_moved_s=5000.0)
    assert at_work.break_due(5001.0)
    assert at_work.break_due(5299.9)
    assert not at_work.break_due(5300.0)  # five minutes off are the break
    assert not HandsOn(1499.9, 2000.0, 5000.0).break_due(5001.0)
    assert not HandsOn(since_break_s=1500.0).break_due(0.0)


# NIOSH 98-126: 80 dBA is the lowest level that counts, 8 h x 2 ** (5 / 3) = 25.4 h; 140 dBA the
# highest, 8 h / 2 ** (55 / 3) = 0.087 s.
@pytest.mark.parametrize(
    ("level_dba", "hours"), [(80.0, 25.398), (140.0, 8.0 / 2 ** (55 / 3)), (82.0, 16.0)]
)
def test_the_levels_that_count_go_from_80_to_140(level_dba, hours):
    assert allowed_h(level_dba) == pytest.approx(hours, rel=1e-4)


def test_no_time_at_a_forbidden_level_is_no_dose():
    assert dose_percent([(150.0, 0.0), (85.0, 8.0)]) == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("level_dba", "hours", "says"),
    [
        (85.0, 2.0, "85 dBA: 25 % of the daily dose, 6 h 00 min left today."),
        (94.0, 0.25, "94 dBA: 25 % of the daily dose, 45 min left today."),
        (91.0, 1.0, "91 dBA: 50 % of the daily dose, 1 h 00 min left today."),
        (88.0, 2.75, "88 dBA: 69 % of the daily dose, 1 h 15 min left today."),
        (94.0, 1.0, "94 dBA: 100 % of the daily dose, over the daily limit: stop, or turn down."),
        (94.0, 1.5, "94 dBA: 150 % of the daily dose, over the daily limit: stop, or turn down."),
        (79.0, 9.0, "79 dBA: below the levels the dose counts."),
        (141.0, 0.1, "141 dBA: nobody should be in this noise at all."),
    ],
)
def test_a_days_noise_in_words(level_dba, hours, says):
    assert noise_line(level_dba, hours).startswith(f"{says} A dose by NIOSH 98-126")
    day = DayOfHands(hours * 3600.0, level_dba)
    assert day.noise == noise_line(level_dba, hours)
    assert day.dose_percent == dose_percent([(level_dba, hours)])


def test_without_a_level_nothing_is_said_of_the_noise():
    assert (DayOfHands(3600.0).noise, DayOfHands(3600.0).dose_percent) == (None, None)


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


def ladder_of(**more):
    return Ladder(full_tempo_bpm=120.0, pitch_range_percent=8.0, **more)


def test_a_ladder_in_two_per_cent_steps_unless_told_otherwise():
    """Wanted from 70 % up, but the fader ends at 92 %: five rungs, three clean takes for each."""
    ladder = ladder_of()
    assert ladder.parts == (0.92, 0.94, 0.96, 0.98, 1.0)
    assert ladder.says == "Pitch -8.0 %: 110.4 BPM, 92% of full tempo."
    two = ladder.after(clean=True).after(clean=True)
    assert (two.rung, two.clean_run) == (0, 2)
    up = two.after(clean=True)
    assert (up.rung, up.clean_run, up.missed_run) == (1, 0, 0)
    one = up.after(clean=False)
    assert (one.rung, one.missed_run) == (1, 1)
    assert (one.after(clean=True).missed_run, one.after(clean=False).rung) == (0, 0)


def test_a_ladder_that_one_take_moves():
    """The least that would do: a clean take up, a missed one down."""
    ladder = ladder_of(up_after=1, down_after=1).after(clean=True)
    assert ladder.rung == 1
    assert ladder.after(clean=False).rung == 0
    for slip in ({"up_after": 0}, {"down_after": 0}, {"step_part": -0.1}):
        with pytest.raises(UsageError, match="runs of 1 take or more"):
            ladder_of(**slip)


def test_the_top_of_a_ladder_is_full_tempo_and_stays():
    ladder = ladder_of(start_part=1.0)
    assert (ladder.parts, ladder.at_top, ladder.held_up) == ((1.0,), True, False)
    top = ladder.after(clean=True).after(clean=True).after(clean=True)
    assert (top.rung, top.clean_run, top.pitch_percent) == (0, 3, 0.0)
    assert ladder_of().stepped(9).at_top
    assert ladder_of().stepped(9).stepped(-2).part == 0.96
    assert ladder_of().stepped(-1).rung == 0


def test_slower_decks_carry_the_rungs_the_fader_does_not_reach():
    """Decks made at 92 % of 120 BPM are at 110.4: bent down by 8 % they are at 101.568, 84.64 % of
    full tempo. The rung at 92 % is the first that the full decks reach: there they are at -8 %."""
    ladder = ladder_of(start_part=0.7, step_part=0.04, decks_parts=(1.0, 0.92))
    assert ladder.parts == (0.8464, 0.88, 0.92, 0.96, 1.0)
    assert ladder.held_up
    told = [
        (rung.decks_part, round(rung.pitch_percent, 3), round(rung.tempo_bpm, 3))
        for rung in (ladder.stepped(n) for n in range(3))
    ]
    assert told == [(0.92, -8.0, 101.568), (0.92, -4.348, 105.6), (1.0, -8.0, 110.4)]


# The limits themselves are each performer's; the levels are a half and twice a performer's, about
# (common practice, no source).
@pytest.mark.parametrize(
    ("level", "bias", "spread", "worst", "missed", "tempo", "wind"),
    [
        ("beginner", 0.05, 0.08, 0.2, 1, 5.0, 0.0),
        ("performer", 0.025, 0.04, 0.1, 0, 3.0, 0.0),
        ("competitor", 0.0125, 0.025, 0.0625, 0, 2.0, 1.0),
    ],
)
def test_what_each_level_lets_pass(level, bias, spread, worst, missed, tempo, wind):
    limits = LEVELS[level]
    assert (limits.bias_beats, limits.spread_beats, limits.worst_beats) == (bias, spread, worst)
    assert (limits.missed, limits.added, limits.tempo_percent) == (missed, missed, tempo)
    assert limits.wind_beats == wind


@pytest.mark.parametrize(
    ("acts", "spread", "beats"),
    [
        # 0.025 + 1.645 s / sqrt(n): s is half of 0.04 for fewer than three acts or steadier ones,
        # their own between, and 0.04 at most.
        (1, None, 0.025 + 1.645 * 0.02),
        (2, 0.04, 0.025 + 1.645 * 0.02 / math.sqrt(2)),
        (4, 0.03, 0.025 + 1.645 * 0.03 / 2),
        (4, 0.01, 0.025 + 1.645 * 0.02 / 2),
        (4, 0.09, 0.025 + 1.645 * 0.04 / 2),
        (3, 0.04, 0.025 + 1.645 * 0.04 / math.sqrt(3)),
        (100, 0.03, 0.025 + 1.645 * 0.03 / 10),
    ],
)
def test_how_far_a_mean_of_so_many_acts_may_be_off(acts, spread, beats):
    assert Limits().bias_of(acts, spread) == pytest.approx(beats)


# The chi-square table of any handbook: its upper 5 % lie beyond 3.841 (1), 11.070 (5), 18.307 (10).
@pytest.mark.parametrize(("free", "chi2"), [(1, 3.841), (5, 11.070), (10, 18.307)])
def test_how_far_acts_may_spread_before_their_limit_is_surely_passed(free, chi2):
    limit = Limits().spread_of(free)
    assert limit == pytest.approx(0.04 * math.sqrt(chi2 / free), rel=1e-4)


def test_limits_of_nothing_would_do_but_none_below():
    assert Limits(bias_beats=0.0, tempo_percent=0.0).bias_beats == 0.0
    with pytest.raises(ValueError, match="0 or more"):
        Limits(added=-1)
