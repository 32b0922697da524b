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
        (1.2, 0.6, "1 clean of 3, 1 day ago"),
        (3.0, 0.4, "1 clean of 3, 3 days ago, not due yet"),
        (8.0, 1.0, "1 clean of 3, 8 days ago"),
    ],
)
def test_why_a_set_piece_is_worth_practising_never_says_that_it_is_not(days, spaced, why):
    assert _why(clean_rate(1, 3), days, spaced, 0) == why
