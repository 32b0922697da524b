"""The follower's promises, on exact hands: what it says, when, and what it never does."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.follow import Follower
from liveaid.routine import load_routine

STATES = {"waiting", "before", "following", "unsure", "silent", "over"}


def at(position):
    return lambda now: position


def running(position, since, speed=1.0):
    return lambda now: position + speed * (now - since)


def test_nothing_heard_is_waiting(small):
    prompt = Follower(small).prompt(now=5.0)
    assert (prompt.state, prompt.piece, prompt.confidence) == ("waiting", None, 0.0)
    assert Follower(small).wake_at() is None


def test_records_held_at_their_first_cues_stand_at_the_start(small, play):
    prompt = play(Follower(small), at(2.0), at(5.0), 0.0, 3.0).prompt(now=3.0)
    assert (prompt.piece.index, prompt.beat_position, prompt.bar, prompt.beat) == (0, 0.0, 1, 1)
    assert prompt.decks["left"].ready
    assert prompt.elapsed_s == 0.0


def test_a_running_deck_gives_the_beat_exactly(small, play):
    """At 120 BPM and 2 per cent up, 3 s of record from the cue are 6 beats, and 0.1 s more 0.2."""
    follower = play(Follower(small), running(2.0, 1.0, 1.02), at(5.0), 1.0, 1.0 + 3.0 / 1.02)
    prompt = follower.prompt(now=1.0 + 3.1 / 1.02)
    assert prompt.state == "following"
    assert prompt.beat_position == pytest.approx(6.2, abs=0.01)
    assert (prompt.bar, prompt.beat, prompt.bars_left) == (2, 3, 3)
    assert prompt.tempo == pytest.approx(122.4, abs=0.1)
    assert prompt.seconds_left == pytest.approx(9.8 / (2 * 1.02), abs=0.02)
    assert prompt.next.index == 1


def test_wind_is_turns_to_the_next_cue_forward_positive(small, play):
    """33 1/3 rpm is 1.8 s a turn (IEC 60098): from 1.4 s, cue 5.0 s is 2 turns on."""
    before = play(Follower(small), running(2.0, 0.0), at(1.4), 0.0, 2.0).prompt(now=2.0)
    past = play(Follower(small), running(2.0, 0.0), at(8.6), 0.0, 2.0).prompt(now=2.0)
    assert before.decks["right"].wind == pytest.approx(2.0, abs=0.01)
    assert past.decks["right"].wind == pytest.approx(-2.0, abs=0.01)
    assert not before.decks["right"].ready
    # left still runs, at 4 s; its next cue, 30 s, is 26 / 1.8 = 14.44 turns on, told all the same.
    assert before.decks["left"].wind == pytest.approx(14.44, abs=0.01)
    assert before.decks["left"].way == "needle"


def test_ready_needs_a_record_that_stands_at_its_cue(small, play):
    stands = play(Follower(small), running(2.0, 0.0), at(5.05), 0.0, 2.0).prompt(now=2.0)
    passes = play(Follower(small), running(2.0, 0.0), running(3.05, 0.0), 0.0, 2.0)
    assert stands.decks["right"].ready
    assert not passes.prompt(now=2.0).decks["right"].ready


def test_silence_counts_on_by_the_clock_and_says_so(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    quiet = follower.prompt(now=6.0)
    assert quiet.state == "silent"
    assert quiet.piece.index == 0
    assert quiet.beat_position == pytest.approx(12.0, abs=0.1)


def test_confidence_falls_the_longer_it_is_silent(small, play):
    """7 s are 14 beats, off by .1 + 14 x .012 = .268: 2 Phi(1 / .268) - 1 = .99981, and the order
    is kept with e^-.105 = .90032. 17 s: .508 beats, 2 Phi(1.9685) - 1 = .95099, e^-.255 = .77492.
    """
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    told = [follower.prompt(now=now).confidence for now in (3.0, 10.0, 20.0)]
    shares = [each / told[0] for each in told]
    assert shares == pytest.approx([1.0, 0.90032 * 0.99981, 0.77492 * 0.95099], abs=2e-3)


def test_silence_ends_with_the_next_message(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    assert follower.prompt(now=5.0).state == "silent"
    play(follower, running(2.0, 0.0), at(5.0), 5.0, 6.0)
    prompt = follower.prompt(now=6.0)
    assert (prompt.state, prompt.piece.index) == ("following", 0)
    assert prompt.beat_position == pytest.approx(12.0, abs=0.05)


def test_one_deck_may_die_while_the_other_counts(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 2.0)
    prompt = play(follower, running(2.0, 0.0), None, 2.0, 5.0).prompt(now=5.0)
    assert prompt.state == "following"
    assert prompt.beat_position == pytest.approx(10.0, abs=0.05)
    assert prompt.decks["right"].age_ms > 2900


def test_a_stopped_record_that_sends_nothing_is_not_lost(small, play):
    follower = Follower(small, sends="on_change")
    follower.hear("right", position=5.0, now=0.0)
    prompt = play(follower, running(2.0, 0.0), None, 0.0, 6.0).prompt(now=6.0)
    assert prompt.state == "following"
    assert prompt.beat_position == pytest.approx(12.0, abs=0.05)
    assert prompt.decks["right"].ready


def test_waiting_at_the_cues_on_change_is_not_silence(small):
    follower = Follower(small, sends="on_change")
    follower.hear("left", position=2.0, now=0.0)
    follower.hear("right", position=5.0, now=0.0)
    assert follower.prompt(now=60.0).state != "silent"


def test_a_refrain_heard_without_history_is_unsure(routine_named, play):
    """Refrain one and two read the same on both decks: neither may be claimed."""
    follower = Follower(routine_named("refrain"))
    prompt = play(follower, running(8.0, 0.0), at(25.5), 0.0, 4.0).prompt(now=4.0)
    assert prompt.state == "unsure"
    assert prompt.confidence < 0.7


def test_decks_that_fit_nothing_are_unsure(small, play):
    follower = Follower(small)
    prompt = play(follower, running(120.0, 0.0), running(150.0, 0.0), 0.0, 5.0).prompt(now=5.0)
    assert prompt.state == "unsure"


def test_after_the_last_beat_nothing_is_next(small, play):
    follower = play(Follower(small), running(50.0, 0.0), at(41.0), 0.0, 7.9)
    last = follower.prompt(now=7.9)
    assert (last.piece.index, last.bars_left, last.next) == (3, 1, None)
    play(follower, at(58.0), at(41.0), 8.05, 12.0)
    over = follower.prompt(now=12.0)
    assert (over.piece.index, over.bars_left, over.beats_left) == (3, 0, 0.0)


def test_it_wakes_at_the_next_beat_or_when_silence_begins(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.2)
    now = 3.19
    assert now < follower.wake_at() <= now + 0.5
    before = follower.prompt(now=follower.wake_at() - 0.01)
    after = follower.prompt(now=follower.wake_at() + 0.001)
    assert (before.beat, before.state) != (after.beat, after.state)


def test_waking_when_told_to_runs_through_the_beats_and_never_stands_still(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.2)
    times = []
    for _ in range(12):
        times.append(follower.wake_at())
        follower.prompt(now=times[-1])
    assert all(a < b for a, b in pairwise(times))
    assert times[-1] == pytest.approx(3.2 + 11 * 0.5, abs=1.0)


def test_looking_ahead_changes_nothing_heard_later(small, play):
    follower, twin = Follower(small), Follower(small)
    play(follower, running(2.0, 0.0), at(5.0), 0.0, 2.0).prompt(now=60.0)
    play(twin, running(2.0, 0.0), at(5.0), 0.0, 2.0)
    play(follower, running(2.0, 0.0), at(5.0), 2.0, 3.0)
    play(twin, running(2.0, 0.0), at(5.0), 2.0, 3.0)
    assert follower.prompt(now=3.0) == twin.prompt(now=3.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e9, -1e30])
def test_a_value_that_cannot_be_meant_changes_nothing(small, play, bad):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    twin = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    follower.hear("left", position=bad, now=3.0)
    follower.hear("left", position=9.0, now=math.nan)
    follower.hear_speed("left", speed=bad, now=3.0)
    follower.hear_pitch("left", percent=bad, now=3.0)
    follower.hear_level("left", level=bad, now=3.0)
    follower.hear_crossfader(value=bad, now=3.0)
    assert follower.prompt(now=3.0) == twin.prompt(now=3.0)


def test_time_that_goes_back_counts_as_the_latest(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    follower.hear("right", position=5.0, now=0.5)
    prompt = follower.prompt(now=1.0)
    assert prompt.beat_position == pytest.approx(6.0, abs=0.05)
    assert prompt.decks["right"].age_ms == pytest.approx(0.0, abs=1.0)


def test_an_unknown_deck_is_misuse(small):
    with pytest.raises(ValueError, match="left or right"):
        Follower(small).hear("middle", position=1.0, now=0.0)
    with pytest.raises(ValueError, match="always or on_change"):
        Follower(small, sends="often")


def test_elapsed_counts_from_the_first_beat_and_again_after_a_restart(small, play):
    follower = play(Follower(small), at(2.0), at(5.0), 0.0, 3.0)
    play(follower, running(2.0, 3.0), at(5.0), 3.0, 9.0)
    assert follower.prompt(now=9.0).elapsed_s == pytest.approx(6.0, abs=0.1)
    play(follower, at(2.0), at(5.0), 9.0, 14.0)
    play(follower, running(2.0, 14.0), at(5.0), 14.0, 17.0)
    assert follower.prompt(now=17.0).elapsed_s == pytest.approx(3.0, abs=0.1)


def test_records_brought_back_to_the_start_stand_there_while_the_old_count_would_end(small, play):
    """Four breaks off at beat 8, both records at the first cues: its 16th would be 4 s later."""
    follower = play(Follower(small), at(30.0), at(40.0), 0.0, 2.0)
    play(follower, running(50.0, 2.0), at(40.0), 2.0, 6.0)
    assert follower.prompt(now=6.0).piece.index == 3
    play(follower, at(2.0), at(5.0), 6.0, 8.0)
    for quarter in range(13):
        play(follower, at(2.0), at(5.0), 8.0 + quarter / 4, 8.25 + quarter / 4)
        prompt = follower.prompt(now=8.25 + quarter / 4)
        assert (prompt.piece.index, prompt.bar, prompt.beat) == (0, 1, 1)


def test_elapsed_in_the_middle_is_the_maps(small, play):
    """Set piece One is 8 s long; 2 s into Two the map says 10 s."""
    follower = play(Follower(small), at(10.0), running(5.0, 0.0), 0.0, 2.0)
    assert follower.prompt(now=2.0).elapsed_s == pytest.approx(10.0, abs=0.1)


def test_a_needle_that_jumps_is_found_again_within_a_beat(small, play):
    """One turn, 1.8 s, forward from beat 4 is beat 7.6 at 120 BPM; half a second is a beat."""
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 2.0)
    play(follower, running(3.8, 0.0), at(5.0), 2.0, 2.5)
    assert follower.prompt(now=2.5).beat_position == pytest.approx(8.6, abs=0.1)


def test_a_sender_of_a_thousand_a_second_is_as_good(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0, rate_hz=1000.0)
    assert follower.prompt(now=3.0).beat_position == pytest.approx(6.0, abs=0.02)


def test_the_senders_own_speed_is_shown(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 3.0)
    follower.hear_speed("left", speed=1.02, now=3.0)
    assert follower.prompt(now=3.0).decks["left"].speed == 1.02


def test_the_pitch_fader_sets_the_clocks_tempo(small, play):
    """Before anything was heard turning: 120 BPM and 4 per cent up is 124.8."""
    follower = play(Follower(small), at(2.0), at(5.0), 0.0, 1.0)
    follower.hear_pitch("left", percent=4.0, now=1.0)
    assert follower.prompt(now=5.0).tempo == pytest.approx(124.8)


SIDE = st.sampled_from(["left", "right"])
MESSAGES = st.lists(st.tuples(SIDE, st.floats(-60, 900), st.floats(0, 30)), max_size=60)


@settings(max_examples=60, deadline=None)
@given(MESSAGES, st.sampled_from(["always", "on_change"]))
def test_whatever_is_heard_the_prompt_is_well_formed(messages, sends):
    follower, now = Follower(MAPS["juggles"], sends=sends), 0.0
    for side, position, gap in messages:
        now += gap
        follower.hear(side, position=position, now=now)
        _well_formed(follower.prompt(now=now + gap / 2))


def _well_formed(prompt):
    assert prompt.state in STATES
    assert 0.0 <= prompt.confidence <= 1.0
    piece = prompt.piece
    assert 0.0 <= prompt.beat_position <= piece.bars * 4
    assert 1 <= prompt.bar <= piece.bars
    assert 1 <= prompt.beat <= 4
    assert 0 <= prompt.bars_left <= piece.bars
    assert prompt.next is None or prompt.next.index == piece.index + 1
    assert math.isfinite(prompt.tempo)


def _maps():
    from pathlib import Path

    folder = Path(__file__).resolve().parent.parent / "routines"
    return {path.stem: load_routine(path) for path in folder.glob("*.yaml")}


MAPS = _maps()
