"""Where a record is left, when it falls silent and when it is due again, by hand.

Set pieces of four bars at 120 BPM: 16 beats of half a second, 8 s.
"""

from __future__ import annotations

import pytest

from liveaid.routine.left import Left, by_itself, cue_of, left_at, runs_through
from liveaid.routine.timeline import (
    Moment,
    beat_before,
    enter_late_beats,
    falls_silent,
    lead_in_s,
    leave_early_beats,
    pick_up_beats,
    sounds_again,
    starts_s,
)

PLACES = {"a": {"from": 10.0, "to": 10.4}}


def acts(lines, **more):
    return {"hand": "works", "from": 10.0, "to": 13.0, "acts": lines, "places": PLACES, **more}


def test_where_a_set_piece_leaves_a_record(routine, piece, runs, works, rests):
    def left(mine, other=rests, **more):
        return left_at(routine(piece(mine, other, count="clock", **more)), "left", 0)

    assert left(runs(3.0)) == Left(11.0, runs=True)
    assert left(runs(3.0), bars=2) == Left(7.0, runs=True)
    assert left(rests) is None
    assert left(runs()) is None
    # A scratch ends at its cue; so does a juggled record that another takes over from.
    assert left(works(5, 6, cue=5.5)) == Left(5.5, runs=False)
    assert left(works(5, 6, strokes=[0, 4]), works(1, 2, strokes=[2, 6])) == Left(5, runs=False)
    # The last one let go, at beat 14, has a second left: 6.0 of 7.0, or the end of its span.
    last = works(1, 2, strokes=[2, 6])
    assert left(works(5, 7, strokes=[0, 14]), last) == Left(6.0, runs=True)
    assert left(works(5, 6, strokes=[0, 14]), last) == Left(6.0, runs=True)
    assert left(works(5, 5.96, strokes=[0, 14]), last) == Left(5.96, runs=True)  # 0.04 s short
    assert left(works(5, 5.94, strokes=[0, 14]), last) == Left(5.94, runs=False)
    assert left(works(5, 7, strokes=[0, 14]), works(1, 2)) == Left(5.0, runs=False)
    assert left(works(5, 7, strokes=[0, 14])) == Left(5.0, runs=False)
    # By its written acts: the last one says it.
    assert left(acts({0: "push a for 1"})) == Left(10.4, runs=False)
    assert left(acts({14: "let go for 2"})) == Left(pytest.approx(11.0), runs=True)
    assert left(acts({13: "let go for 2"})) == Left(pytest.approx(11.0), runs=False)


def test_where_a_record_must_stand(routine, piece, works, rests, runs):
    r = routine(piece(runs(3.0), rests), piece(works(5, 6, cue=5.5), rests),
                piece(acts({0: "pull a for 1"}), rests), piece(rests, rests))  # fmt: skip
    assert [cue_of(r, "left", n) for n in range(4)] == [3.0, 5.5, 10.4, None]


@pytest.mark.parametrize(
    ("cue_s", "comes"),
    [(13.96, True), (13.94, False), (14.0, True), (14.04, True), (14.06, False), (10.0, False)],
)
def test_a_record_comes_by_itself_to_what_it_runs_to(cue_s, comes):
    """Left running at 10 s, wanted 4 s later; where a hand takes it, up to a second after that."""
    assert by_itself(Left(10.0, runs=True), cue_s, rests_s=4.0) is comes
    assert not by_itself(Left(10.0, runs=False), cue_s, rests_s=4.0)
    assert by_itself(Left(10.0, runs=True), 15.04, rests_s=4.0, waits_s=1.0)
    assert not by_itself(Left(10.0, runs=True), 15.06, rests_s=4.0, waits_s=1.0)


