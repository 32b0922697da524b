"""The tally of how well a performance was followed, worked out by hand."""

from __future__ import annotations

import asyncio
import time
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.demo.show import ShowOutcome, _ask
from liveaid.demo.tally import ShownAt, ToldAt, lateness_ms, tally


def truth_at(time_s: float) -> tuple[int, float] | None:
    """Two set pieces of four beats at 60 BPM, from second 0 to 8."""
    if not 0.0 <= time_s < 8.0:
        return None
    return int(time_s // 4), time_s % 4


def said(time_s: float, piece: int | None, beat: float | None, sure: bool = True) -> ToldAt:
    return ToldAt(time_s, piece, beat, sure)


def test_a_tally_worked_out_by_hand():
    moments = [
        said(-1.0, 0, 0.0),  # before the routine: not judged
        said(1.0, 0, 1.1),  # right, 100 ms off
        said(2.0, 0, 3.5),  # right set piece, the beat is not
        said(3.0, 1, 0.0),  # wrong set piece, and sure of it
        said(5.0, 1, 1.3, sure=False),  # right, 300 ms off, unsure
        said(9.0, 1, 5.0),  # after it: not judged
    ]
    result = tally(moments, truth_at, lambda index: 1.0)
    assert result.moments == 4
    assert result.pieces_right == 75.0
    assert result.beats_right == 50.0
    assert result.sure == 75.0
    assert result.sure_and_right == pytest.approx(100 / 3)
    assert result.beat_error_ms == pytest.approx(300.0)  # of 100, 300 and 1500


def test_a_beat_off_either_way_is_near_and_more_is_not():
    """A beat of two seconds. Off by -1, +1, -1.5 and +1.5 beats: two of four are near, and half a
    beat is 1000 ms; the middle of 2000, 2000, 3000 and 3000 ms."""
    moments = [said(2.0, 0, 1.0), said(2.0, 0, 3.0), said(6.0, 1, 0.5), said(6.0, 1, 3.5)]
    result = tally(moments, truth_at, lambda index: 2.0)
    assert result.to_json() == {
        "moments": 4,
        "pieces_right": 100.0,
        "beats_right": 50.0,
        "sure": 100.0,
        "sure_and_right": 50.0,
        "beat_error_ms": 2500.0,
    }
    third = tally([said(1.0, 0, 1.0), *moments[2:]], truth_at, lambda index: 2.0)
    assert third.to_json()["beats_right"] == 33.333


def test_a_beat_shown_a_whole_beat_late_or_early_is_late_or_early_and_more_is_wrong():
    """A beat of two seconds: one of it late or early is 2000 ms."""
    shown = [ShownAt(2.0, 0, beat) for beat in (0, 1, 2, 3, 4)]
    assert lateness_ms(shown, truth_at, lambda index: 2.0) == [2000.0, 0.0, -2000.0]


def test_nothing_said_is_nothing_right():
    result = tally([said(1.0, None, None, sure=False)], truth_at, lambda index: 1.0)
    assert (result.pieces_right, result.beats_right, result.beat_error_ms) == (0.0, 0.0, None)
    assert tally([], truth_at, lambda index: 1.0).moments == 0


@given(st.lists(st.floats(0, 7.9)))
def test_the_truth_itself_scores_full_marks(times: list[float]):
    moments = [said(time_s, *(truth_at(time_s) or (None, None))) for time_s in times]
    result = tally(moments, truth_at, lambda index: 1.0)
    assert result.moments == len(times)
    if times:
        assert result.pieces_right == result.beats_right == result.sure_and_right == 100.0


def test_lateness_worked_out_by_hand():
    shown = [
        ShownAt(1.02, 0, 1),  # beat 1 falls at second 1: 20 ms late
        ShownAt(4.99, 1, 1),  # beat 1 of the second piece falls at 5: 10 ms early
        ShownAt(6.0, 0, 6),  # another set piece: wrong, not late
        ShownAt(7.5, 1, 1),  # two beats off: wrong, not late
        ShownAt(9.0, 1, 3),  # after the routine
    ]
    assert lateness_ms(shown, truth_at, lambda index: 1.0) == pytest.approx([20.0, -10.0])


@pytest.mark.parametrize(("state", "sure"), [("following", True), ("searching", False)])
def test_a_moment_is_asked_for_as_a_page_asks(state, sure):
    """What /status says is written down: which set piece, which beat, and whether it is sure."""
    said = {"piece": {"index": 2}, "beat_position": 3.5, "state": state}
    outcome = ShowOutcome()

    async def once():
        asking = asyncio.create_task(
            _ask(SimpleNamespace(status=lambda: said), outcome, time.monotonic())
        )
        await asyncio.sleep(0)
        asking.cancel()

    asyncio.run(once())
    assert [(one.piece, one.beat_position, one.sure) for one in outcome.said] == [(2, 3.5, sure)]
