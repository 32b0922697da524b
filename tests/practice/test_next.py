"""What to practise next, and when a routine is ready for the stage."""

import pytest

from liveaid.practice.next import BLOCK, _why, outlook
from liveaid.practice.records import PieceRow, TakeRow
from liveaid.practice.wilson import clean_rate

DAY_S = 86400.0
NOW = 1_800_000_000.0


def rows(name, cleans, *, days_ago=0.01, aim=None, part=1.0):
    """Takes of one set piece, latest first."""
    return [
        PieceRow(take=k, at=NOW - days_ago * DAY_S - k, aim=name if aim is None else aim,
                 tempo_part=part, name=name, clean=clean, missed=0, added=0, bias_ms=3.0,
                 spread_ms=11.0)
        for k, clean in enumerate(cleans)
    ]  # fmt: skip


def runs(cleans):
    return [
        TakeRow(id=k, at=NOW - k, aim="", ended="complete", duration_s=36, tempo_part=1.0,
                clean=clean, run_through=True, first_piece=0)
        for k, clean in enumerate(cleans)
    ]  # fmt: skip


def look(routine, pieces, takes=(), **more):
    return outlook(routine, sorted(pieces, key=lambda row: -row.at), takes, now=NOW, **more)


def test_what_was_never_practised_comes_first(spice_row):
    found = look(spice_row, rows("Lids", [True] * 5) + rows("Pestle", [True] * 5))
    assert [one.name for one in found.order[:2]] == ["Mortar twins", "Lids down"]


def test_of_two_as_fresh_the_one_that_fails_more_comes_first(spice_row):
    pieces = [
        row
        for name, cleans in (
            ("Lids", [True] * 8), ("Pestle", [False] * 8), ("Mortar twins", [True, False] * 4),
            ("Lids down", [True] * 8),
        )
        for row in rows(name, cleans, aim="")
    ]  # fmt: skip
    assert [one.name for one in look(spice_row, pieces).order[:2]] == ["Pestle", "Mortar twins"]


def test_of_two_as_clean_the_one_longer_ago_comes_first(spice_row):
    ago = {"Lids": 0.1, "Pestle": 6, "Mortar twins": 1, "Lids down": 0.5}
    pieces = [
        row for name, days in ago.items() for row in rows(name, [True] * 6, days_ago=days, aim="")
    ]
    assert look(spice_row, pieces).order[0].name == "Pestle"


def test_after_a_block_of_one_set_piece_another_is_due(spice_row):
    """Interleaved: Shea and Morgan 1979."""
    pieces = rows("Pestle", [False] * BLOCK) + [
        row for name in ("Lids", "Mortar twins", "Lids down")
        for row in rows(name, [True, False] * 4, days_ago=0.5)
    ]  # fmt: skip
    found = look(spice_row, pieces)
    assert found.order[0].name != "Pestle"
    assert "let it rest" in next(one.why for one in found.standings if one.name == "Pestle")


def test_slow_rungs_do_not_count_for_the_stage(spice_row):
    found = look(spice_row, rows("Lids", [True] * 20, part=0.92))
    assert found.standings[0].rate.takes == 0
    assert found.standings[0].takes == 20


def test_ready_when_every_set_piece_and_run_throughs_are_sure_enough(spice_row):
    names = [piece.name for piece in spice_row.pieces]
    pieces = [row for name in names for row in rows(name, [True] * 12, aim="")]
    assert look(spice_row, pieces, runs([True] * 12)).stage_ready
    short = look(spice_row, pieces, runs([True] * 8))
    assert not short.stage_ready
    assert [line.split(":")[0] for line in short.missing] == ["run-throughs"]


def test_one_set_piece_not_sure_enough_holds_the_stage_back(spice_row):
    names = [piece.name for piece in spice_row.pieces]
    pieces = [row for name in names for row in rows(name, [name != "Lids"] + [True] * 12, aim="")]
    found = look(spice_row, pieces, runs([True] * 20), ready_at=0.6)
    assert not found.stage_ready
    assert [line.split(":")[0] for line in found.missing] == ["Lids"]


