"""What is told of a deck's next cue, worked by hand: 120 BPM, 8 s a set piece, 1.8 s a turn."""

import pytest

from liveaid.follow.next_cue import Here, next_cue
from liveaid.routine import Routine


def made(*lefts, right=None):
    """Left plans in a row of four-bar set pieces; right runs throughout unless it is given."""
    pieces = []
    for number, left in enumerate(lefts):
        other = right[number] if right else {"hand": "runs", "at": 8.0 * number}
        pieces.append({"name": f"P{number}", "bars": 4, "tempo": 120, "left": left, "right": other})
    return Routine.model_validate({"title": "T", "pieces": pieces})


REST = {"hand": "rests"}


def told(routine, piece, beat, position_s, speed, *, rate_bps=2.0, sure=True, side="left"):
    here = Here(piece=piece, beat=beat, rate_bps=rate_bps, sure=sure)
    return next_cue(routine, side, here, position_s=position_s, speed=speed)


RUNS_ON = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 26})


def test_no_wind_is_told_for_a_record_that_runs_on():
    # beat 4 of the rest: 18 + 2 = 20 s, 12 beats = 6 s before its cue at 26 s.
    cue = told(RUNS_ON, 1, 4.0, 20.0, 1.0)
    assert (cue.cue, cue.way, cue.wind, cue.after) == (26.0, "runs on", None, 2)
    assert (cue.in_time, cue.ready, cue.due_beats) == (True, True, 12.0)


def test_at_another_pitch_it_runs_on_all_the_same():
    # 4 % fast: 2.08 beats a second; 12 beats in 5.77 s, 6 s of record at 1.04.
    assert told(RUNS_ON, 1, 4.0, 20.0, 1.04, rate_bps=2.08).way == "runs on"


def test_a_record_that_should_run_on_but_was_stopped_has_to_be_brought():
    # stopped at 18.2 s: 7.8 s = 4.333 turns on; 1.444 + 0.5 s of the 6 s there are.
    cue = told(RUNS_ON, 1, 4.0, 18.2, 0.0)
    assert (cue.way, cue.in_time, cue.ready) == ("by hand", True, False)
    assert cue.wind == pytest.approx(4.3333, abs=1e-4)


def test_while_it_still_runs_the_next_cue_is_told_with_its_wind():
    routine = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    # 14 s at beat 8: its cue at 9 s is 5 s = 2.778 turns back, 8 + 16 beats to go.
    cue = told(routine, 0, 8.0, 14.0, 1.0)
    assert (cue.cue, cue.way, cue.due_beats, cue.ready) == (9.0, "by hand", 24.0, False)
    assert cue.wind == pytest.approx(-2.7778, abs=1e-4)


def test_a_record_that_is_late_at_its_cue_is_ready_there_and_wound_to_no_later_one():
    routine = made(REST, {"hand": "runs", "at": 9}, {"hand": "runs", "at": 40})
    late = told(routine, 1, 0.02, 9.0, 0.0)
    assert (late.cue, late.after, late.wind, late.ready, late.due_beats) == (9.0, 1, 0.0, True, 0.0)
    # Let go, or gone from there: its next cue at 40 s, 17.22 turns on.
    assert told(routine, 1, 0.02, 9.0, 1.0).cue == 40.0
    gone = told(routine, 1, 0.02, 12.0, 0.0)
    assert (gone.cue, gone.ready) == (40.0, False)
    assert gone.wind == pytest.approx(15.5556, abs=1e-4)


def test_a_cue_some_set_pieces_on_is_due_after_all_their_beats():
    """From beat 4 of 16 there are 12 and two rests of 16. From 18 s to its cue at 90 s are 40
    turns, for the needle: 3 s, and two turns by hand, .667 + .5: 4.167 s or 8.33 beats."""
    routine = made({"hand": "runs", "at": 10}, REST, REST, {"hand": "runs", "at": 90})
    places = ((0, 4.0), (1, 4.0), (2, 7.6), (2, 7.7))
    cues = [told(routine, *place, 18.0, 0.0) for place in places]
    assert [cue.due_beats for cue in cues] == pytest.approx([44.0, 28.0, 8.4, 8.3])
    assert [cue.in_time for cue in cues] == [True, True, True, False]
    assert {(cue.way, cue.after) for cue in cues} == {("needle", 3)}


@pytest.mark.parametrize(("beat", "cue_s"), [(0.49, 9.0), (0.51, 40.0)])
def test_what_stands_at_its_cue_is_let_go_late_for_half_a_beat(beat, cue_s):
    routine = made(REST, {"hand": "runs", "at": 9}, {"hand": "runs", "at": 40})
    assert told(routine, 1, beat, 9.0, 0.0).cue == cue_s


def test_a_record_that_runs_on_to_where_a_hand_takes_it_is_wound_nowhere():
    # From 10 s for 8 s: it passes its cue at 18 s as P1 begins, and is wanted there two beats on.
    routine = made(
        {"hand": "runs", "at": 10}, {"hand": "works", "from": 18, "to": 20, "acts": {2: "push"}}
    )
    cue = told(routine, 0, 4.0, 12.0, 1.0)
    assert (cue.way, cue.wind, cue.ready, cue.due_beats) == ("runs on", None, True, 14.0)
    # Past it by 1.5 s with a beat to go, beyond what a beat told wrong would explain: back by hand.
    past = told(routine, 1, 1.0, 19.5, 1.0)
    assert (past.way, past.wind) == ("by hand", pytest.approx(-0.8333, abs=1e-4))


