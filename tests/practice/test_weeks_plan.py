"""A session's turns: what gains most, for how long, and when hands rest; worked out by hand."""

from __future__ import annotations

from types import SimpleNamespace

from liveaid.practice.records import PieceRow
from liveaid.practice.stretch import transition_name
from liveaid.practice.weeks_plan import PracticePlan, Turn, plan_of


def standing(name, gain, *, takes=0, timed=True):
    return SimpleNamespace(name=name, gain=gain, why=f"{gain}", takes=takes, timed=timed)


def turns(routine, minutes, *standings, pieces=()):
    plan = plan_of(routine, SimpleNamespace(standings=standings), pieces, minutes)
    return [(turn.what, turn.lasts_s, turn.why) for turn in plan.turns]


def test_what_gains_most_takes_turns_of_five_minutes_and_hands_rest_after_25(spice_row):
    """The three with most to gain; a break of five minutes counts, and what is left ends it."""
    gains = {"Pestle": 0.5, "Lids": 0.9, "Lids down": 0.3, "Mortar twins": 0.4}
    four = [standing(name, gain) for name, gain in gains.items()]
    lids, pestle, twins = (
        ("Lids", 300.0, "0.9"),
        ("Pestle", 300.0, "0.5"),
        ("Mortar twins", 300.0, "0.4"),
    )
    rest = ("", 300.0, "hands off")
    whole = [lids, pestle, twins, lids, pestle, rest, twins, lids]
    assert turns(spice_row, 40, *four) == whole
    assert turns(spice_row, 32, *four) == [*whole[:6], ("Mortar twins", 120.0, "0.4")]
    assert turns(spice_row, 26, *four) == [*whole[:5], ("", 60.0, "hands off")]
    assert turns(spice_row, 25, *four) == whole[:5]
    assert turns(spice_row, 2, *four) == [("Lids", 120.0, "0.9")]


def test_a_way_into_a_set_piece_takes_turns_as_well(spice_row):
    """Never practised, it gains four fifths of what it leads to; else what its own takes leave: of
    one clean and one not the low end is .0945 (Wilson, by scipy), so .9055."""
    four = [standing("Lids", 0.1), standing("Pestle", 0.5, takes=3), standing("Mortar twins", 0.01),
            standing("Lids down", 0.02)]  # fmt: skip
    way = transition_name(spice_row, 0)
    never = "the way into it was never practised"
    assert turns(spice_row, 15, *four) == [
        ("Pestle", 300.0, "0.5"), (way, 300.0, never), ("Lids", 300.0, "0.1"),
    ]  # fmt: skip
    untimed = [four[0], standing("Pestle", 0.5, takes=3, timed=False), *four[2:]]
    assert [what for what, *_ in turns(spice_row, 10, *untimed)] == ["Pestle", "Lids"]
    row = PieceRow(1, 0.0, way, 1.0, "Lids", True, 0, 0, None, None)
    rows = [row, row._replace(name="Pestle"), row._replace(take=2),
            row._replace(take=2, name="Pestle", clean=False), row._replace(take=3, tempo_part=0.9),
            row._replace(take=4, aim="Lids")]  # fmt: skip
    assert turns(spice_row, 10, *four, pieces=rows) == [
        (way, 300.0, "1 clean of 2"), ("Pestle", 300.0, "0.5"),
    ]  # fmt: skip


def test_a_turn_is_over_when_its_time_is_up_and_says_what_is_next():
    plan = PracticePlan(turns=(Turn(what="Lids", lasts_s=300.0, why="late"),
                               Turn(what="", lasts_s=60.0, why="hands off")))  # fmt: skip
    assert plan.says == "Now Lids, 5 minutes: late."
    assert not plan.over(1e9)
    begun = plan.begun(100.0)
    assert (begun.over(399.9), begun.over(400.0)) == (False, True)
    rest = begun.moved_on(400.0)
    assert (rest.says, rest.turn.is_break) == ("Now a break, 1 minute: hands off.", True)
    done = rest.moved_on(460.0).moved_on(500.0)
    assert (done.at, done.turn, done.says, done.over(1e9)) == (
        2,
        None,
        "All of the plan is done.",
        False,
    )
