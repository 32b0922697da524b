"""Single acts of simulated hands, worked out without a whole performance."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.routine.acts import Act
from liveaid.routine.model import Performer, Piece
from liveaid.simulate import STEADY, perform
from liveaid.simulate.acting import _Acting
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import _stroke, scratch
from liveaid.simulate.turns import TurnStroke
from liveaid.simulate.turntable import Record


def act(kind, beat, from_s, to_s):
    return Act(kind=kind, side="left", piece=0, beat=beat, beats=0.5, from_s=from_s, to_s=to_s)


def test_a_stroke_is_left_out_with_its_way_back_or_not_at_all():
    """The first push is pulled back to where it began; after the second the record is elsewhere,
    and without it every act to come would be off its place."""
    acts = [act("push", 0.0, 1.0, 1.2), act("pull", 0.5, 1.2, 1.0), act("push", 1.0, 1.0, 1.3)]
    always = SimpleNamespace(rng=np.random.default_rng(1), hands=SimpleNamespace(miss_rate=1.0))
    assert _Acting._missed(SimpleNamespace(acts=acts, hand=always)) == {0, 1}


@pytest.mark.parametrize("seed", range(5))
def test_a_stroke_stays_in_its_span_however_narrow(seed):
    """Room for 0.05 s of record from 10 s on; at least 0.02 s of it are used."""
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    hand = SimpleNamespace(record=record, rng=np.random.default_rng(seed), hands=STEADY)
    leg = SimpleNamespace(count=MotionLine(0.0, 0.0, 1.0 / 0.6), beat_s=0.6)
    _stroke(hand, leg, 0.4, 0.05, 10.0)
    places_s = record.track().position_s(np.arange(0.0, 0.4, 0.001))
    assert 10.019 < places_s.max() < 10.051
    assert places_s[-1] == pytest.approx(10.0, abs=1e-6)


def _hand(record, **more):
    hands = replace(STEADY, **more)
    return DeckHand("left", record, hands, Performer(), np.random.default_rng(1))


@pytest.mark.parametrize("lasts_s", [0.1, 0.4])
def test_a_push_lasts_until_its_act_ends(lasts_s):
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    acting = SimpleNamespace(hand=_hand(record), _hold=lambda: None)
    _Acting._do(acting, act("push", 0.0, 10.0, 10.2), lasts_s)
    assert record.now_s == pytest.approx(lasts_s)
    assert record.x_s == pytest.approx(10.2, abs=0.01)


@pytest.mark.parametrize(
    ("rate", "runs", "until_s", "added"),
    [(1.0, False, 1.0, 1), (0.0, False, 1.0, 0), (1.0, True, 1.0, 0), (1.0, False, 0.4, 0)],
    ids=["a hand that adds", "one that does not", "while the record runs", "no time for it"],
)
def test_a_stroke_is_added_only_by_a_hand_that_does_while_the_record_stands(
    rate, runs, until_s, added
):
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    hand = _hand(record, added_rate=rate)
    if runs:
        record.put(0.0, 10.0, MotionLine(0.0, 10.0, 1.0))
    leg = SimpleNamespace(index=0, end_s=until_s, count=MotionLine(0.0, 0.0, 2.0))
    _Acting._add_one(SimpleNamespace(hand=hand, leg=leg, acts=[None], begins_s=[0.0]), 0)
    assert len(hand.events) == added


def test_a_record_that_is_not_at_its_cue_is_called_up_up_to_four_tenths_before():
    """To run through 30.0 at 2.0 s: the needle comes down between 1.6 and 1.85 s."""
    for seed in range(4):
        record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
        hand = DeckHand("left", record, STEADY, Performer(), np.random.default_rng(seed))
        hand.start(MotionLine(2.0, 30.0, 1.0))
        places_s = record.track().position_s(np.array([1.59, 1.86]))
        assert places_s == pytest.approx([10.0, 30.0])


def test_strokes_are_as_long_as_their_span_leaves_room_for():
    """A second of room and a beat of .6 s each: twenty strokes, the longest .2 s and more."""
    piece = Piece.model_validate(
        {"name": "P", "bars": 8, "tempo": 100, "count": "clock",
         "left": {"hand": "works", "from": 10.0, "to": 11.0}}
    )  # fmt: skip
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    leg = SimpleNamespace(
        index=0, worked=piece.plan, count=MotionLine(0.0, 0.0, 1.0 / 0.6), beat_s=0.6, end_s=19.2
    )
    strokes = [TurnStroke(beat=float(beat), planned=True) for beat in range(20)]
    scratch(_hand(record), leg, strokes, until_beat=20.0, home_s=10.0)
    places_s = record.track().position_s(np.arange(0.0, 12.0, 0.01))
    assert 10.2 < places_s.max() < 11.05


def test_where_both_records_are_heard_the_crossfader_stands_in_the_middle():
    """0 is left, 1 right; both push on beats 0 and 4, each alone on 2 and on 6."""
    places = {"a": {"from": 1.0, "to": 1.3}}
    acts = {0: "push a for 1/2", 4: "push a for 1/2"}
    works = {"hand": "works", "from": 1.0, "to": 1.3, "places": places}
    piece = {
        "name": "P", "bars": 2, "tempo": 100, "count": "clock",
        "left": {**works, "acts": acts | {2: "push a for 1/2"}},
        "right": {**works, "acts": acts | {6: "push a for 1/2"}},
    }  # fmt: skip
    routine = Routine.model_validate({"title": "T", "pieces": [piece]})
    moves = [m for m in perform(routine, seed=1).mixer if m.control == "crossfader"]
    assert all(0.0 <= move.value <= 1.0 for move in moves)
    assert {0.0, 0.5, 1.0} <= {round(move.value, 3) for move in moves}


@pytest.mark.parametrize(("hamster", "place"), [(False, 0.0), (True, 1.0)])
def test_a_reversed_crossfader_stands_at_its_right_end_for_the_left_deck(hamster, place):
    """Left runs alone. Common practice, no source: hamster turns the fader's ends round."""
    piece = {
        "name": "P", "bars": 2, "tempo": 100, "count": "left",
        "left": {"hand": "runs", "at": 1.0}, "right": {"hand": "rests"},
    }  # fmt: skip
    routine = Routine.model_validate(
        {"title": "T", "performer": {"hamster": hamster}, "pieces": [piece]}
    )
    mixer = perform(routine, seed=1).mixer
    assert {move.value for move in mixer if move.control == "crossfader"} == {place}
    assert 1.0 in {move.value for move in mixer if move.control == "left"}
