"""One deck through a whole course, without error and with its chance fixed half-way: every knot of
the record's curve by hand.

Set pieces of two bars of four at 120 BPM: 8 beats, 4 s; a pause of a second before and after. A
record let go slips for RELEASE_S about its beat, and is held within HOLD_S, half of which it runs.
"""

from dataclasses import replace

import pytest

from liveaid.routine import Routine
from liveaid.simulate import STEADY
from liveaid.simulate.course import lay_course
from liveaid.simulate.performer import DeckCourse
from liveaid.simulate.steps import Step, WrongCue, pause, plain_steps
from liveaid.simulate.turntable import HOLD_S, RELEASE_S

HANDS = replace(STEADY, wind_slow_turns_per_s=2.0, wind_fast_turns_per_s=3.0, rock_rate=0.0)
SLIP, HELD = RELEASE_S / 2, HOLD_S / 2
PARTS = {"a": {"from": 10.0, "to": 10.4}}


def routine_of(*pieces, **more) -> Routine:
    whole = [
        {"name": f"P{n}", "bars": 2, "tempo": 120, "count": "clock"} | piece
        for n, piece in enumerate(pieces)
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": whole} | more)


def runs(at):
    return {"hand": "runs", "at": at}


def works(start, end, **more):
    return {"hand": "works", "from": start, "to": end, **more}


def played(chance, routine, steps=None, *, lead_s=1.0):
    """The left record's knots after the first, and what was told of it."""
    steps = [pause(lead_s), *(steps or plain_steps(routine)), pause(1.0)]
    legs = lay_course(routine, steps, HANDS, chance())
    track, events = DeckCourse("left", routine, legs, {}, HANDS, chance()).play()
    rows = list(zip(track.t_s.tolist(), track.x_s.tolist(), track.speed.tolist(), strict=True))
    assert rows[0][0] == -1.0
    return rows[1:-2], [(e.kind, e.piece, e.beat, e.planned_s, e.actual_s, e.cue_s) for e in events]


def same(found, expected):
    numbers = [number for row in expected for number in row]
    assert [number for row in found for number in row] == pytest.approx(numbers, abs=1e-9)


def let_go(at_s, x_s):
    return [(at_s - SLIP, x_s, 0.0), (at_s + SLIP, x_s + SLIP, 1.0)]


def taken(at_s, x_s):
    return [(at_s, x_s, 1.0), (at_s + HOLD_S, x_s + HELD, 0.0)]


def pushed(at_s, x_s, way_s=0.75 * 3.5 * 0.145):
    """Out in .145 s and back in .185 s, half-way between the least and the most of each."""
    return [(at_s, x_s, 0.0), (at_s + 0.145, x_s + way_s, 0.0), (at_s + 0.33, x_s, 0.0)]


def test_a_record_is_let_go_and_stopped(chance):
    """A tenth of the pause held before it would be wound; it stands at its cue."""
    rows, told = played(chance, routine_of({"count": "left", "left": runs(10.0)}))
    same(rows, [(0.1, 10.0, 0.0), *let_go(1.0, 10.0), *taken(5.0, 14.0)])
    assert told == [("start", 0, 0.0, 1.0, 1.0, 10.0), ("stop", 0, 8.0, 5.0, 5.0, None)]


def test_a_record_that_runs_on_is_left_alone(chance):
    routine = routine_of({"left": runs(10.0)}, {"left": runs(14.0)})
    rows, told = played(chance, routine)
    same(rows, [(0.1, 10.0, 0.0), *let_go(1.0, 10.0), (5.0, 14.0, 1.0), *taken(9.0, 18.0)])
    assert [event[0] for event in told] == ["start", "stop"]


def test_a_record_that_runs_unheard_to_its_next_cue_is_left_alone(chance):
    routine = routine_of({"left": runs(10.0)}, {"right": runs(5.0)}, {"left": runs(18.0)})
    rows, _ = played(chance, routine)
    same(rows, [(0.1, 10.0, 0.0), *let_go(1.0, 10.0), (9.0, 18.0, 1.0), *taken(13.0, 22.0)])


def test_a_record_that_rests_is_held_and_wound_to_its_next_cue(chance):
    """Half-way it would run .7 s, but no more than .15 of the 4 s: taken at 5.6 s, held .4 s, a
    tenth; then 2.99 turns and .12 over at 2.5 a second: 1.6245 s."""
    routine = routine_of({"left": runs(10.0)}, {"right": runs(5.0)}, {"left": runs(20.0)})
    rows, told = played(chance, routine)
    same(rows[:5], [(0.1, 10.0, 0.0), *let_go(1.0, 10.0), *taken(5.6, 14.6)])
    held_s, x_s = 5.6 + HOLD_S + 0.4, 14.6 + HELD
    wound_s = ((20.0 - x_s) / 1.8 + 0.12) / 2.5 + 0.12 + 0.08 + 0.12 + 0.06
    same([rows[5]], [(held_s, x_s, 0.0)])
    same(rows[-5:], [(held_s + wound_s, 20.0, 0.0), *let_go(9.0, 20.0), *taken(13.0, 24.0)])
    assert [event[:5] for event in told] == [
        ("start", 0, 0.0, 1.0, 1.0), ("start", 2, 0.0, 9.0, 9.0), ("stop", 2, 8.0, 13.0, 13.0),
    ]  # fmt: skip


def test_in_a_long_rest_a_record_runs_seven_tenths_and_is_held_as_long(chance):
    routine = routine_of(
        {"left": runs(10.0)}, {"right": runs(5.0), "bars": 8}, {"left": runs(20.0)}
    )
    rows, _ = played(chance, routine)
    same(rows[3:6], [*taken(5.7, 14.7), (5.7 + HOLD_S + 0.7, 14.7 + HELD, 0.0)])


def test_after_its_last_set_piece_a_record_is_held_where_it_is(chance):
    routine = routine_of({"left": runs(10.0)}, {"right": runs(5.0)})
    rows, _ = played(chance, routine)
    # Until the end are 5 s: .7 s is less than .15 of them.
    same(rows, [(0.1, 10.0, 0.0), *let_go(1.0, 10.0), *taken(5.7, 14.7)])


def test_a_wrong_cue_is_heard_until_it_is_put_right(chance):
    """Called up half-way between .15 and .5 s before; put right at beat 3, 1.5 s in."""
    routine = routine_of({"count": "left", "left": runs(10.0)})
    wrong = Step(0, to_beat=8.0, wrong=WrongCue("left", 50.0, 3.0))
    rows, told = played(chance, routine, [wrong])
    same(rows, [
        (0.1, 10.0, 0.0), (0.675, 10.0, 0.0), (0.675, 50.0, 0.0), *let_go(1.0, 50.0),
        (2.5, 51.5, 1.0), (2.5, 11.5, 1.0), *taken(5.0, 14.0),
    ])  # fmt: skip
    assert told[0] == ("start", 0, 0.0, 1.0, None, 10.0)


def test_the_needle_takes_a_record_on_at_once(chance):
    routine = routine_of({"count": "left", "left": runs(10.0)})
    rows, told = played(chance, routine, [Step(0, to_beat=4.0), Step(0, 6.0, 8.0, how="needle")])
    same(rows[3:], [(3.0, 12.0, 1.0), (3.0, 13.0, 1.0), *taken(4.0, 14.0)])
    assert [event[0] for event in told] == ["start", "stop"]


# -- a worked record: scratched on beats 0 and 2 of a bar where the map leaves it to the hand


def test_a_worked_record_is_scratched_until_it_has_to_be_brought_on(chance):
    """A turn to the next cue is reckoned at the slowest: 1.2 turns at 2 a second, .42 s around and
    .6 s to spare: 1.62 s, 3.24 beats. So it is left at beat 4.76, and wound 1.12 turns at 2.5."""
    routine = routine_of({"left": works(10.0, 11.0)}, {"left": runs(11.8)})
    rows, told = played(chance, routine)
    strokes = [row for at in (1.0, 2.0) for row in pushed(at, 10.0)]
    same(rows[:7], [(0.1, 10.0, 0.0), *strokes])
    # The last stroke, at beat 4, has .38 s until beat 4.76: still .145 s out and .185 s back.
    same(rows[7:10], pushed(3.0, 10.0))
    wound_s = 1.12 / 2.5 + 0.12 + 0.08 + 0.12 + 0.06
    same(rows[-5:], [(3.33 + wound_s, 11.8, 0.0), *let_go(5.0, 11.8), *taken(9.0, 15.8)])
    assert [event[0] for event in told] == ["start", "stop"]


def stroke_beats(told):
    return [beat for kind, _, beat, *_ in told if kind == "stroke"]


@pytest.mark.parametrize(
    ("strokes", "at_s", "left_s"),
    [
        ([0, 2, 4, 6], 11.8, 4.33),  # to the last stroke, .33 s out and back
        ([0, 2, 4], 11.8, 3.33),
        ([0], 11.8, 1.33),
    ],
)
def test_the_maps_strokes_are_all_played_before_a_record_is_brought_on(
    chance, strokes, at_s, left_s
):
    routine = routine_of({"left": works(10.0, 11.0, strokes=strokes)}, {"left": runs(at_s)})
    rows, told = played(chance, routine)
    assert stroke_beats(told) == strokes
    moved = [t for t, x, _ in rows if x > 10.39]
    assert min(moved) > left_s
    assert rows[-3][:2] == pytest.approx((5.0 + SLIP, 11.8 + SLIP))


def test_a_cue_too_far_to_wind_to_leaves_a_beat(chance):
    """10 turns would take 12 beats: one beat is left free, so the stroke at beat 6 is played."""
    routine = routine_of({"left": works(10.0, 11.0)}, {"left": runs(28.0)})
    rows, _ = played(chance, routine)
    same(rows[10:15], [*pushed(4.0, 10.0), (4.675, 10.0, 0.0), (4.675, 28.0, 0.0)])


def test_with_a_short_set_piece_half_of_it_is_left(chance):
    """A quarter of a turn: .45 / 2 + .42 + .6 s are 2.49 beats, and of two only one is left free.
    So the stroke at beat 0 has half a second, and the record is called up."""
    routine = routine_of({"left": works(10.0, 11.0), "bars": "1/2"}, {"left": runs(10.45)})
    rows, _ = played(chance, routine)
    same(rows[1:5], [*pushed(1.0, 10.0), (1.675, 10.0, 0.0)])


@pytest.mark.parametrize(
    ("plan", "home_s"),
    [
        (works(10.0, 11.0), 10.0), (works(10.0, 11.0, cue=10.85), 10.85),
        (works(10.0, 11.0, cue=10.95), 10.0),  # no way forward from there
        (works(10.0, 10.1, cue=10.04), 10.04), (works(10.0, 10.1, cue=10.06), 10.0),
    ],
)  # fmt: skip
def test_a_record_stands_at_its_cue_between_strokes_where_there_is_a_way_forward(
    chance, plan, home_s
):
    _, told = played(chance, routine_of({"left": plan | {"strokes": [2, 4]}}))
    assert [cue_s for *_, cue_s in told] == [home_s, home_s]


def test_a_record_that_ran_is_called_up_to_its_span_and_scratched_half_a_beat_later(chance):
    """The stroke of its own at beat 0 is left out."""
    routine = routine_of({"left": runs(10.0)}, {"left": works(30.0, 31.0)})
    rows, _ = played(chance, routine)
    same(rows[3:7], [(5.0 - HOLD_S, 14.0 - HOLD_S, 1.0), (5.0, 14.0 - HELD, 0.0),
                     (5.0, 30.0, 0.0), (6.0, 30.0, 0.0)])  # fmt: skip


# -- acts the map writes out


def test_written_acts_are_played_and_the_record_is_brought_on(chance):
    """Out at 1.0 and back by 2.0; then 10 turns at 2.5 a second would be 4.43 s of 2.85: called up
    half-way between .15 and .5 s before."""
    acts = {0: "push a for 1", 1: "pull for 1"}
    plan = works(10.0, 11.0, acts=acts, places=PARTS)
    rows, told = played(chance, routine_of({"left": plan}, {"left": runs(28.0)}))
    same(rows, [
        (0.1, 10.0, 0.0), (1.0, 10.0, 0.0), (1.5, 10.4, 0.0), (2.0, 10.0, 0.0),
        (4.675, 10.0, 0.0), (4.675, 28.0, 0.0), *let_go(5.0, 28.0), *taken(9.0, 32.0),
    ])  # fmt: skip
    assert [event[:5] for event in told] == [
        ("stroke", 0, 0.0, 1.0, 1.0), ("pull", 0, 1.0, 1.5, 1.5), ("start", 1, 0.0, 5.0, 5.0),
        ("stop", 1, 8.0, 9.0, 9.0),
    ]  # fmt: skip


def test_a_record_that_still_runs_at_the_end_of_its_acts_is_called_up_on_the_beat(chance):
    acts = {0: "hold", 4: "let go for 4"}
    plan = works(10.0, 13.0, acts=acts)
    rows, told = played(chance, routine_of({"left": plan}, {"left": runs(28.0)}))
    same(rows, [(0.1, 10.0, 0.0), (1.0, 10.0, 0.0), *let_go(3.0, 10.0),
                (5.0, 12.0, 1.0), (5.0, 28.0, 1.0), *taken(9.0, 32.0)])  # fmt: skip
    assert [event[0] for event in told] == ["release", "start", "stop"]


def test_a_record_is_at_its_pick_up_in_time(chance):
    """It rests in the set piece before and is wanted two beats before its own: at 4 s."""
    plan = works(10.0, 11.0, acts={-2: "push a for 1", -1: "pull for 1", 0: "push a for 1"},
                 places=PARTS)  # fmt: skip
    first = {"left": works(28.0, 29.0, strokes=[0])}
    rows, told = played(chance, routine_of(first, {"right": runs(5.0)}, {"left": plan}))
    at_s = 9.0 - 1.0
    assert [event[:5] for event in told][1:] == [
        ("stroke", 2, -2.0, at_s, at_s), ("pull", 2, -1.0, at_s + 0.5, at_s + 0.5),
        ("stroke", 2, 0.0, 9.0, 9.0),
    ]  # fmt: skip
    # Called up half-way between .15 and .5 s before that: there is no time to wind 10 turns.
    same([row for row in rows if 7.0 < row[0] < 8.0], [(7.675, 28.0, 0.0), (7.675, 10.0, 0.0)])
    assert rows[-2:] == [pytest.approx((9.0, 10.0, 0.0)), pytest.approx((9.5, 10.4, 0.0))]


def test_a_record_whose_acts_are_over_stands_where_the_last_one_left_it(chance):
    """Begun at beat 4: moved there within .19 s, .15 and a tenth of the way."""
    plan = works(10.0, 11.0, acts={0: "push a for 1"}, places=PARTS)
    rows, told = played(chance, routine_of({"left": plan}), [Step(0, 4.0, 8.0)])
    same(rows, [(0.1, 10.0, 0.0), (1.0, 10.0, 0.0), (1.19, 10.4, 0.0)])
    assert told == []


def test_acts_still_to_come_are_played_from_where_they_begin(chance):
    plan = works(10.0, 11.0, acts={0: "push a for 1", 5: "pull for 1"}, places=PARTS)
    rows, told = played(chance, routine_of({"left": plan}), [Step(0, 4.0, 8.0)])
    same(rows[2:], [(1.19, 10.4, 0.0), (1.5, 10.4, 0.0), (2.0, 10.0, 0.0)])
    assert [event[:3] for event in told] == [("pull", 0, 5.0)]


# -- what the performer has in mind where the order is left


def test_the_cue_in_mind_is_the_maps_next_and_after_a_pause_the_one_that_comes(chance):
    routine = routine_of({"left": runs(10.0)}, {"right": runs(5.0)}, {"left": runs(20.0)},
                         {"left": runs(40.0)})  # fmt: skip
    rows, _ = played(chance, routine, [Step(0, to_beat=8.0), Step(1, to_beat=8.0),
                                       Step(3, to_beat=8.0)])  # fmt: skip
    # Wound to 20 for the third, which is left out: the fourth is called up half-way between .15
    # and .4 s before where there is time, here on the beat.
    assert 20.0 in [pytest.approx(x) for t, x, _ in rows if 6.0 < t < 9.0]
    assert rows[-3][1] == pytest.approx(40.0 + SLIP)
    later, _ = played(chance, routine, [Step(3, to_beat=8.0)])
    same(later, [(0.1, 40.0, 0.0), *let_go(1.0, 40.0), *taken(5.0, 44.0)])


def test_a_record_left_early_is_called_up_where_it_would_have_run_on(chance):
    routine = routine_of({"left": runs(10.0)}, {"left": runs(14.0)})
    rows, _ = played(chance, routine, [Step(0, to_beat=7.0), Step(1, to_beat=8.0)])
    same(rows[3:], [(4.5, 13.5, 1.0), (4.5, 14.0, 1.0), *taken(8.5, 18.0)])


def test_a_running_record_is_taken_as_it_passes_its_span_or_held_and_wound_there(chance):
    """It comes by 18 s at 9.0; to 20 s it is brought."""
    by, brought = (
        played(chance, routine_of({"left": runs(10.0)}, {"right": runs(5.0)},
                                  {"left": works(at, at + 1, strokes=[4])}))[0]
        for at in (18.0, 20.0)
    )  # fmt: skip
    same(by[3:5], [(9.0 - HOLD_S, 18.0 - HOLD_S, 1.0), (9.0, 18.0 - HELD, 0.0)])
    same(brought[3:5], taken(5.6, 14.6))
