"""A set piece bar by bar: the plan's way of each record worked out by hand, and the picture."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from liveaid.practice import bars_picture as bars_pictures
from liveaid.practice.aim import aim_of
from liveaid.practice.bars_picture import bars_picture, planned_way
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.simulate import STEADY


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


def test_the_picture_grows_with_its_bars(spice_row, performed, monkeypatch):
    """Two bars a row: Pestle's four are two rows of 2.2 inches and 0.9 more, at 110 dots. A line
    at each beat, thicker where a bar begins."""
    played = performed(seed=2, hands=STEADY)
    trace = trace_of((m.now_s, m.side, m.position_s) for m in played.messages)
    starts = [3.0, 10.2, 19.8]
    visits = tuple(Visit(k, 0.0, [12.0, 16.0][k], starts[k], starts[k + 1]) for k in range(2))
    kept = Kept(title="x", at=0.0, aim="", ended="abandoned", duration_s=17.0, tempo_part=1.0,
                start_s=3.0, counted_in_s=3.0, visits=visits, trace=trace)  # fmt: skip
    aim = aim_of(spice_row, "")
    report = score_of(aim, kept)
    drawn, write = [], bars_pictures.png
    monkeypatch.setattr(bars_pictures, "png", lambda figure: drawn.append(figure) or write(figure))
    png = bars_picture(spice_row, kept, 1, report.pieces[1])
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", png[16:24])  # ISO/IEC 15948, 11.2.2
    assert (width, height) == (1320, pytest.approx(110 * (0.9 + 2 * 2.2), abs=1))
    upright = {
        line.get_xdata()[0]: line.get_linewidth()
        for line in drawn[0].axes[0].lines
        if list(line.get_ydata()) == [0, 1] and line.get_xdata()[0] == line.get_xdata()[1]
    }
    assert sorted(upright) == list(range(9))
    assert [beat for beat, width in upright.items() if width > 1] == [0, 4, 8]
