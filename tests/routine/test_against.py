"""A new version against an old one, worked by hand: pieces of 8 s, 1.8 s a turn."""

import pytest

from liveaid.routine.arc import arc_energy
from liveaid.routine.check.against import against


def test_what_is_gained_and_lost_is_said_in_figures(routine, piece, runs, rests):
    # old: 5 turns back in 7.5 s, easy; new: the same cue reached by itself, and a bar longer.
    old = routine(
        piece(runs(10), rests, name="A"), piece(rests, runs(0), name="B"),
        piece(runs(9), rests, name="C"),
    )  # fmt: skip
    new = routine(
        piece(runs(10), rests, name="A"), piece(rests, runs(0), name="B"),
        piece(runs(26), rests, name="D", bars=5),
    )  # fmt: skip
    versions = against(new, old)
    assert (versions.old.turns, versions.new.turns) == (pytest.approx(5.0), 0.0)
    assert list(versions.says())[:5] == [
        "Left out: C.",
        "New: D.",
        "2.0 s longer: 0:26 against 0:24.",
        "5.0 turns less to wind: 0.0 in 0 changes against 5.0 in 1.",
        "Changes that come by themselves: 1 against 0.",
    ]


def test_the_same_version_gains_and_loses_nothing(routine, piece, runs, rests):
    r = routine(piece(runs(10), rests), piece(rests, runs(0)))
    assert list(against(r, r).says()) == ["Nothing is gained or lost: the figures are the same."]


def test_the_arc_is_the_ideas_own_where_it_has_one(routine, piece, runs, rests):
    r = routine(
        piece(runs(10), rests),
        idea={"wants": [{"part": "intro", "energy": 1}, {"part": "story", "energy": 5},
                        {"part": "outro", "energy": 3}]},
    )  # fmt: skip
    # wants stand at 1/6, 3/6, 5/6: half-way between the first two 3; before the first 1.
    assert [arc_energy(s, r) for s in (0.0, 1 / 3, 0.5, 2 / 3, 1.0)] == pytest.approx(
        [1.0, 3.0, 5.0, 4.0, 3.0]
    )
    # common practice: 3 at half, 5 at four fifths; 0.65 is half-way: 4.
    assert arc_energy(0.65) == pytest.approx(4.0)


def test_winds_that_are_not_known_are_not_said_to_be_saved(routine, piece, runs, rests):
    old = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(9), rests))
    new = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(), rests))
    told = [sentence for sentence in against(new, old).says() if "wind" in sentence]
    assert told == ["The winding cannot be set side by side: the new version is not laid out yet."]