@pytest.mark.parametrize("level", [0.2, 0.9])
def test_the_level_is_the_performers_to_set(spice_row, level):
    names = [piece.name for piece in spice_row.pieces]
    pieces = [row for name in names for row in rows(name, [True] * 12, aim="")]
    assert look(spice_row, pieces, runs([True] * 12), ready_at=level).stage_ready == (level < 0.6)


def test_a_set_piece_that_can_not_be_judged_yet_says_what_would_help(spice_row):
    """A start alone can't be told from a delay: more clean takes of it would change nothing."""
    pieces = [row._replace(judged=False, clean=False) for row in rows("Lids", [False] * 8)]
    lids = look(spice_row, pieces).standings[0]
    assert lids.missing == (
        "Lids: mostly not judged; `liveaid rehearse --calibrate` tells delays from hands"
    )
    assert lids.why in lids.missing
    assert look(spice_row, pieces).order[0].name != "Lids"


def test_a_day_is_one_day(spice_row):
    found = look(spice_row, rows("Lids", [False], days_ago=1.2))
    assert found.standings[0].why == "0 clean of 1, 1 day ago"


@pytest.mark.parametrize(
    ("days", "spaced", "why"),
    [
        (0.2, 0.2, "1 clean of 3, played lately"),
        (0.99, 1.0, "1 clean of 3, played lately"),
        (1.0, 0.5, "1 clean of 3, 1 day ago"),
        (1.0, 0.49, "1 clean of 3, 1 day ago, not due yet"),
        (1.6, 1.0, "1 clean of 3, 2 days ago"),
        (1.2, 0.6, "1 clean of 3, 1 day ago"),
        (3.0, 0.4, "1 clean of 3, 3 days ago, not due yet"),
        (8.0, 1.0, "1 clean of 3, 8 days ago"),
    ],
)
def test_why_a_set_piece_is_worth_practising_never_says_that_it_is_not(days, spaced, why):
    assert _why(clean_rate(1, 3), days, spaced, 0) == why


# What there is to gain: (1 - low) (0.4 + 0.6 of how far it is due again), a quarter of it after
# four takes in a row, a fifth where nothing can be judged. Where all of n were clean the low end is
# n / (n + 3.8415) (Wilson 1927, z = 1.96), where none was it is 0.
@pytest.mark.parametrize(
    ("cleans", "days", "gain"),
    [
        ([True], 0.5, (1 - 1 / 4.8415) * 0.7),  # due again after a day: halfway
        ([True], 3.0, 1 - 1 / 4.8415),  # and long since: all of it
        ([True] * 2, 1.0, (1 - 2 / 5.8415) * 0.7),  # two in a row: after two days
        ([True] * 3, 1.0, (1 - 3 / 6.8415) * 0.7),
        ([True] * 4, 1.0, (1 - 4 / 7.8415) * 0.55),  # four: after four
        ([True] * 10, 8.0, (1 - 10 / 13.8415) * 0.7),  # sixteen days at most
        ([False, True, True, True], 0.5, None),  # the last one was not clean: after a day
        ([False] * 3, 0.5, 0.7),
    ],
)
def test_what_there_is_to_gain(spice_row, cleans, days, gain):
    lids = look(spice_row, rows("Lids", cleans, days_ago=days, aim="")).standings[0]
    assert lids.gain == pytest.approx(gain or (1 - clean_rate(3, 4).low) * 0.7, abs=1e-4)
    assert lids.days_since == pytest.approx(days)


@pytest.mark.parametrize(("takes", "share"), [(3, 1.0), (4, 0.25), (5, 0.25)])
def test_four_takes_in_a_row_are_a_block(spice_row, takes, share):
    lids = look(spice_row, rows("Lids", [False] * takes, days_ago=0.5)).standings[0]
    assert lids.gain == pytest.approx(0.7 * share, abs=1e-4)
    assert ("let it rest" in lids.why) == (share < 1)


