"""When two places count as one, by hand from the figures of `record/places.py`: 0.05 s there, 0.15
s ready, 0.3 of nominal speed stands (all common practice, no source)."""

import pytest

from liveaid.record.places import SAME_S, is_there, on_course, stands_at


def test_one_place_is_a_few_samples_wide():
    assert 1 < SAME_S * 44100 < 10


@pytest.mark.parametrize(("off_s", "there"), [(0.05, True), (0.051, False)])
def test_a_record_before_its_cue_is_there_as_one_past_it_is(off_s: float, there: bool):
    assert is_there(10.0 - off_s, 10.0) is there
    assert is_there(10.0 + off_s, 10.0) is there


@pytest.mark.parametrize(
    ("off_s", "speed", "stands"),
    [(0.15, 0.0, True), (0.151, 0.0, False), (0.0, 0.29, True), (0.0, 0.3, False),
     (0.0, -0.3, False)],
)  # fmt: skip
def test_a_record_stands_at_its_cue_within_reach_and_slower_than_a_hand_moves_it(
    off_s: float, speed: float, stands: bool
):
    assert stands_at(10.0 - off_s, 10.0, speed) is stands
    assert stands_at(10.0 + off_s, 10.0, speed) is stands


def test_a_fast_record_may_pass_its_cue_as_much_sooner_as_the_hand_waits():
    """2 s of record at speed 2 take 1 s; the cue is due in 3, so it passes 2 s sooner."""
    assert on_course(0.0, 2.0, 2.0, 3.0, waits_s=2.0)
    # Waiting half a second less it is 1 s of record past the cue when it is taken.
    assert not on_course(0.0, 2.0, 2.0, 3.0, waits_s=1.5)
