"""Changes between cues, against times worked by hand.

By hand means: turns = seconds of record / 1.8 (33 1/3 turns a minute), seconds to wind = turns / 3
(the default 3 turns a second) + 0.5 to settle a turn or more, needle = 3 s + 2 turns to wind from
where it lands = 4.167 s; a beat at 120 BPM is 0.5 s.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine import load_routine
from liveaid.routine.check import changes, check


def last_change(routine, side="left"):
    return next(move for move in reversed(changes(routine)) if move.side == side)


def test_a_forward_wind_takes_its_turns_over_the_hands_speed(routine, piece, runs, rests):
    # left ends at 10 + 8 = 18 s; cue at 39.6 s: 21.6 s of record = 12 turns; 12 / 3 + 0.5 = 4.5 s.
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(39.6), rests))
    move = last_change(r)
    assert move.turns == pytest.approx(12.0)
    assert move.by_hand_s == pytest.approx(4.5)
    assert move.by_needle_s == pytest.approx(4.16667, abs=1e-5)
    assert move.way == "needle"
    # 16 beats of rest, 8 s; in the first right is let go and the fader moved: a hand is free for
    # 7.5 s; 7.5 - 4.1667 = 3.3333 s = 6.667 beats to spare.
    assert (move.available_s, move.available_beats) == pytest.approx((8.0, 16.0))
    assert move.spare_beats == pytest.approx(6.66667, abs=1e-5)
    assert move.verdict == "easy"


def test_a_back_wind_is_negative(routine, piece, runs, rests):
    # left ends at 18 s, cue at 9 s: -9 s = -5 turns; 5 / 3 + 0.5 = 2.167 s, by hand.
    move = last_change(
        routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(9), rests))
    )
    assert move.turns == pytest.approx(-5.0)
    assert (move.way, move.needed_s) == ("by hand", pytest.approx(2.1667, abs=1e-4))


def test_at_45_a_turn_is_a_third_of_four_seconds(routine, piece, runs, rests):
    # 60 / 45 = 1.3333 s a turn; 18 s to 26 s is 6 turns, with 6 s of rest.
    r = routine(
        piece(runs(10), rests),
        piece(rests, runs(0), bars=3),
        piece(runs(26), rests),
        turntable={"rpm": 45},
    )
    assert last_change(r).turns == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("rest_bars", "verdict"),
    # 5 turns back: 2.1667 s = 4.33 beats. Bars of 4 beats: 1 is too short, 2 leaves 3.67 beats.
    [(1, "impossible"), (2, "easy")],
)
def test_a_rest_must_last_as_long_as_the_wind(routine, piece, runs, rests, rest_bars, verdict):
    r = routine(
        piece(runs(10), rests), piece(rests, runs(0), bars=rest_bars), piece(runs(9), rests)
    )
    assert last_change(r).verdict == verdict


def test_the_rest_that_is_lacking_is_told_in_its_own_beats(routine, piece, runs, rests):
    """5 turns back take 2.1667 s; of a bar's rest at 120 BPM 1.5 s are free: 0.6667 s too few, 1.3
    beats of that rest, whatever the tempo of what comes after it."""
    slow = piece(runs(9), rests, tempo=60)
    r = routine(piece(runs(10), rests), piece(rests, runs(0), bars=1), slow)
    (error,) = [f for f in check(r) if f.severity == "error" and f.rule == "winding"]
    assert error.says.endswith(": 1.3 beats too few")
    assert error.way_out.endswith("or let left rest 1.3 beats longer before it")


@pytest.mark.parametrize(("margin", "verdict"), [(2.66, "easy"), (2.67, "tight")])
def test_less_to_spare_than_the_margin_is_tight(routine, piece, runs, rests, margin, verdict):
    # 8 beats less the first, right's start with its fader, less 4.3333: 2.6667 beats to spare.
    r = routine(
        piece(runs(10), rests), piece(rests, runs(0), bars=2), piece(runs(9), rests),
        performer={"margin": margin},
    )  # fmt: skip
    assert last_change(r).verdict == verdict


def test_a_record_that_runs_on_into_its_cue_needs_nothing(routine, piece, runs, rests):
    r = routine(piece(runs(10), rests), piece(runs(18), rests))
    assert last_change(r).verdict == "runs on"
    assert not [f for f in check(r) if f.rule == "winding"]


def test_a_record_left_running_unheard_may_come_to_its_cue_by_itself(routine, piece, runs, rests):
    # ends at 18 s, silent for 8 s, cue at 26 s.
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(26), rests))
    assert last_change(r).verdict == "runs on"


def test_a_running_record_cannot_be_elsewhere_on_the_next_beat(routine, piece, runs, rests):
    r = routine(piece(runs(10), rests), piece(runs(20), rests))
    assert last_change(r).verdict == "impossible"
    errors = [f for f in check(r) if f.severity == "error"]
    assert [(f.rule, f.piece, f.bar, f.side) for f in errors] == [("winding", 1, 1, "left")]
    assert dict(errors[0].numbers)["turns"] == pytest.approx(2.0 / 1.8)
    assert errors[0].way_out


def test_winding_waits_for_a_free_hand(routine, piece, works, runs, rests):
    """Right worked with the fader takes both hands; with an open fader one is free."""

    def solo(technique):
        return routine(
            piece(runs(10), rests), piece(rests, works(0, 1), technique=technique),
            piece(runs(9), rests),
        )  # fmt: skip

    busy, one_free = last_change(solo("transform")), last_change(solo("baby scratch"))
    assert (busy.available_s, busy.free_s, busy.verdict) == (8.0, 0.0, "impossible")
    assert (one_free.free_s, one_free.verdict) == (7.5, "easy")
    error = next(f for f in check(solo("transform")) if f.severity == "error")
    assert "hand is free for only 0.0 s" in error.says


def test_the_hand_at_a_record_before_its_first_act_is_the_one_that_brings_it(
    routine, piece, works, runs, rests
):
    # Right ends at 10 + 8 = 18 s, is next wanted on beat 1.5 at 21.6 s: 2 turns on, 2 / 3 + 0.5 =
    # 1.1667 s; a beat is 0.5 s, and left runs by itself from beat 0. 0.75 s: 0.83 beats too few.
    trade = {"0": "left 0 to 1 1/2", "1 1/2": "right 0 to 1 1/2"}
    r = routine(
        piece(rests, runs(10)),
        piece(works(0, 4), works(21.6, 25.6), count="clock", juggle=trade),
    )
    move = last_change(r, "right")
    assert (move.turns, move.due.beat) == (pytest.approx(2.0, abs=1e-4), 1.5)
    assert (move.free_s, move.spare_beats) == pytest.approx((0.75, -0.8333), abs=1e-3)
    says = next(f.says for f in check(r) if f.rule == "winding" and f.severity == "error")
    assert says.endswith("it is silent for 0.8 s (1.5 beats): 0.8 beats too few")


def test_written_strokes_leave_hands_free_between_them(routine, piece, works, runs, rests):
    # strokes in beats 0 and 15: hands on in beats 0, 14, 15; free for 13 beats = 6.5 s.
    r = routine(
        piece(runs(10), rests), piece(rests, works(0, 1, strokes=[0, 15])), piece(runs(9), rests)
    )
    assert last_change(r).free_s == pytest.approx(6.5)


def test_written_strokes_say_when_a_deck_is_done_and_when_it_is_due(routine, piece, works, rests):
    # last stroke at beat 6, span 1 s = 2 beats: silent from beat 8; next stroke at beat 2 of the
    # next set piece: 16 - 8 + 2 = 10 beats = 5 s.
    r = routine(
        piece(works(0, 1, strokes=[0, 6]), rests), piece(works(40, 41, strokes=[2, 4]), rests)
    )
    assert last_change(r).available_beats == pytest.approx(10.0)
    assert last_change(r).available_s == pytest.approx(5.0)


def test_a_juggled_deck_is_done_when_the_other_takes_over(routine, piece, works, runs, rests):
    # left's last stroke at beat 6 would sound for 4 s, 8 beats; right strikes at beat 9.
    r = routine(
        piece(works(0, 4, strokes=[0, 6]), works(0, 4, strokes=[3, 9])),
        piece(works(40, 41), works(2, 3)),
    )
    assert last_change(r).available_beats == pytest.approx(16 - 9)


def test_a_scratch_may_leave_a_bar_early_or_come_a_bar_late_while_a_record_runs(
    routine, piece, works, runs
):
    leaves = routine(piece(works(10, 11), runs(0)), piece(runs(14.6), runs(8)))
    comes = routine(piece(runs(0), runs(0), count="left"), piece(works(11.6, 12), runs(8)))
    assert (last_change(leaves).leave_early_beats, last_change(leaves).verdict) == (4.0, "tight")
    assert (last_change(comes).come_late_beats, last_change(comes).verdict) == (4.0, "tight")


def test_two_juggles_in_a_row_share_one_turn_of_two_beats(routine, piece, works):
    # 1 turn on: 1/3 + 0.5 = 0.833 s = 1.67 beats, fits a turn of 2; 3 turns, 3 beats, do not.
    near = routine(piece(works(10, 11), works(0, 1)), piece(works(11.8, 13), works(0, 1)))
    far = routine(piece(works(10, 11), works(0, 1)), piece(works(15.4, 17), works(0, 1)))
    move = last_change(near)
    assert move.leave_early_beats + move.come_late_beats == 2.0
    assert (move.verdict, last_change(far).verdict) == ("tight", "impossible")


def test_without_seconds_check_says_what_it_cannot_judge(routine, piece, runs, rests):
    r = routine(piece(runs(), rests), piece(rests, runs()), piece(runs(), rests))
    assert last_change(r).verdict == "not placed"
    assert any("cannot be judged" in f.says for f in check(r))
    assert not [f for f in check(r) if f.severity == "error"]


def test_a_cue_is_told_by_turn_and_sticker(routine, piece, runs, rests):
    # 20.25 s / 1.8 = 11.25 turns: turn 11, sticker at 90 degrees.
    r = routine(piece(runs(10), rests), piece(runs(20.25), rests))
    error = next(f for f in check(r) if f.rule == "winding")
    assert "20.25 s (turn 11, sticker at 90°)" in error.says


def test_the_shared_maps_are_judged(routines):
    # Lantern Row: a scratch with strokes to the last half beat, then its record on the next beat,
    # and 7.8 turns with no rest; by hand from the map's seconds.
    verdicts = {(m.after, m.side): m.verdict for m in changes(load_routine(routines / "four.yaml"))}
    impossible = {place for place, verdict in verdicts.items() if verdict == "impossible"}
    assert impossible == {(4, "left"), (9, "left")}


GRADE = ["impossible", "tight", "easy"]


@given(data=st.data())
def test_a_faster_hand_never_makes_a_change_harder(data, routines_of):
    routine = data.draw(routines_of())
    slow, fast = sorted(data.draw(st.tuples(*[st.floats(0.2, 12.0)] * 2)))
    judged = [
        changes(
            routine.model_copy(
                update={
                    "performer": routine.performer.model_copy(update={"wind_turns_per_s": speed})
                }
            )
        )
        for speed in (slow, fast)
    ]
    for slower, faster in zip(*judged, strict=True):
        if slower.verdict in GRADE:
            assert GRADE.index(faster.verdict) >= GRADE.index(slower.verdict)
        else:
            assert faster.verdict == slower.verdict


@given(data=st.data())
def test_any_routine_is_judged_without_fail_sorted_and_the_same_again(data, routines_of):
    routine = data.draw(routines_of())
    findings = check(routine, deck_s={"left": 300.0}, sound_s={"call": 12.0})
    assert findings == check(routine, deck_s={"left": 300.0}, sound_s={"call": 12.0})
    grades = [("error", "warning", "remark").index(f.severity) for f in findings]
    assert grades == sorted(grades)
    for grade in range(3):
        places = [f.piece if f.piece is not None else -1
                  for f, g in zip(findings, grades, strict=True) if g == grade]  # fmt: skip
        assert places == sorted(places)
    for finding in findings:
        assert finding.says
        assert finding.way_out or finding.severity == "remark"
        if finding.piece is not None:
            assert finding.name == routine.pieces[finding.piece].name
            assert 1 <= (finding.bar or 1) <= routine.bar_count(finding.piece)
