"""Small cases of practice worked out by hand: which movements count, and where bars are drawn."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice import assess as assess_module
from liveaid.practice import attempt as attempts
from liveaid.practice import losses
from liveaid.practice.assess import _Held
from liveaid.practice.attempt import Attempt
from liveaid.practice.beat_times import _bent
from liveaid.practice.counting import _alternating
from liveaid.practice.hand_acts import _moves
from liveaid.practice.hear import _taken
from liveaid.practice.motion import Phase, _jitter, _joined
from liveaid.practice.next import mean
from liveaid.practice.take_picture import _seen_s
from liveaid.routine import Works
from liveaid.routine.acts import Act


def test_a_push_counts_that_begins_and_ends_within_its_span(monkeypatch):
    """The span is 10 to 11 s of record, and 0.3 s more either way: 9.7 to 11.3 s."""
    pushes = [(0.5, 10.0, 0.5), (1.0, 9.6, 0.5), (1.5, 10.9, 0.5), (2.0, 9.7, 1.6)]
    monkeypatch.setattr(
        attempts,
        "strokes",
        lambda *_, **__: [
            SimpleNamespace(at_s=at, from_s=begin, way_s=way) for at, begin, way in pushes
        ],
    )
    works = Works.model_validate({"hand": "works", "from": 10.0, "to": 11.0})
    piece = SimpleNamespace(beat_s=0.6, plan=lambda _: works, juggle=None, is_juggle=False)
    visit = SimpleNamespace(piece=0, start_s=0.0, end_s=4.0)
    routine = SimpleNamespace(pieces=[piece], turntable=SimpleNamespace(turn_s=1.8))
    one = Attempt(routine, visit, {"left": SimpleNamespace(motion=None)}, (), None)
    assert one.pushed_s("left") == [0.5, 2.0]  # one begins before the span, one ends beyond it


@pytest.mark.parametrize(
    ("kind", "way_s", "forward", "back"),
    [
        ("push", 0.2, True, False),
        ("pull", -0.2, False, True),
        ("push", 0.0, False, False),
        ("hold", 0.2, False, False),
    ],
)
def test_what_moves_the_record_moves_it_one_way(kind, way_s, forward, back):
    act = Act(kind=kind, side="left", piece=0, beat=0.0, beats=1.0, from_s=1.0, to_s=1.0 + way_s)
    assert (_moves(act, True), _moves(act, False)) == (forward, back)


def test_a_turn_left_out_is_put_in_where_the_same_deck_came_twice():
    """Left on 4 and on 6: right was left out on 5. Twice within a beat left nothing out."""
    by_turns = [(0.0, "left"), (1.0, "right"), (2.0, "left"), (3.0, "right"), (4.0, "left")]
    twice = [*by_turns, (6.0, "left"), (7.0, "right")]
    assert _alternating(twice) == sorted([*twice, (5.0, "right")])
    hasty = [*by_turns, (5.0, "left"), (6.0, "right")]
    assert _alternating(hasty) == hasty


def test_each_bar_of_the_losses_stands_in_the_middle_of_its_bar(spice_row, monkeypatch):
    """The first bar of the routine lies between 0 and 1 on the axis, so its column is about 0.5."""
    drawn = []
    monkeypatch.setattr(losses, "png", lambda figure: drawn.append(figure) or b"")
    losses.losses_picture(spice_row, [])
    bars = sum(spice_row.bar_count(index) for index in range(len(spice_row.pieces)))
    for axis in drawn[0].axes:
        middles = [bar.get_x() + bar.get_width() / 2 for bar in axis.patches[:bars]]
        assert middles == pytest.approx(list(np.arange(bars) + 0.5))
        assert axis.get_xlim() == (0.0, bars)


@pytest.mark.parametrize(("off_s", "joined"), [(0.025, True), (0.03, False)])
def test_a_run_goes_on_where_it_would_have_been_within_what_jitter_blurs(off_s, joined):
    """Messages 2 ms off: .02 + 4 * .002 s of record beside its line are the same run."""
    run = Phase("runs", 0.0, 1.0, 10.0, 11.0, 0, 100, False)
    gap = Phase("moves", 1.0, 1.1, 11.0, 11.1, 100, 110, False)
    after = Phase("runs", 1.1, 2.0, 11.1 + off_s, 12.0 + off_s, 110, 200, False)
    assert len(list(_joined([run, gap, after], 0.002))) == (1 if joined else 3)


def test_how_unevenly_messages_come_is_heard_while_the_record_runs():
    """4 ms of noise on the places of a record that runs, 300 messages; a hand's moves left out."""
    t = np.arange(300) * 0.01
    x = 10.0 + t + np.random.default_rng(3).normal(0.0, 0.004, 300)
    assert _jitter(t, x, np.ones(300)) == pytest.approx(0.004, rel=0.15)
    assert _jitter(t, x, np.full(300, 3.0)) == 0.001


def test_a_stray_act_bends_no_tempo():
    """Every beat is 1 ms longer than the map's, and all are 10 ms late; the ninth .1 s more."""
    beats = np.arange(16.0)
    off = 0.010 + 0.001 * beats + np.where(np.arange(16) % 2, 0.002, -0.002)
    off[8] += 0.1
    change, late = _bent(beats, off, sure_s=10.0)
    assert (change, late) == pytest.approx((0.001, 0.010), abs=0.0005)


def test_a_record_is_taken_as_its_messages_end_where_too_few_tell():
    """A moment is looked for from 20 ms on: 15 ms of messages hold none."""
    t = np.array([5.0, 5.005, 5.015])
    assert _taken(t, np.zeros(3), 0.04) == (5.015, 0.0)


def test_the_mean_of_what_was_told_leaves_out_what_was_not():
    assert mean([None, 2.0, 4.0]) == 3.0
    assert mean([None]) is None


def test_an_act_is_drawn_where_it_was_heard_and_a_missed_one_where_it_was_due():
    assert _seen_s(SimpleNamespace(heard_s=2.1, due_s=2.0)) == 2.1
    assert _seen_s(SimpleNamespace(heard_s=None, due_s=2.0)) == 2.0


def test_a_record_is_brought_by_hand_before_its_first_act_and_after_its_last(monkeypatch):
    """Acts from beat 2 to 6.5 at half a second each; the other deck's way is no matter of this."""
    ways = [
        SimpleNamespace(side="left", by_a_hand=True, before=0, after=1),
        SimpleNamespace(side="left", by_a_hand=True, before=1, after=2),
        SimpleNamespace(side="left", by_a_hand=False, before=1, after=1),
    ]
    monkeypatch.setattr(assess_module, "changes", lambda _: ways)
    judged = SimpleNamespace(
        count=SimpleNamespace(when=lambda beat: beat / 2),
        attempt=SimpleNamespace(visit=SimpleNamespace(piece=1), routine=None),
    )
    acts = [SimpleNamespace(beat=2.0, end_beat=3.0), SimpleNamespace(beat=6.0, end_beat=6.5)]
    spans = list(_Held._brought(judged, "left", acts))
    assert spans == [(-math.inf, 1.0), (3.25, math.inf)]
    assert list(_Held._brought(judged, "right", acts)) == []
    assert list(_Held._brought(judged, "left", [])) == []
