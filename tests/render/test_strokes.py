"""What is heard of a worked deck: worked out by hand."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.render.stroke_sounds import beats_to_fit, heard_in, heard_strokes
from liveaid.routine import Routine

RATE_HZ = 1000  # one frame a millisecond: figures can be read


def heard(strokes, *, span_s=10.0, others=(), length_s=8.0, back=4.0):
    found = heard_strokes(strokes, others=others, length_s=length_s, span_s=span_s, back=back)
    return [(round(begin, 9), round(end, 9)) for begin, end in found]


def test_a_stroke_is_heard_until_the_record_has_to_be_brought_back():
    # 1 s between strokes, brought back at 4 times the speed: x + x/4 = 1, so x = 0.8 s.
    assert heard([0.0, 1.0, 2.0], length_s=3.0) == [(0.0, 0.8), (1.0, 1.8), (2.0, 3.0)]


def test_a_stroke_is_heard_no_longer_than_its_span():
    assert heard([0.0, 2.0], span_s=0.5) == [(0.0, 0.5), (2.0, 2.5)]


def test_in_a_juggle_each_deck_is_heard_until_the_other_is_let_go():
    left = heard([0.0, 1.0], others=[0.5, 1.5])
    right = heard([0.5, 1.5], others=[0.0, 1.0], length_s=2.0)
    assert left == [(0.0, 0.5), (1.0, 1.5)]
    assert right == [(0.5, 1.0), (1.5, 2.0)]


@pytest.mark.parametrize(
    ("beats", "every"), [(0.2, 1), (1.0, 1), (1.0005, 1), (1.1, 2), (3.9, 4), (5.0, 8)]
)
def test_a_sound_is_let_go_as_often_as_the_whole_of_it_fits(beats, every):
    assert beats_to_fit(beats) == every


def heard_of(tempo=60, **piece):
    """What is heard of one bar. At 60 BPM a beat is a second; winding at 3 turns a second of 1.8 s
    brings back 5.4 s a second."""
    plain = {"name": "p", "bars": 1, "tempo": tempo}
    return heard_in(Routine(title="t", pieces=({**plain, **piece},)), 0, rate_hz=RATE_HZ)


def works(begin_s=0.0, *, lasts_s=1.0, **more):
    return {"hand": "works", "from": begin_s, "to": begin_s + lasts_s, **more}


RUNS = {"hand": "runs", "at": 0.0}


def test_a_deck_that_runs_is_heard_throughout():
    found = heard_of(left=RUNS)
    assert [(h.side, h.begin_s, h.end_s) for h in found] == [("left", 0.0, 4.0)]


def test_written_strokes_are_followed_from_the_cue():
    found = heard_of(right=works(7.0, strokes=[0.5, 2]))
    assert [(h.begin_s, h.end_s, h.frame) for h in found] == [(0.5, 1.5, 7000), (2.0, 3.0, 7000)]


def test_a_stroke_lasts_from_the_cue_to_the_spans_end():
    """A cue 0.4 s into a second of span leaves 0.6 s to be heard."""
    found = heard_of(right=works(7.0, cue=7.4, strokes=[1]))
    assert [(h.begin_s, round(h.end_s, 9), h.frame) for h in found] == [(1.0, 1.6, 7400)]


def test_a_juggle_without_strokes_takes_turns_of_a_beat_left_first():
    found = heard_of(left=works(lasts_s=4.0), right=works(lasts_s=4.0))
    assert [(h.side, h.begin_s, h.end_s) for h in found] == [
        ("left", 0.0, 1.0), ("right", 1.0, 2.0), ("left", 2.0, 3.0), ("right", 3.0, 4.0),
    ]  # fmt: skip


def test_a_phrase_over_a_beat_is_let_go_where_the_whole_of_it_fits():
    # 1 s of sound takes 1 + 1/5.4 beats with the way back, so it goes on every second beat.
    found = heard_of(left=RUNS, right=works())
    assert [h.begin_s for h in found if h.side == "right"] == [0.0, 2.0]


def test_at_twice_the_tempo_every_stroke_comes_in_half_the_time():
    """120 BPM, a beat is half a second: written strokes, a juggle's turns, and a phrase of 0.5 s
    that goes on every second beat as one of a second does at 60."""
    written = heard_of(120, right=works(lasts_s=4.0, strokes=[0.5, 2]))
    assert [h.begin_s for h in written] == [0.25, 1.0]
    juggle = heard_of(120, left=works(lasts_s=4.0), right=works(lasts_s=4.0))
    assert [h.begin_s for h in juggle] == [0.0, 0.5, 1.0, 1.5]
    phrase = heard_of(120, left=RUNS, right=works(lasts_s=0.5))
    assert [h.begin_s for h in phrase if h.side == "right"] == [0.0, 1.0]


@given(
    st.lists(st.floats(0.0, 15.9), max_size=12, unique=True).map(sorted),
    st.lists(st.floats(0.0, 15.9), max_size=12, unique=True).map(sorted),
    st.floats(0.05, 8.0),
    st.floats(0.5, 36.0),
)
def test_what_is_heard_of_a_deck_fits_its_span_and_leaves_time_to_bring_it_back(
    strokes, others, span_s, back
):
    found = heard_strokes(strokes, others=others, length_s=16.0, span_s=span_s, back=back)
    for begin, end in found:
        assert begin in strokes
        assert begin < end <= 16.0
        assert end - begin <= span_s + 1e-9
        assert not [other for other in others if begin < other < end - 1e-9]
    for (begin, end), (following, _) in pairwise(found):
        assert end + (end - begin) / back <= following + 1e-6
