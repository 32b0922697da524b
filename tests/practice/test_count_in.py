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


# The lines between: a record within 0.25 s of its cue stands there, held for 1 s it asks for the
# count, moved by more than 0.03 s it is not held.


@pytest.mark.parametrize(("off_s", "given"), [(0.25, True), (-0.25, True), (0.26, False)])
def test_a_record_stands_at_its_cue_within_an_eighth_of_a_turn(off_s, given):
    found = held(Counter({"left": 2.0}, 4), HELD_S + 0.3, left=2.0 + off_s)
    assert (found is not None) is given


@pytest.mark.parametrize(("step_s", "given"), [(0.03, True), (0.04, False), (-0.04, False)])
def test_a_record_that_moves_is_not_held(step_s, given):
    """Half a second at one place, then so far off: a second at the second place is not over."""
    counter = Counter({"left": 0.0}, 4)
    for k in range(11):
        counter.hear("left", 0.0 if k < 5 else step_s, k / 10)
    assert (counter.tell(tempo_bpm=100, playing=False, now=1.0) is not None) is given


def test_a_count_begins_after_a_second_and_not_while_something_plays():
    counter = Counter({"left": 2.0}, 3, bars=2)
    counter.hear("left", 2.0, 10.0)
    assert counter.tell(tempo_bpm=120, playing=False, now=10.99) is None
    assert counter.tell(tempo_bpm=120, playing=True, now=11.5) is None
    found = counter.tell(tempo_bpm=120, playing=False, now=11.0)
    # The first click 0.7 s on, six of half a second each, the first beat after them.
    assert found == CountIn(11.7, 0.5, 6, 3)
    assert found.clicks_s == pytest.approx((11.7, 12.2, 12.7, 13.2, 13.7, 14.2))
    assert found.first_beat_s == pytest.approx(14.7)
    assert found.to_json(12.3) == {
        "start_s": 11.7, "beat_s": 0.5, "beats": 6, "metre": 3, "beat": 2,
    }  # fmt: skip


def counted(now=1.0):
    """One record, held from 0 s on; the count given at 1 s: clicks 1.7 to 3.2, first beat 3.7."""
    counter = Counter({"left": 2.0}, 4)
    counter.hear("left", 2.0, 0.0)
    return counter, counter.tell(tempo_bpm=120, playing=False, now=now)


@pytest.mark.parametrize(("at_s", "dropped"), [(3.19, True), (3.2, False)])
def test_a_record_moved_before_the_last_click_drops_the_count(at_s, dropped):
    counter, count = counted()
    counter.hear("left", 2.1, at_s)
    assert counter.count == (None if dropped else count)


@pytest.mark.parametrize(("at_s", "stands"), [(4.7, True), (4.71, False)])
def test_a_count_that_nobody_takes_up_is_over_after_two_beats(at_s, stands):
    counter, count = counted()
    counter.tell(tempo_bpm=120, playing=False, now=at_s)
    assert counter.count == (count if stands else None)


@pytest.mark.parametrize(("at_s", "stands"), [(9.7, True), (9.71, False)])
def test_one_that_was_taken_up_waits_twelve_beats_for_its_take(at_s, stands):
    counter, count = counted()
    counter.hear("left", 2.05, 3.7)  # let go from where it stood
    counter.tell(tempo_bpm=120, playing=False, now=at_s)
    assert (counter.count is count) is stands  # else the record held there is counted in anew


@pytest.mark.parametrize(("off_s", "answers"), [(1.0, True), (-1.0, True), (1.01, False)])
def test_a_take_within_two_beats_of_the_count_is_its_own(off_s, answers):
    counter, count = counted()
    assert counter.answered(3.7 + off_s) == (count.first_beat_s if answers else None)
    assert counter.answered(3.7) is None  # once


def test_lamps_count_along():
    """In the beats' row, the next lamp with each click, begun anew each bar; else in the bars'."""
    count = CountIn(10.0, 0.5, 6, 3)
    beats = {f"beats.{n}": "off" for n in range(1, 5)}

    def lit(levels, now):
        return {name for name, level in count.lamps(levels, now).items() if level == "on"}

    assert [lit(beats, 10.1 + 0.5 * k) for k in range(6)] == [
        {"beats.1"}, {"beats.2"}, {"beats.3"}, {"beats.1"}, {"beats.2"}, {"beats.3"},
    ]  # fmt: skip
    bars = {"bars.1": "on", "bars.2": "on", "ready.left": "on"}
    assert lit(bars, 10.1) == {"bars.1", "ready.left"}
    assert lit(bars, 10.6) == {"bars.2", "ready.left"}
    assert lit(bars, 9.9) == {"bars.1", "bars.2", "ready.left"}  # not counting yet
    pulse = {"pulse": "off", "bars.1": "on"}
    assert [count.lamps(pulse, now) for now in (10.1, 10.6)] == [
        {"pulse": "on", "bars.1": "off"}, {"pulse": "dim", "bars.1": "off"},
    ]  # fmt: skip
