"""The way of each record, worked by hand: pieces last 8 s (16 beats of 0.5 s), a turn is 1.8 s."""

import pytest

from liveaid.routine.left import left_at, runs_through
from liveaid.routine.timeline import (
    Moment,
    beats_between,
    enter_late_beats,
    falls_silent,
    leave_early_beats,
)
from liveaid.routine.way import changes, next_change, stands_ready


def the_change(routine, side="left", after=-1):
    moves = [move for move in changes(routine) if move.side == side]
    return moves[-1] if after < 0 else next(move for move in moves if move.after == after)


def test_left_runs_left_rests_left_runs_the_same_sound_eight_bars_on(routine, piece, runs, rests):
    # 10 s + 8 s = 18 s as it falls silent; let run through 8 s of rest it is at 26 s, its cue.
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(26), rests))
    move = the_change(r)
    assert (move.way, move.turns, move.hand, move.needed_s) == ("runs on", 0.0, None, None)
    assert (move.from_s, move.still_runs, move.cue_s) == (18.0, True, 26.0)
    assert {side for piece, side in runs_through(r) if piece == 2} == {"left"}


@pytest.mark.parametrize(
    ("cue", "way"), [(25.95, "runs on"), (26.05, "runs on"), (25.94, "by hand"), (26.06, "by hand")]
)
def test_a_record_runs_on_to_within_ten_degrees(routine, piece, runs, rests, cue, way):
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(cue), rests))
    assert the_change(r).way == way


def test_a_scratched_record_stands_at_its_cue_and_another_in_the_span_is_a_wind(
    routine, piece, works, runs
):
    # cue 10 s; 11.8 s is 1 turn on, inside the span: 1/3 s + 0.5 s = 0.8333 s.
    r = routine(piece(works(10, 13), runs(0)), piece(works(11.8, 13), runs(8)))
    move = the_change(r)
    assert (move.from_s, move.still_runs, move.way, move.hand) == (10.0, False, "by hand", "left")
    assert move.turns == pytest.approx(1.0)
    assert move.needed_s == pytest.approx(0.83333, abs=1e-5)


def test_a_scratched_record_that_goes_on_at_its_cue_is_there(routine, piece, works, runs):
    r = routine(piece(works(10, 13), runs(0)), piece(works(10, 13), runs(8)))
    move = the_change(r)
    assert (move.way, move.turns, move.needed_s, move.verdict) == ("by hand", 0.0, 0.0, "easy")


def test_own_cue_goes_before_the_spans_begin(routine, piece, works, runs):
    r = routine(piece(works(10, 13, cue=11), runs(0)), piece(works(11, 13), runs(8)))
    assert left_at(r, "left", 0).at_s == 11.0


def test_the_last_record_let_go_in_a_juggle_runs_on_the_other_stands_at_its_cue(
    routine, piece, works, runs, rests
):
    # right let go last, on beat 14 of 16: 2 beats, 1 s, from 20 s to 21 s. left back at 10 s.
    juggle = piece(works(10, 12, strokes=[0, 12]), works(20, 22, strokes=[2, 14]))
    r = routine(juggle, piece(rests, runs(21), count="right"))
    assert (left_at(r, "left", 0).at_s, left_at(r, "right", 0).at_s) == (10.0, 21.0)
    assert the_change(r, "right").way == "runs on"


def test_a_juggled_record_whose_span_ends_first_stands_at_its_end(routine, piece, works, rests):
    # let go on beat 10, 6 beats or 3 s to go, but 2 s of span: held at 22 s from beat 14 on.
    juggle = piece(works(10, 12, strokes=[0]), works(20, 22, strokes=[10]))
    r = routine(juggle, piece(rests, works(22, 23)))
    move = the_change(r, "right")
    assert (move.from_s, move.still_runs, move.silent.beat) == (22.0, False, 14.0)


def test_a_juggle_without_strokes_brings_both_back(routine, piece, works):
    r = routine(piece(works(10, 12), works(20, 22)))
    assert (left_at(r, "left", 0).at_s, left_at(r, "right", 0).at_s) == (10.0, 20.0)


def test_a_record_stopped_where_it_falls_silent_needs_but_a_hand_to_stop_it(
    routine, piece, runs, rests
):
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(18), rests))
    move = the_change(r)
    assert (move.way, move.turns, move.needed_s) == ("by hand", 0.0, pytest.approx(0.035))


def test_the_next_cue_is_told_for_every_deck_whatever_the_hand_does(
    routine, piece, runs, works, rests
):
    r = routine(
        piece(runs(0), rests),
        piece(runs(8), works(40, 42, strokes=[2, 4])),
        piece(works(30, 31), works(40, 42)),
    )
    # before the start: both decks' first cues, set before.
    assert [next_change(r, side, -1).way for side in ("left", "right")] == ["set before"] * 2
    # while left still runs in the first and second set piece: on, then its cue at 30 s by hand.
    assert next_change(r, "left", 0).way == "runs on"
    assert (next_change(r, "left", 1).cue_s, next_change(r, "left", 1).way) == (30.0, "by hand")
    # right is due on beat 2 of the second: until then that is its next cue.
    assert next_change(r, "right", 0).after == 1
    assert next_change(r, "right", 1, 1.9).after == 1
    assert next_change(r, "right", 1, 2.0).after == 2
    assert next_change(r, "left", 2) is None


def test_ready_is_standing_at_the_cue_and_running_on_is_being_on_course(
    routine, piece, runs, rests
):
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(26), rests))
    move = the_change(r)
    # 22 s with 4 s to go at nominal speed: 26 s.
    assert stands_ready(move, 22.0, 1.0, due_in_s=4.0)
    assert not stands_ready(move, 22.0, 0.0, due_in_s=4.0)
    assert not stands_ready(move, 22.0, 1.0)
    assert stands_ready(move, 26.1, 0.0)


