"""Written acts, scratches and the mixer of a simulated performance, by hand.

60 BPM: a beat is a second, and at pitch 0 a second of record.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.routine.acts import Act
from liveaid.routine.model import Performer, Piece
from liveaid.simulate import STEADY
from liveaid.simulate.acting import _comes_back, play_acts
from liveaid.simulate.course import Leg, lay_course
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.fader_moves import mixer_messages
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import scratch
from liveaid.simulate.steps import Step, pause, plain_steps
from liveaid.simulate.turns import JuggleTurn, TurnStroke
from liveaid.simulate.turntable import HOLD_S, RELEASE_S, Record

WORKS = {"hand": "works", "from": 10.0, "to": 12.0}
RUNS = {"hand": "runs", "at": 10.0}


def leg_of(*, to_beat=8.0, from_beat=0.0, **sides):
    piece = Piece.model_validate(
        {"name": "P", "bars": 2, "tempo": 60, "count": "clock"} | (sides or {"left": WORKS})
    )
    return Leg(Step(0, from_beat, to_beat), piece, from_beat, from_beat, to_beat, from_beat,
               to_beat, count=MotionLine(0.0, 0.0, 1.0))  # fmt: skip


def hand_of(**hands):
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    return DeckHand("left", record, replace(STEADY, **hands), Performer(),
                    np.random.default_rng(1))  # fmt: skip


def act(kind, beat, beats, from_s, to_s, **more):
    return Act(kind=kind, side="left", piece=0, beat=beat, beats=beats, from_s=from_s, to_s=to_s,
               **more)  # fmt: skip


def played(*acts, until_beat=8.0, **hands):
    hand = hand_of(**hands)
    play_acts(hand, leg_of(), acts, until_beat=until_beat)
    return hand


def place_s(hand, *at_s):
    return hand.record.track().position_s(np.array(at_s))


def told(hand):
    return [(event.kind, event.beat, event.planned_s) for event in hand.events]


def test_a_push_and_its_way_back_end_where_the_next_act_begins():
    hand = played(act("push", 1.0, 0.5, 10.0, 10.2), act("pull", 1.5, 0.5, 10.2, 10.0))
    assert told(hand) == [("stroke", 1.0, 1.0), ("pull", 1.5, 1.5)]
    assert [event.actual_s for event in hand.events] == pytest.approx([1.0, 1.5])
    assert place_s(hand, 1.0, 1.25, 1.5, 1.75, 2.0) == pytest.approx([10, 10.1, 10.2, 10.1, 10])


def test_a_record_let_go_passes_its_place_on_the_beat_and_is_caught():
    hand = played(act("let go", 1.0, 2.0, 10.0, 12.0), act("catch", 3.0, 0.0, 12.0, 12.0))
    assert told(hand) == [("release", 1.0, 1.0), ("return", 3.0, 3.0)]
    assert [event.actual_s for event in hand.events] == pytest.approx([1.0, 3.0])
    assert place_s(hand, 2.0, 2.9) == pytest.approx([11.0, 11.9])
    assert hand.record.line is None


def test_a_late_hand_is_late_at_both_ends_of_an_act_that_stands_alone():
    """.1 s late: the push from 1.1 to 1.6; a release by its own bias."""
    hand = played(act("push", 1.0, 0.5, 10.0, 10.2), act("let go", 4.0, 2.0, 10.2, 12.2),
                  stroke_bias_s=0.1, timing_bias_s=0.2)  # fmt: skip
    assert [event.actual_s for event in hand.events] == pytest.approx([1.1, 4.2])
    assert place_s(hand, 1.35, 1.6, 5.2) == pytest.approx([10.1, 10.2, 11.2])


def test_what_no_act_takes_is_taken_where_its_act_ends():
    hand = played(act("let go", 1.0, 2.0, 10.0, 12.0))
    assert hand.record.line is None
    assert hand.record.now_s == pytest.approx(3.0, abs=0.2)
    last = played(act("let go", 5.0, 3.0, 10.0, 13.0))
    assert last.record.line is not None  # it runs out of the leg


def test_only_the_leg_s_own_acts_are_played():
    acts = (act("push", 1.0, 0.5, 10.0, 10.2), act("push", 2.0, 0.5, 10.2, 10.4))
    assert told(played(*acts, until_beat=2.0)) == [("stroke", 1.0, 1.0)]


def test_an_act_the_map_does_not_write_is_done_and_not_told():
    hand = played(act("push", 1.0, 0.5, 10.0, 10.2, written=False))
    assert told(hand) == []
    assert place_s(hand, 2.0) == pytest.approx([10.2])


def test_an_act_left_out_is_told_without_a_time():
    hand = played(act("push", 1.0, 0.5, 10.0, 10.2), act("pull", 1.5, 0.5, 10.2, 10.0),
                  miss_rate=1.0)  # fmt: skip
    assert [event.actual_s for event in hand.events] == [None, None]
    assert place_s(hand, 1.5) == pytest.approx([10.0])


def scratched(*strokes, until_beat=8.0, **hands):
    hand = hand_of(**hands)
    scratch(hand, leg_of(), strokes, until_beat=until_beat, home_s=10.0)
    return hand


def test_a_scratch_goes_forwards_on_its_beat_and_is_back_before_the_next():
    hand = scratched(*(TurnStroke(beat, True) for beat in (1.0, 1.5, 2.0, 2.5)), until_beat=3.0)
    assert told(hand) == [("stroke", beat, beat) for beat in (1.0, 1.5, 2.0, 2.5)]
    assert [event.actual_s for event in hand.events] == pytest.approx([1.0, 1.5, 2.0, 2.5])
    assert place_s(hand, 1.0, 1.5, 2.0, 2.5, 3.0) == pytest.approx([10.0] * 5, abs=1e-6)
    assert (place_s(hand, 1.07, 1.57, 2.07, 2.57) > 10.01).all()
    assert place_s(hand, *np.arange(0, 3, 0.01)).max() < 12.0


def test_strokes_of_its_own_are_played_and_not_told():
    assert told(scratched(TurnStroke(1.0, False), TurnStroke(2.0, True))) == [("stroke", 2.0, 2.0)]


def test_a_missed_stroke_is_told_without_a_time_and_one_of_its_own_is_not_missed():
    hand = scratched(TurnStroke(1.0, True), TurnStroke(2.0, False), miss_rate=1.0)
    assert [(event.beat, event.actual_s) for event in hand.events] == [(1.0, None)]
    assert place_s(hand, 1.07)[0] == pytest.approx(10.0)
    assert place_s(hand, 2.07)[0] > 10.01


def test_an_added_stroke_comes_half_way_to_the_next():
    """Beats 1 and 2 and a fifth of a beat after: only the first gap is wide enough."""
    hand = scratched(*(TurnStroke(beat, True) for beat in (1.0, 2.0, 2.2)), added_rate=1.0)
    added = [event for event in hand.events if event.planned_s is None]
    assert [event.actual_s for event in added] == pytest.approx([1.5])
    assert [event.beat for event in added] == pytest.approx([1.5])


def test_two_strokes_of_one_hand_are_six_hundredths_apart():
    hand = scratched(TurnStroke(1.0, True), TurnStroke(1.01, True))
    begun = [event.actual_s for event in hand.events]
    assert begun[1] - begun[0] >= 0.06 - 1e-9


# -- the mixer


def mixed(*legs, turns=None, hamster=False, seed=1, **hands):
    pieces = [leg.piece for leg in legs if leg.piece is not None]
    routine = Routine.model_validate({"title": "T", "performer": {"hamster": hamster},
                                      "pieces": pieces})  # fmt: skip
    return mixer_messages(routine, legs, turns or {}, replace(STEADY, **hands),
                           np.random.default_rng(seed))  # fmt: skip


def of(found, control):
    return [(round(move.now_s, 4), round(move.value, 4)) for move in found
            if move.control == control]  # fmt: skip


JUGGLE = leg_of(left=WORKS, right=WORKS)


def turn(side, begins, ends):
    return JuggleTurn(side, begins, ends)


@pytest.mark.parametrize("hamster", [False, True])
def test_a_juggle_is_cut_from_side_to_side_in_four_steps_about_the_beat(hamster):
    """Forty milliseconds, half of them before: .25 at 1.99, .5 at 2.0, .75 at 2.01, 1 at 2.02."""
    turns = {0: [turn("left", 0, 2), turn("right", 2, 4)]}
    found = mixed(JUGGLE, turns=turns, hamster=hamster)
    plain = [(0.0, 0.0), (1.99, 0.25), (2.0, 0.5), (2.01, 0.75), (2.02, 1.0)]
    assert of(found, "crossfader") == [(t, 1.0 - v if hamster else v) for t, v in plain]
    assert of(found, "left") == of(found, "right") == [(0.0, 1.0)]
    assert [move.now_s for move in found] == sorted(move.now_s for move in found)


def test_a_cut_is_quicker_where_the_next_is_near():
    """To the next cut 50 ms: four tenths of that are 20, half before the beat."""
    turns = {0: [turn("left", 0, 2), turn("right", 2, 2.05), turn("left", 2.05, 4)]}
    found = of(mixed(JUGGLE, turns=turns), "crossfader")
    assert found[1:5] == [(1.995, 0.25), (2.0, 0.5), (2.005, 0.75), (2.01, 1.0)]
    assert found[-1] == (2.07, 0.0)


def test_where_the_same_side_goes_on_nothing_is_moved():
    turns = {0: [turn("left", 0, 2), turn("left", 2, 4)]}
    assert of(mixed(JUGGLE, turns=turns), "crossfader") == [(0.0, 0.0)]


@pytest.mark.parametrize(
    ("sides", "stands", "left", "right"),
    [
        ({"left": RUNS}, 0.0, 1.0, 0.0), ({"right": RUNS}, 1.0, 0.0, 1.0),
        ({"left": RUNS, "right": RUNS}, 0.5, 1.0, 1.0),
    ],
)  # fmt: skip
def test_decks_that_rest_are_closed(sides, stands, left, right):
    found = mixed(leg_of(**sides))
    assert (of(found, "crossfader"), of(found, "left"), of(found, "right")) == (
        [(0.0, stands)], [(0.0, left)], [(0.0, right)],
    )  # fmt: skip


@pytest.mark.parametrize(("side", "open_", "shut"), [("left", 0.0, 1.0), ("right", 1.0, 0.0)])
def test_a_scratch_is_cut_off_after_the_half_beat_and_opened_before_the_next(side, open_, shut):
    """Closed at the half of a beat, opened at .7 to .9 of it; not on every beat."""
    found = of(mixed(leg_of(**{side: WORKS})), "crossfader")
    assert found[0] == (0.0, open_)
    shuts = [t for t, value in found[1:] if value == shut]
    opens = [t for t, value in found[1:] if value == open_]
    assert 0 < len(shuts) < 8
    assert len(shuts) == len(opens)
    for closes, reopens in zip(shuts, opens, strict=True):
        assert closes % 1 == pytest.approx(0.52, abs=1e-3)
        assert 0.7 <= (reopens - 0.02) % 1 <= 0.9


def test_a_fader_s_error_is_as_wide_as_asked():
    turns = {0: [turn(("left", "right")[n % 2], n * 0.5, 0) for n in range(16)]}
    off = []
    for seed in range(20):
        found = mixed(JUGGLE, turns=turns, seed=seed, fader_error_s=0.01)
        middle = [t for t, value in of(found, "crossfader") if value == 0.5]
        off += [t - round(t * 2) / 2 for t in middle]
    assert np.std(off) == pytest.approx(0.01, rel=0.15)
    assert abs(np.mean(off)) < 0.002


# -- acts and the mixer with the hands' chance fixed: all that comes of it, by hand


def done(chance, *acts, until_beat=8.0, share=0.5, **hands):
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    hand = DeckHand("left", record, replace(STEADY, **hands), Performer(), chance(share))
    play_acts(hand, leg_of(), acts, until_beat=until_beat)
    return hand


def same_knots(hand, expected):
    track = hand.record.track()
    rows = zip(track.t_s.tolist(), track.x_s.tolist(), track.speed.tolist(), strict=True)
    found = [number for row in list(rows)[1:-1] for number in row]
    assert found == pytest.approx([number for row in expected for number in row], abs=1e-9)


SLIP, HELD = RELEASE_S / 2, HOLD_S / 2


def test_every_kind_of_act_moves_the_record_as_it_says(chance):
    hand = done(
        chance,
        act("push", 1.0, 0.5, 10.0, 10.4),
        act("hold", 1.5, 0.5, 10.4, 10.4),
        act("let go", 2.0, 1.0, 10.4, 11.4),
        act("catch", 3.0, 0.0, 11.4, 11.4),
        act("back-cue", 3.0, 1.0, 11.4, 10.0, written=False),
        act("push", 4.0, 0.25, 10.0, 10.2),
        act("pull", 4.5, 0.25, 10.2, 10.0),
        act("needle", 5.0, 1.0, 10.0, 11.0),
        act("set pitch", 6.0, 1.0, 11.0, 11.0, speed=1.02),
        act("let go", 7.0, 0.5, 11.0, 11.51, speed=1.02),
        act("set pitch", 7.5, 0.25, 11.51, 11.75, speed=0.96),
    )
    back_s = 3.0 + HOLD_S + 0.85 * (1.0 - HOLD_S)  # in .85 of the time left
    same_knots(hand, [
        (1.0, 10.0, 0.0), (1.5, 10.4, 0.0),
        (2.0 - SLIP, 10.4, 0.0), (2.0 + SLIP, 10.4 + SLIP, 1.0),
        (3.0, 11.4, 1.0), (3.0 + HOLD_S, 11.4 + HELD, 0.0), (back_s, 10.0, 0.0),
        (4.0, 10.0, 0.0), (4.25, 10.2, 0.0), (4.5, 10.2, 0.0), (4.75, 10.0, 0.0),
        (5.0, 10.0, 0.0), (5.9, 10.0, 0.0), (5.9, 11.0, 0.0),  # down after .9 of the time
        (6.0, 11.0, 0.0), (7.0 - SLIP, 11.0, 0.0), (7.0 + SLIP, 11.0 + 1.02 * SLIP, 1.02),
        (7.5, 11.51, 1.02), (7.75, 11.75, 0.96), (7.75 + HOLD_S, 11.75 + 0.96 * HELD, 0.0),
    ])  # fmt: skip
    assert [(e.kind, e.beat, e.planned_s, e.actual_s, e.onset_s, e.cue_s) for e in hand.events] == [
        (kind, beat, beat, pytest.approx(beat), pytest.approx(beat), cue_s)
        for kind, beat, cue_s in (
            ("stroke", 1.0, 10.0), ("release", 2.0, 10.4), ("return", 3.0, 11.4),
            ("stroke", 4.0, 10.0), ("pull", 4.5, 10.2), ("release", 7.0, 11.0),
        )
    ]  # fmt: skip


def test_a_record_is_spun_back_in_most_of_the_time_and_a_running_one_is_held_first(chance):
    hand = done(chance, act("let go", 1.0, 1.0, 10.0, 11.0), act("spin back", 2.0, 1.0, 11.0, 9.0))
    same_knots(hand, [
        (1.0 - SLIP, 10.0, 0.0), (1.0 + SLIP, 10.0 + SLIP, 1.0), (2.0, 11.0, 1.0),
        (2.0 + HOLD_S, 11.0 + HELD, 0.0), (2.0 + HOLD_S + 0.85, 9.0, 0.0),
    ])  # fmt: skip
    pushed = done(chance, act("let go", 1.0, 1.0, 10.0, 11.0), act("push", 2.0, 1.0, 11.0, 11.5))
    # Held within HOLD_S and pushed in what is left, to where it was meant.
    same_knots(pushed, [
        (1.0 - SLIP, 10.0, 0.0), (1.0 + SLIP, 10.0 + SLIP, 1.0), (2.0, 11.0, 1.0),
        (2.0 + HOLD_S, 11.0 + HELD, 0.0), (3.0, 11.5, 0.0),
    ])  # fmt: skip


def test_before_a_record_is_let_go_a_stroke_ends_half_the_slip_earlier(chance):
    hand = done(chance, act("push", 1.0, 0.5, 10.0, 10.4), act("let go", 1.5, 1.0, 10.4, 11.4))
    same_knots(hand, [
        (1.0, 10.0, 0.0), (1.5 - SLIP, 10.4, 0.0), (1.5 + SLIP, 10.4 + SLIP, 1.0),
        (2.5, 11.4, 1.0), (2.5 + HOLD_S, 11.4 + HELD, 0.0),
    ])  # fmt: skip


@pytest.mark.parametrize(
    ("next_beat", "rate", "adds"), [(2.46, 0.6, True), (2.44, 0.6, False), (2.46, 0.5, False)]
)
def test_a_small_stroke_is_added_where_there_is_time_for_it(chance, next_beat, rate, adds):
    """A tenth of a second after, .15 s of record out and back, .12 s each."""
    hand = done(
        chance, act("push", 1.0, 1.0, 10.0, 10.4), act("let go", next_beat, 7.0, 10.4, 17.4),
        added_rate=rate,
    )  # fmt: skip
    added = [(2.1, 10.4, 0.0), (2.22, 10.55, 0.0), (2.34, 10.4, 0.0)] if adds else []
    same_knots(hand, [
        (1.0, 10.0, 0.0), (2.0, 10.4, 0.0), *added,
        (next_beat - SLIP, 10.4, 0.0), (next_beat + SLIP, 10.4 + SLIP, 1.0),
    ])  # fmt: skip
    told = [(e.kind, e.beat, e.planned_s, e.cue_s) for e in hand.events[1:-1]]
    assert told == [("stroke", pytest.approx(2.1), None, 10.4)][:adds]


def test_a_turn_of_acts_is_left_out_as_a_whole(chance):
    acts = (act("push", 1.0, 0.5, 10.0, 10.4), act("pull", 1.5, 0.5, 10.4, 10.0),
            act("push", 2.0, 0.5, 10.0, 10.4))  # fmt: skip
    for rate, times in ((0.6, [None, None, 2.0]), (0.5, [1.0, 1.5, 2.0])):
        hand = done(chance, *acts, miss_rate=rate)
        assert [event.actual_s for event in hand.events] == times


def test_a_scratch_of_its_own_is_cut_off_from_the_half_of_a_beat(chance):
    """Two fifths of the way from .7 to .9: opened at .78 of the beat."""
    leg = leg_of(to_beat=2.0, left=WORKS)
    routine = Routine.model_validate({"title": "T", "pieces": [leg.piece]})
    found = of(mixer_messages(routine, [leg], {}, STEADY, chance(0.4)), "crossfader")
    cut = [(-0.01, 0.25), (0.0, 0.5), (0.01, 0.75), (0.02, 1.0)]
    assert found == [(0.0, 0.0)] + [
        (round(beat + at + t, 4), value if at == 0.5 else 1.0 - value)
        for beat in (0.0, 1.0)
        for at in (0.5, 0.78)
        for t, value in cut
    ]
    assert of(mixer_messages(routine, [leg], {}, STEADY, chance(0.5)), "crossfader") == found[:1]


def test_where_acts_are_written_the_fader_goes_where_they_are_heard(chance):
    """Half a second a beat. The left record runs from 1.0; the pick-up on the right is at 4.5 and
    its deck is up .1 s before; both are heard until 5.0, the right one until beat 1, then none:
    the fader goes to the side that is not worked. All are silent from 9.0."""
    right = {"hand": "works", "from": 10.0, "to": 11.0, "places": {"a": {"from": 10.0, "to": 10.4}},
             "acts": {"-1": "push a for 1/2", "-1/2": "pull for 1/2", "0": "push a for 1",
                      "2": "pull for 1 closed"}}  # fmt: skip
    plain = {"bars": 2, "tempo": 120}
    routine = Routine.model_validate({"title": "T", "pieces": [
        {"name": "A", "count": "left", "left": RUNS, **plain},
        {"name": "B", "count": "clock", "right": right, **plain},
    ]})  # fmt: skip
    steps = [pause(1.0), *plain_steps(routine), pause(1.0)]
    found = mixer_messages(routine, lay_course(routine, steps, STEADY, chance()), {}, STEADY,
                           chance())  # fmt: skip

    def faded(at_s, was, value):
        return [(at_s - 0.01 + 0.01 * n, was + (value - was) * (n + 1) / 4) for n in range(4)]

    def rounded(*rows):
        return [(round(t, 4), round(value, 4)) for t, value in rows]

    assert of(found, "left") == rounded((0.0, 0.0), *faded(1.0, 0.0, 1.0), *faded(5.0, 1.0, 0.0))
    assert of(found, "right") == rounded((0.0, 0.0), *faded(4.4, 0.0, 1.0), *faded(9.0, 1.0, 0.0))
    assert of(found, "crossfader") == rounded(
        (0.98, 0.0), *faded(4.5, 0.0, 0.5), *faded(5.0, 0.5, 1.0), *faded(5.5, 1.0, 0.0)
    )


def test_the_least_act_takes_a_fiftieth_of_a_second(chance):
    hand = done(chance, act("push", 1.0, 0.01, 10.0, 10.02))
    same_knots(hand, [(1.0, 10.0, 0.0), (1.02, 10.02, 0.0)])


def test_a_stroke_is_added_by_the_time_to_the_next_act_and_to_no_other(chance):
    """.3 s after the push the record is held, and stands for long: only then one is added."""
    hand = done(
        chance, act("push", 1.0, 1.0, 10.0, 10.4), act("hold", 2.3, 3.0, 10.4, 10.4),
        act("let go", 6.0, 2.0, 10.4, 12.4), added_rate=0.6,
    )  # fmt: skip
    added = [event.beat for event in hand.events if event.planned_s is None]
    assert added == pytest.approx([2.4])


@pytest.mark.parametrize(("to_s", "back"), [(10.009, True), (9.991, True), (10.02, False)])
def test_acts_that_end_within_a_hundredth_where_they_began_move_none_after_them(to_s, back):
    acts = [SimpleNamespace(from_s=10.0, to_s=10.4), SimpleNamespace(from_s=10.4, to_s=to_s)]
    assert _comes_back(acts) is back