def test_a_block_ends_where_another_was_practised(spice_row):
    """Three of Lids, one of Pestle, three of Lids: no block. A run-through between is no other."""
    pieces = rows("Lids", [False] * 3, days_ago=0.5) + rows("Pestle", [False], days_ago=0.6)
    found = look(spice_row, pieces + rows("Lids", [False] * 3, days_ago=0.7)).standings[0]
    assert found.gain == pytest.approx(0.7, abs=1e-4)
    between = rows("Lids", [False] * 2, days_ago=0.5) + rows("Lids", [False] * 2, days_ago=0.7)
    run = rows("Pestle", [False], days_ago=0.6, aim="")
    assert look(spice_row, between + run).standings[0].gain == pytest.approx(0.7 / 4, abs=1e-4)


def test_only_the_last_twenty_takes_at_full_tempo_count(spice_row):
    pieces = rows("Lids", [True] * 20) + rows("Lids", [False] * 5, days_ago=1)
    lids = look(spice_row, pieces).standings[0]
    assert (lids.rate.clean, lids.rate.takes, lids.takes) == (20, 20, 25)
    slow = [row._replace(bias_ms=9.0, spread_ms=30.0, missed=2) for row in rows("Lids", [True] * 2,
            part=0.9, days_ago=0.001)]  # fmt: skip
    lids = look(spice_row, slow + rows("Lids", [True] * 2)).standings[0]
    # Its figures are those at full tempo; what it misses counts at any.
    assert (lids.bias_ms, lids.spread_ms, lids.missed, lids.takes) == (3.0, 11.0, 1.0, 4)
    lids = look(spice_row, slow).standings[0]
    assert (lids.bias_ms, lids.spread_ms, lids.rate.takes) == (9.0, 30.0, 0)
    assert lids.why == "not yet at full tempo, played lately"
    almost = look(spice_row, rows("Lids", [True], part=0.995)).standings[0]
    assert almost.rate.takes == 1


@pytest.mark.parametrize(("not_judged", "unknown"), [(4, False), (5, True)])
def test_half_of_the_takes_must_be_judged(spice_row, not_judged, unknown):
    """Of eight: more than half without a verdict, and it is a fifth as much worth practising."""
    pieces = [
        row._replace(judged=False) if k < not_judged else row
        for k, row in enumerate(rows("Lids", [False] * 8, days_ago=0.5, aim=""))
    ]
    lids = look(spice_row, pieces).standings[0]
    assert lids.gain == pytest.approx(0.14 if unknown else 0.7, abs=1e-4)
    assert ("mostly not judged" in lids.missing) is unknown


def test_what_is_in_the_way_of_the_stage_says_how_much_more(spice_row):
    """Eleven clean takes in a row are enough at 60 % (test_ready.py): after seven, four more."""
    lids = look(spice_row, rows("Lids", [True] * 7)).standings[0]
    assert (lids.ready, lids.missing) == (False, "Lids: 4 more clean in a row would do")
    seldom = look(spice_row, rows("Lids", [False] * 60), ready_at=0.5).standings[0]
    assert seldom.missing == "Lids: clean too seldom to tell it from 50%"
    never = look(spice_row, []).standings[0]
    assert (never.missed, never.bias_ms, never.days_since, never.why) == (
        0.0, None, None, "never practised",
    )  # fmt: skip


def test_run_throughs_are_whole_takes_at_full_tempo_from_the_first_set_piece(spice_row):
    whole = runs([True])[0]
    takes = [
        whole,
        whole._replace(clean=False),
        whole._replace(run_through=False),  # clean, but given up
        whole._replace(aim="Lids"),
        whole._replace(tempo_part=0.99),
        whole._replace(first_piece=1),
    ]
    found = look(spice_row, [], takes)
    assert (found.run_throughs.clean, found.run_throughs.takes) == (1, 3)
    # Eleven in a row are enough; with one given up among them they are not.
    eleven = look(spice_row, [], runs([True] * 11))
    assert not any("run-throughs" in line for line in eleven.missing)
    given_up = [*runs([True] * 10), whole._replace(run_through=False)]
    assert any("run-throughs" in line for line in look(spice_row, [], given_up).missing)
