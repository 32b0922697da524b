"""Written acts, scratches and the mixer of a simulated performance, by hand.

60 BPM: a beat is a second, and at pitch 0 a second of record.
"""

from dataclasses import replace

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.routine.acts import Act
from liveaid.routine.model import Performer, Piece
from liveaid.simulate import STEADY
from liveaid.simulate.acting import play_acts
from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.fader_moves import mixer_messages
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import scratch
from liveaid.simulate.steps import Step
from liveaid.simulate.turns import JuggleTurn, TurnStroke
from liveaid.simulate.turntable import Record

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
