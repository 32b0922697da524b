"""Recordings that begin and end anywhere: what is in them is told, and no more. Own mixes."""

import sys
from pathlib import Path

import numpy as np
import pytest

from liveaid.practice.delays import Delays
from liveaid.practice.recording import assess_recording
from liveaid.practice.score import score_take

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "bench"))
from recordings import RATE, hall, layers, other_music, part, routine, strokes_off_s


@pytest.fixture(scope="module")
def mix():
    return layers()


def test_begun_in_the_middle_with_other_music_a_repeat_and_a_skip(mix):
    """2 3, 8 s of other music, 3 again, 5 6 (4 left out)."""
    take = np.concatenate([part(mix, 1, 3), other_music(8.0), part(mix, 2, 3), part(mix, 4, 6)])
    played = assess_recording(routine(), mix, RATE, take, RATE)
    assert [one.visit.piece for one in played] == [1, 2, 2, 4, 5]
    starts = [one.visit.start_s for one in played]
    assert starts == pytest.approx([0.0, 9.6, 27.2, 36.8, 46.4], abs=0.03)
    off = np.abs(strokes_off_s(played, 0.0))
    assert len(off) > 20
    assert np.quantile(off, 0.95) < 0.020
    score = score_take(routine(), played, delays=Delays(measured=True))
    assert score.skipped_pieces == (3,)
    assert score.repeated_pieces == (2,)
    assert not score.run_through


def test_hands_late_all_through_in_a_hall_are_told_late_against_the_count(mix):
    """Set pieces 1 to 4 from a hall with its crowd; all that the hands do 30 ms late."""
    take = hall(part(layers(0.030), 0, 4))
    played = assess_recording(routine(), mix, RATE, take, RATE)
    assert [one.visit.piece for one in played] == [0, 1, 2, 3]
    off = strokes_off_s(played, 0.030)
    assert len(off) >= 10
    assert np.mean(off) == pytest.approx(0.0, abs=0.005)
    assert np.quantile(np.abs(off), 0.95) < 0.020


def test_another_music_altogether_holds_nothing_of_the_routine(mix):
    assert assess_recording(routine(), mix, RATE, other_music(30.0), RATE) == []
