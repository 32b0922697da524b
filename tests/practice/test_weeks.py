"""Weeks, plateaus and a plan back from a date, worked out by hand."""

from datetime import date, datetime

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