def test_an_unplaced_sound_that_goes_on_where_it_was_runs_on(routine, piece, runs, rests):
    sounds = {"a": {"file": "a.wav"}}
    on, off = runs(sound="a", bars_in=4), runs(sound="a", bars_in=5)
    first = piece(runs(sound="a"), rests)
    assert the_change(routine(first, piece(on, rests), sounds=sounds)).way == "runs on"
    assert the_change(routine(first, piece(off, rests), sounds=sounds)).way is None


def test_written_acts_say_where_the_record_is_left_and_when_it_is_due(routine, piece, works, rests):
    # let go on beat 8 for 2 beats: 1 s from 10 s to 11 s, then held there.
    first = piece(works(10, 14, acts={"8": "let go for 2"}), rests)
    r = routine(first, piece(works(11, 14, acts={"2": "let go for 2"}), rests))
    move = the_change(r)
    assert (move.from_s, move.silent.beat) == (11.0, 10.0)
    assert (move.due.piece, move.due.beat, move.cue_s) == (1, 2.0, 11.0)


@pytest.mark.parametrize(
    ("cue", "way"),
    [(18.0, "runs on"), (20.0, "runs on"), (20.05, "runs on"), (17.95, "runs on"),
     (20.06, "by hand"), (17.94, "by hand")],
)  # fmt: skip
def test_a_hand_may_take_a_running_record_as_it_passes_its_cue(
    routine, piece, works, runs, cue, way
):
    # It is at 18 s as the set piece begins; the hand takes it on beat 4, 2 s later: by then it
    # has passed every place up to 20 s, to within ten degrees, 0.05 s.
    r = routine(piece(runs(10), runs(0)), piece(works(cue, 24, strokes=[4, 8]), runs(8)))
    assert the_change(r).way == way


@pytest.mark.parametrize(("to", "left_s", "runs_on"), [(20.96, 20.96, True), (20.94, 20.94, False)])
def test_a_span_that_ends_within_ten_degrees_of_the_end_lets_the_record_run(
    routine, piece, works, to, left_s, runs_on
):
    # Let go on beat 14 from 20 s it would be at 21 s; ten degrees are 0.05 s.
    r = routine(piece(works(10, 12, strokes=[0]), works(20, to, strokes=[2, 14])))
    left = left_at(r, "right", 0)
    assert (left.at_s, left.runs) == (left_s, runs_on)


def test_a_pick_up_is_due_before_its_set_piece(routine, piece, works, runs, rests):
    # Two beats ahead of the second set piece: on beat 14 of the first.
    pushed = works(10, 14, acts={"-2": "push for 2"})
    r = routine(piece(rests, runs(0)), piece(pushed, runs(8)))
    move = the_change(r)
    assert (move.due.piece, move.due.beat, move.beat_due(r)) == (0, 14.0, -2.0)


def test_what_is_not_placed_is_never_ready(routine, piece, runs, rests):
    move = the_change(routine(piece(runs(), rests)))
    assert move.cue_s is None
    assert not stands_ready(move, 0.0, 0.0)


def test_who_lets_go_on_the_same_beat_takes_nothing_over(routine, piece, works):
    """Left is let go last on beat 8, right on 8 and 12: left plays on until 12. A span of 1 s is
    over after two beats, on 10; one of a quarter second lasts a beat all the same."""

    def silent(to):
        r = routine(piece(works(10, to, strokes=[0, 8]), works(20, 22, strokes=[8, 12])))
        return falls_silent(r, 0, "left").beat

    assert [silent(to) for to in (14.0, 12.0, 11.0, 10.25)] == [12.0, 12.0, 10.0, 9.0]


def test_what_a_deck_may_leave_early_or_come_late(routine, piece, works, runs):
    """Beside a record that runs a bar; two beats of a juggle; no more than the set piece lasts."""
    scratch = routine(piece(works(10, 12), runs(0), count="right"), metre=3)
    assert leave_early_beats(scratch, 0, "left") == enter_late_beats(scratch, 0, "left") == 3.0
    # The record that carries the count gives nothing.
    assert leave_early_beats(scratch, 0, "right") == 0.0
    assert enter_late_beats(scratch, 0, "right") == 0.0
    short = routine(piece(works(10, 12), runs(0), bars=0.5))
    assert leave_early_beats(short, 0, "left") == 2.0
    both = routine(piece(works(10, 12), works(20, 22)))
    assert leave_early_beats(both, 0, "left") == enter_late_beats(both, 0, "right") == 2.0
    one_beat = routine(piece(works(10, 12), works(20, 22), bars=0.25))
    assert leave_early_beats(one_beat, 0, "left") == 1.0
    written = routine(piece(works(10, 12, strokes=[0]), runs(0)))
    assert leave_early_beats(written, 0, "left") == enter_late_beats(written, 0, "left") == 0.0


def test_beats_between_two_moments_with_their_shares(routine, piece, runs, rests):
    r = routine(piece(runs(0), rests, bars=0.5), piece(runs(1), rests, bars=0.5))
    found = list(beats_between(r, Moment(0, 1.25), Moment(1, 1.5)))
    assert found == [(0, 1, 0.75), (1, 0, 1.0), (1, 1, 0.5)]
    # Up to a set piece that is no more there, all that is.
    assert list(beats_between(r, Moment(1, 1.0), Moment(2, 0.0))) == [(1, 1, 1.0)]
    assert list(beats_between(r, Moment(0, 1.0), Moment(0, 1.0))) == []