def test_which_records_run_on_into_what(routine, piece, runs, rests):
    placed = routine(piece(runs(0), runs(50)), piece(runs(8), rests), piece(runs(20), rests),
                     piece(rests, rests), piece(runs(36), runs(82)))  # fmt: skip
    assert runs_through(placed) == {(1, "left"), (4, "left"), (4, "right")}
    sounds = {name: {"file": f"{name}.wav"} for name in "ab"}
    kinds = [
        (runs(sound="a"), runs(sound="a", bars_in=4), True),
        (runs(sound="a", bars_in=2), runs(sound="a", bars_in=6), True),
        (runs(sound="a"), runs(sound="a", bars_in=5), False),
        (runs(sound="a"), runs(sound="b", bars_in=4), False),
        (runs(), runs(bars_in=4), False),
    ]
    for before, after, goes in kinds:
        r = routine(piece(before, rests), piece(after, rests), sounds=sounds)
        assert runs_through(r) == ({(1, "left")} if goes else set())
    apart = routine(piece(runs(sound="a"), rests), piece(rests, rests),
                    piece(runs(sound="a", bars_in=4), rests), sounds=sounds)  # fmt: skip
    assert runs_through(apart) == frozenset()


def test_when_a_deck_falls_silent_and_is_due_again(routine, piece, runs, works, rests):
    def both(mine, other=rests):
        r = routine(piece(rests, rests), piece(mine, other, count="clock"))
        return falls_silent(r, 1, "left"), sounds_again(r, 1, "left")

    start, end = Moment(1, 0.0), Moment(1, 16.0)
    assert both(runs(3.0)) == (end, start)
    assert both(works(5, 6)) == (end, start)
    # A span of 1 s is two beats; where it is unknown one; the other takes over at beat 9.
    assert both(works(5, 6, strokes=[1.5, 8])) == (Moment(1, 10.0), Moment(1, 1.5))
    assert both(works(strokes=[1.5, 8])) == (Moment(1, 9.0), Moment(1, 1.5))
    assert both(works(5, 6, strokes=[8]), works(1, 2, strokes=[4, 9])) == (
        Moment(1, 9.0), Moment(1, 8.0),
    )  # fmt: skip
    assert both(works(5, 6, strokes=[15]))[0] == end
    assert both(acts({2: "push a for 1", 4: "pull for 1/2"})) == (Moment(1, 4.5), Moment(1, 2.0))
    assert both(acts({"-1/2": "push a for 1/2"})) == (Moment(1, 0.0), Moment(0, 15.5))


def test_a_beat_before_a_set_piece_lies_in_the_one_before(routine, piece, rests):
    r = routine(piece(rests, rests, bars=1), piece(rests, rests, bars=2), piece(rests, rests))
    assert [beat_before(r, 2, beat) for beat in (1.0, 0.0, -2.0, -9.0, -13.0)] == [
        Moment(2, 1.0), Moment(2, 0.0), Moment(1, 6.0), Moment(0, 3.0), Moment(0, -1.0),
    ]  # fmt: skip
    assert starts_s(r) == (0.0, 2.0, 6.0, 14.0)


def test_a_pick_up_is_as_long_as_the_earliest_act_is_early(routine, piece, rests):
    early, earlier = acts({"-1/2": "push a for 1/2"}), acts({-2: "push a for 1", 3: "pull for 1"})
    r = routine(piece(early, earlier, count="clock"), piece(acts({1: "push a for 1"}), rests))
    assert [pick_up_beats(r, n) for n in range(3)] == [2.0, 0.0, 0.0]
    assert lead_in_s(r) == 1.0


def test_how_long_a_deck_may_leave_early_or_come_late(routine, piece, runs, works, rests):
    """A bar beside a record that runs, two beats in a juggle, never more than there are."""

    def may(mine, other, **more):
        r = routine(piece(mine, other, **{"count": "clock"} | more))
        return leave_early_beats(r, 0, "left"), enter_late_beats(r, 0, "left")

    assert may(works(5, 6), runs(0)) == (4.0, 4.0)
    assert may(runs(3), runs(0)) == (4.0, 0.0)
    assert may(runs(3), runs(0), count="left") == (0.0, 0.0)
    assert may(works(5, 6), runs(0), bars="1/2") == (2.0, 2.0)
    assert may(works(5, 6), works(1, 2)) == (2.0, 2.0)
    assert may(works(5, 6), works(1, 2), bars="1/4") == (1.0, 1.0)
    assert may(works(5, 6), rests) == (0.0, 0.0)
    assert may(works(5, 6, strokes=[0]), runs(0)) == (0.0, 0.0)
    assert may(acts({0: "push a for 1"}), runs(0)) == (0.0, 0.0)
