"""A set piece bar by bar: the plan's way of each record worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.bars_picture import planned_way


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
