"""The count-in: hands-free, at the tempo asked for, dropped when a record moves."""

import pytest

from liveaid.practice.count_in import HELD_S, LEAD_S, Counter, CountIn, first_cues

CUES = {"left": 1.8, "right": 5.4}


def held(counter, until, *, left=1.8, right=5.4, start=0.0):
    """Both records heard standing, ten times a second; the count-in given, if any."""
    given, now = None, start
    while now < until:
        counter.hear("left", left, now)
        counter.hear("right", right, now)
        given = counter.tell(tempo_bpm=100, playing=False, now=now) or given
        now += 0.1
    return given


def test_both_records_held_at_their_cues_ask_for_the_count():
    given = held(Counter(CUES, 4, bars=2), HELD_S + 0.3)
    assert given.beats == 8
    assert given.beat_s == pytest.approx(0.6)
    assert given.start_s == pytest.approx(HELD_S + LEAD_S, abs=0.11)
    assert given.first_beat_s == pytest.approx(given.start_s + 4.8)


@pytest.mark.parametrize("places", [{"left": 2.2}, {"right": 4.9}])
def test_a_record_away_from_its_cue_does_not(places):
    assert held(Counter(CUES, 4), 5.0, **places) is None


def test_a_record_moved_during_the_count_drops_it():
    counter = Counter(CUES, 4)
    given = held(counter, HELD_S + 0.3)
    counter.hear("left", 1.95, given.start_s + 0.7)
    assert counter.count is None


def test_letting_go_on_the_first_beat_answers_the_count():
    counter = Counter(CUES, 4)
    given = held(counter, HELD_S + 0.3)
    counter.hear("left", 1.85, given.first_beat_s + 0.02)
    assert counter.answered(given.first_beat_s + 0.02) == given.first_beat_s
    assert counter.count is None


def test_a_take_far_from_the_count_was_not_counted_in():
    counter = Counter(CUES, 4)
    given = held(counter, HELD_S + 0.3)
    assert counter.answered(given.first_beat_s + 5.0) is None


def test_a_count_that_was_not_taken_up_is_not_given_again_until_a_record_moves():
    counter = Counter(CUES, 4)
    given = held(counter, HELD_S + 0.3)
    later = given.first_beat_s + 3 * given.beat_s
    assert held(counter, later + 5, start=later) is None
    assert held(counter, later + 8, start=later + 5, left=1.86) is not None


def test_no_bars_no_count():
    assert held(Counter(CUES, 4, bars=0), 5.0) is None


def test_the_beat_of_the_count_runs_from_one_to_its_last():
    count = CountIn(10.0, 0.5, 4, 4)
    assert [count.beat(at) for at in (9.99, 10.0, 10.6, 11.99, 12.0)] == [None, 1, 2, 4, None]


def test_only_records_that_sound_first_must_be_at_their_cues(spice_row):
    assert first_cues(spice_row) == {"left": 1.8}


def wound_back(counter, start, until, *, speed=4.0):
    """The left record, stopped at 9 s, brought back to its cue at so many seconds of it a second;
    the right one stands at its cue."""
    given, now = None, start
    while now < until:
        counter.hear("left", max(1.8, 9.0 - speed * (now - start)), now)
        counter.hear("right", 5.4, now)
        given = counter.tell(tempo_bpm=100, playing=False, now=now) or given
        now += 0.01
    return given


def test_a_count_asked_for_while_a_record_runs_goes_on_while_it_is_brought_back():
    """A pad may be heard before positions that were sent earlier: they must not drop the count."""
    counter = Counter(CUES, 4)
    counter.hear("left", 9.0, 9.9)
    asked = counter.begin(tempo_bpm=100, now=10.0)
    assert wound_back(counter, 10.0, asked.first_beat_s) is None
    assert counter.count == asked
    counter.hear("left", 1.85, asked.first_beat_s + 0.05)
    assert counter.answered(asked.first_beat_s + 0.02) == asked.first_beat_s


def test_who_comes_too_late_for_the_count_asked_for_is_counted_in_once_more():
    """7.2 s of record at 1.8 a second take 4 s; the count asked for is through after 3.1."""
    counter = Counter(CUES, 4)
    counter.hear("left", 9.0, 9.9)
    asked = counter.begin(tempo_bpm=100, now=10.0)
    again = wound_back(counter, 10.0, 16.0, speed=1.8)
    assert again.start_s == pytest.approx(14.0 + HELD_S + LEAD_S, abs=0.3)
    assert again.start_s > asked.first_beat_s
