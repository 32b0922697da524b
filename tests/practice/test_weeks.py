"""Weeks, plateaus and a plan back from a date, worked out by hand."""

from datetime import date, datetime

import pytest

from liveaid.practice.next import outlook
from liveaid.practice.records import PieceRow
from liveaid.practice.weeks import plan_back, plateau, weeks

DAY_S = 86400.0
MONDAY = datetime(2026, 3, 2, 12).timestamp()


def rows(week, cleans, *, spread=12.0, part=1.0):
    return [
        PieceRow(take=k, at=MONDAY + 7 * DAY_S * week + 600 * k, aim="Pestle", tempo_part=part,
                 name="Pestle", clean=clean, missed=0, added=0, bias_ms=4.0, spread_ms=spread)
        for k, clean in enumerate(cleans)
    ]  # fmt: skip


def test_a_weeks_figures():
    (first, second) = weeks(rows(1, [True, False, True]) + rows(0, [False] * 4, part=0.92))
    assert (first.monday, second.monday) == (date(2026, 3, 2), date(2026, 3, 9))
    assert (first.takes, first.rate.takes, first.tempo_part) == (4, 0, None)
    assert (second.rate.clean, second.rate.takes) == (2, 3)
    assert (second.bias_ms, second.spread_ms, second.tempo_part) == (4.0, 12.0, 1.0)


def made(*rates, spreads=None):
    """A week each: so many clean of ten."""
    found = []
    for week, clean in enumerate(rates):
        spread = spreads[week] if spreads else 12.0
        found += rows(week, [True] * clean + [False] * (10 - clean), spread=spread)
    return weeks(found)


def test_six_weeks_alike_are_a_plateau_and_say_so():
    assert plateau(made(4, 5, 4, 5, 4, 5)).startswith("no gain in 3 weeks (14 clean of 30)")


def test_who_gets_better_or_steadier_or_is_well_stands_on_no_plateau():
    assert plateau(made(2, 3, 3, 7, 8, 8)) == ""
    assert plateau(made(4, 5, 4, 5, 4, 5, spreads=[20, 20, 20, 15, 15, 15])) == ""
    assert plateau(made(10, 10, 10, 10, 10, 10)) == ""
    assert plateau(made(4, 5)) == ""  # too short to say


def test_a_plan_back_from_a_date_ends_light_and_has_run_throughs_in_its_last_third(spice_row):
    found = outlook(spice_row, [], [], now=MONDAY)
    plan = plan_back(found, today=date(2026, 3, 11), stage=date(2026, 3, 20))
    assert [one.day for one in plan] == [date(2026, 3, day) for day in range(11, 20)]
    assert [one.what[0] == "run-through" for one in plan] == [False] * 6 + [True] * 3
    assert plan[-1].takes == 2
    assert set(plan[0].what) <= {"Lids", "Pestle", "Mortar twins", "Lids down"}
    assert plan_back(found, today=date(2026, 3, 20), stage=date(2026, 3, 20)) == ()


def test_a_plateau_is_told_from_three_weeks_of_ten_takes():
    assert plateau(made(4, 5, 4, 5))  # three weeks and one before them
    assert plateau(made(4, 5, 4)) == ""
    # Nine takes of three a week say nothing.
    few = [week for k in range(6) for week in weeks(rows(k, [True, False, False]))]
    assert plateau(few) == ""


def test_only_the_last_three_weeks_and_the_three_before_count():
    """Well a long time ago, and better of late: 2 of 10 each, then 7 or 8. And the other way round
    nothing was gained, whatever came first."""
    assert plateau(made(9, 2, 2, 2, 7, 8, 8)) == ""
    assert plateau(made(1, 8, 7, 8, 5, 4, 5)).startswith("no gain in 3 weeks (14 clean of 30)")


@pytest.mark.parametrize(("spread", "says"), [(10.7, ""), (10.9, "no gain")])
def test_a_spread_less_by_a_tenth_is_a_gain(spread, says):
    found = plateau(made(4, 5, 4, 5, 4, 5, spreads=[12, 12, 12, spread, spread, spread]))
    assert found.startswith(says)
    assert bool(found) is bool(says)


def test_a_higher_rung_is_a_gain():
    slow = [row for week in range(6) for row in rows(week, [False] * 10)]
    rung = [row for week in range(3) for row in rows(week, [True], part=0.92)]
    up = [row for week in range(3, 6) for row in rows(week, [True], part=0.94)]
    same = [row for week in range(3, 6) for row in rows(week, [True], part=0.92)]
    assert plateau(weeks(slow + rung + up)) == ""
    assert plateau(weeks(slow + rung + same)).startswith("no gain in 3 weeks (0 clean of 30)")


def test_a_weeks_highest_clean_tempo_and_its_days():
    """2 March 2026 is a Monday; Sunday the 8th still belongs to it (ISO 8601 weeks)."""
    sunday = [row._replace(at=MONDAY + 6 * DAY_S) for row in rows(0, [True], part=0.96)]
    slower = rows(0, [True], part=0.9) + rows(0, [False], part=0.98)
    (week,) = weeks([*sunday, *slower])
    assert (week.monday, week.takes, week.tempo_part) == (date(2026, 3, 2), 3, 0.96)
    (almost,) = weeks(rows(0, [True], part=0.995))
    assert almost.rate.takes == 1


def planned(spice_row, days):
    found = outlook(spice_row, [], [], now=MONDAY)
    first = date(2026, 3, 11)
    return plan_back(found, today=first, stage=date(2026, 3, 11 + days))


def test_a_plan_goes_through_what_is_weak_in_turns(spice_row):
    """Nine days, a third of them for run-throughs: six days of three set pieces each, the next
    three every day; four set pieces, so day by day 0 1 2, 3 0 1, 2 3 0, 1 2 3."""
    names = ("Lids", "Pestle", "Mortar twins", "Lids down")
    plan = planned(spice_row, 9)
    turns = [tuple(names.index(name) for name in one.what) for one in plan[:6]]
    assert turns == [(0, 1, 2), (3, 0, 1), (2, 3, 0), (1, 2, 3), (0, 1, 2), (3, 0, 1)]
    assert {(one.takes, one.why) for one in plan[:6]} == {(25, "furthest from ready")}
    assert [(one.what, one.takes, one.why) for one in plan[6:]] == [
        (("run-through", "Lids"), 4, "as it will be"),
        (("run-through", "Lids"), 4, "as it will be"),
        (("run-through",), 2, "the day before: light"),
    ]


@pytest.mark.parametrize(("days", "runs"), [(1, 1), (2, 1), (3, 1), (4, 2), (6, 2), (7, 3)])
def test_a_third_of_the_days_begun_is_for_run_throughs(spice_row, days, runs):
    whats = [one.what[0] == "run-through" for one in planned(spice_row, days)]
    assert whats == [False] * (days - runs) + [True] * runs