def test_in_time_is_whether_it_can_be_brought_before_it_is_due():
    routine = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    # from 18 s: 5 turns, 1.667 + 0.5 = 2.167 s; 4.3 beats are 2.15 s, 4.4 are 2.2 s.
    assert told(routine, 1, 16 - 4.4, 18.0, 0.0).in_time is True
    assert told(routine, 1, 16 - 4.3, 18.0, 0.0).in_time is False


def test_below_half_belief_no_wind_is_told():
    routine = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    cue = told(routine, 1, 4.0, 18.0, 0.0, sure=False)
    assert (cue.cue, cue.wind, cue.in_time) == (9.0, None, None)


def test_ready_is_standing_within_thirty_degrees_of_the_cue():
    routine = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    assert told(routine, 1, 4.0, 9.15, 0.0).ready
    assert not told(routine, 1, 4.0, 9.2, 0.0).ready
    assert not told(routine, 1, 4.0, 9.0, 1.0).ready


def test_a_worked_record_is_told_its_next_cue_under_the_hand():
    routine = made(
        {"hand": "works", "from": 10, "to": 12}, {"hand": "works", "from": 11.8, "to": 13}
    )
    cue = told(routine, 0, 8.0, 10.4, -0.8)
    # 11.8 - 10.4 = 1.4 s = 0.778 turns; the sticker at 11.8 / 1.8 = 6.5556 turns: 200 degrees.
    assert (cue.cue, cue.way) == (11.8, "by hand")
    assert cue.wind == pytest.approx(0.7778, abs=1e-4)
    assert cue.sticker == pytest.approx(200.0)


def test_before_the_start_both_first_cues_are_set_before():
    cue = told(RUNS_ON, -1, 0.0, 6.4, 0.0)
    # 3.6 s = 2 turns on.
    assert (cue.cue, cue.way, cue.wind, cue.in_time) == (
        10.0,
        "set before",
        pytest.approx(2.0),
        None,
    )


def test_after_the_last_cue_there_is_none():
    assert told(RUNS_ON, 2, 1.0, 27.0, 1.0).cue is None


def test_without_the_speed_heard_a_cue_is_due_by_the_maps_tempo():
    """2.2 turns by hand: 12 beats at 120 BPM, 6 s, are enough, half a beat is not."""
    for beat, in_time in ((4.0, True), (15.5, False)):
        cue = told(RUNS_ON, 1, beat, 22.0, 0.0, rate_bps=None)
        assert (cue.due_beats, cue.in_time) == (16.0 - beat, in_time)
    assert told(RUNS_ON, 1, 4.0, 22.0, 0.0, rate_bps=0.02).in_time is None  # all but stopped
    assert told(RUNS_ON, -1, 0.0, 22.0, 0.0).due_beats is None


def test_a_record_that_would_run_on_is_told_of_only_where_its_speed_is_known():
    cue = told(RUNS_ON, 1, 4.0, 20.0, None)
    assert (cue.way, cue.wind, cue.in_time, cue.ready) == ("runs on", None, None, False)
    worked = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    assert told(worked, 1, 4.0, 9.0, None).ready


def test_faster_there_is_less_time_to_bring_it():
    """As above 2.167 s are needed; 8 % fast 4.7 beats are 2.176 s and 4.6 are 2.130 s."""
    routine = made({"hand": "runs", "at": 10}, REST, {"hand": "runs", "at": 9})
    assert told(routine, 1, 16 - 4.7, 18.0, 0.0, rate_bps=2.16).in_time is True
    assert told(routine, 1, 16 - 4.6, 18.0, 0.0, rate_bps=2.16).in_time is False


@pytest.mark.parametrize(("cue_s", "degrees"), [(9.0123, 2.46), (8.99999, 0.0)])
def test_the_sticker_is_told_in_hundredths_of_a_degree_below_360(cue_s, degrees):
    """5.0068333 turns of 1.8 s; 359.998 degrees are a whole turn."""
    routine = made(REST, {"hand": "runs", "at": cue_s})
    assert told(routine, 0, 4.0, 5.0, 0.0).sticker == degrees


def test_where_the_other_record_is_wanted_no_record_of_ours_is_late():
    right = [{"hand": "runs", "at": 0.0}, {"hand": "runs", "at": 9.0}, {"hand": "runs", "at": 17.0}]
    routine = made(REST, REST, {"hand": "runs", "at": 40}, right=right)
    assert told(routine, 1, 0.1, 9.0, 0.0).cue == 40.0


def test_a_first_act_within_a_set_piece_is_late_from_its_own_beat_on():
    routine = made(
        REST,
        {"hand": "works", "from": 18, "to": 20, "acts": {2: "push"}},
        {"hand": "runs", "at": 40},
    )
    assert [told(routine, 1, beat, 18.0, 0.0).cue for beat in (2.2, 2.6)] == [18.0, 40.0]
