"""A set piece bar by bar: the plan's way of each record worked out by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice.bars_picture import _count, _marks, _span, _taken, planned_way
from liveaid.practice.visits import Visit


def test_a_juggled_record_runs_from_its_cue_until_the_other_comes_in(spice_row):
    """Mortar twins: left let go on 0, 2, 4..., right on 1, 3, 5...; a beat is 0.6 s of record."""
    beats = np.array([0.0, 0.5, 0.99, 1.5, 2.0, 3.5])
    left = planned_way(spice_row, 2, "left", beats)
    assert left[[0, 1, 2, 4]] == pytest.approx([25.2, 25.5, 25.2 + 0.594, 25.2])
    assert np.isnan(left[[3, 5]]).all()  # being brought back: how is the hand's
    right = planned_way(spice_row, 2, "right", beats)
    assert np.isnan(right[:3]).all()
    assert right[[3, 5]] == pytest.approx([5.4 + 0.3, 5.4 + 0.3])


def test_a_record_that_runs_goes_straight_and_a_scratch_by_strokes_is_the_hands_own(spice_row):
    """Pestle: left at 9.0 s on beat 0, 0.6 s on by each."""
    beats = np.array([0.0, 1.0, 16.0])
    assert planned_way(spice_row, 1, "left", beats) == pytest.approx([9.0, 9.6, 18.6])
    assert planned_way(spice_row, 1, "right", beats) is None
    assert planned_way(spice_row, 0, "right", beats) is None  # rests


def test_a_release_that_nobody_takes_lasts_as_long_as_its_span(spice_row):
    """Right plays from 5.4 to 6.6: two beats of 0.6 s. Its last release, on 15, is not taken."""
    last = planned_way(spice_row, 2, "right", np.array([14.99, 15.0, 16.9, 17.0]))
    assert last[[1, 2]] == pytest.approx([5.4, 5.4 + 1.9 * 0.6])
    assert np.isnan(last[[0, 3]]).all()


def counted(visit, *acts, gone=0.0):
    """By acts (beat, second due; None where no count told it)."""
    score = SimpleNamespace(acts=[SimpleNamespace(beat=beat, due_s=due_s) for beat, due_s in acts])
    return _count(visit, score, gone)


def test_a_beats_second_is_read_between_acts_and_goes_on_evenly_beyond_them():
    """Due on 1, 3 and 7 at 10, 12 and 13 s, half a second a beat from the first to the last."""
    when = counted(
        Visit(0, 0.0, 8.0, 9.0, 14.0), (7.0, 13.0), (1.0, 10.0), (3.0, 12.0), (4.0, None)
    )
    beats = np.array([-1.0, 0.0, 1.0, 2.0, 5.0, 7.0, 8.0, 9.0])
    assert when(beats) == pytest.approx([9.0, 9.5, 10.0, 11.0, 12.5, 13.0, 13.5, 14.0])
    later = counted(Visit(0, 0.0, 8.0, 9.0, 14.0), (9.0, 10.0), (11.0, 12.0), gone=8.0)
    assert later(np.array([0.0, 1.0, 4.0])) == pytest.approx([9.0, 10.0, 13.0])


def test_fewer_than_two_acts_tell_no_count_the_visit_does():
    """From beat 2 at 9 s to beat 8 at 12 s; two acts are enough."""
    visit, beats = Visit(0, 2.0, 8.0, 9.0, 12.0), np.array([2.0, 4.0, 8.0, 10.0])
    for acts in ((), ((4.0, 99.0),), ((4.0, None), (5.0, None))):
        assert counted(visit, *acts)(beats) == pytest.approx([9.0, 10.0, 12.0, 13.0])
    two = counted(visit, (2.0, 20.0), (4.0, 22.0))
    assert two(beats) == pytest.approx([20.0, 22.0, 26.0, 28.0])


def test_a_band_shows_a_worked_span_and_15_hundredths_of_it_beyond(spice_row):
    """Mortar twins: left from 25.2 on, right from 5.4 to 6.6; Pestle's left runs from 9 s."""
    plan = spice_row.pieces[2].plan("right")
    assert (plan.from_s, plan.to_s) == (5.4, 6.6)
    assert _span(spice_row, 2, "right") == pytest.approx((5.4 - 0.18, 6.6 + 0.18))
    assert _span(spice_row, 1, "left") == pytest.approx((9.0, 9.0 + spice_row.piece_s(1)))
    assert _span(spice_row, 0, "right") == pytest.approx((0.0, spice_row.piece_s(0)))


def test_a_juggled_record_is_taken_as_the_other_comes_in(spice_row):
    """Left, let go on 0, 2, 4 ..., is taken on 1, 3, 5 ..., right a beat later; the last is not."""
    left, right = (_taken(spice_row, 2, side) for side in ("left", "right"))
    assert [left[beat] for beat in (0.0, 2.0, 14.0)] == [1.0, 3.0, 15.0]
    assert [right[beat] for beat in (1.0, 13.0)] == [2.0, 14.0]
    assert 15.0 not in right


def test_marks_stand_by_their_own_record_in_their_own_bars():
    """Two bars from beat 4 to 12 of what began after 8: 40 ms late above, a miss below, one too
    many; what lies before, at the end or beyond is another row's."""
    drawn = []
    axis = SimpleNamespace(
        plot=lambda beat, y, mark, **_: drawn.append((mark, beat, y)),
        text=lambda beat, y, said, **_: drawn.append((said, beat, y)),
    )

    def act(beat, side, outcome, error_ms=None):
        return SimpleNamespace(beat=beat, side=side, outcome=outcome, error_ms=error_ms)

    acts = [
        act(11.9, "left", "missed"), act(12.0, "left", "heard", 40.2),
        act(13.0, "right", "missed"), act(14.0, "right", "added"), act(15.0, "left", "skipped"),
        act(19.9, "right", "heard", -3.6), act(20.0, "left", "missed"),
    ]  # fmt: skip
    _marks(axis, SimpleNamespace(acts=acts), 4.0, 12.0, 8.0)
    assert drawn == [
        ("+40", 4.0, 1.06), ("x", 5.0, -1.06), ("+", 6.0, -1.06),
        ("-4", pytest.approx(11.9), -1.06),
    ]  # fmt: skip
