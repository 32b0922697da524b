"""What the performer is told beyond the count: before, over, two places, and the words back."""

from itertools import pairwise

import pytest

from liveaid.follow import Follower
from liveaid.routine import Routine


def at(position):
    return lambda now: position


def running(position, since, speed=1.0):
    return lambda now: position + speed * (now - since)


def test_before_the_start_says_who_lets_go_first(small, play):
    prompt = play(Follower(small), at(2.0), at(5.0), 0.0, 2.0).prompt(now=2.0)
    assert (prompt.state, prompt.first) == ("before", ("left",))


@pytest.mark.parametrize(("limit", "kept"), [("0:10", True), ("0:06", False)])
def test_over_says_the_time_played_and_whether_the_limit_was_kept(small, play, limit, kept):
    """Two bars at 120 BPM from 4 beats in: the last set piece alone lasts 8 s."""
    routine = Routine.model_validate(
        {"title": "One", "limit": limit, "pieces": [
            {"name": "Only", "bars": 4, "tempo": 120, "count": "left",
             "left": {"hand": "runs", "at": 2.0}}]}
    )  # fmt: skip
    follower = play(Follower(routine), at(2.0), None, 0.0, 1.0)
    play(follower, running(2.0, 1.0), None, 1.0, 9.1)
    play(follower, at(10.1), None, 9.1, 12.0)
    prompt = follower.prompt(now=12.0)
    assert (prompt.state, prompt.limit_kept) == ("over", kept)
    assert prompt.elapsed_s == pytest.approx(8.0, abs=0.15)


def test_a_word_names_the_place_and_the_next_message_does_not_undo_it(routine_named, play):
    """Refrain one and three read alike on the left: the performer says it is the third."""
    follower = Follower(routine_named("refrain"))
    play(follower, running(1.8, 0.0), at(60.0), 0.0, 2.0)
    follower.hear_word("here", now=2.0, piece=7)
    play(follower, running(1.8, 0.0), at(60.0), 2.0, 4.0)
    prompt = follower.prompt(now=4.0)
    assert (prompt.piece.index, prompt.state) == (7, "following")
    assert prompt.beat_position == pytest.approx(4.0 * 90 / 60, abs=0.6)


def test_step_on_and_step_back_are_from_the_place_shown(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 2.0)
    follower.hear_word("step on", now=2.0)
    assert follower.prompt(now=2.0).piece.index == 1
    follower.hear_word("step back", now=2.0)
    assert follower.prompt(now=2.0).piece.index == 0


def test_what_is_heard_outweighs_a_word_said_by_mistake(small, play):
    """Left runs on where only set piece One has it: 20 nats of a word against -9, five-fold."""
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 2.0)
    follower.hear_word("here", now=2.0, piece=3)
    play(follower, running(2.0, 0.0), at(5.0), 2.0, 7.5)
    assert follower.prompt(now=7.5).piece.index == 0


def test_hold_stays_in_a_set_piece_past_its_end(small, play):
    follower = play(Follower(small), running(2.0, 0.0), at(5.0), 0.0, 7.0)
    follower.hear_word("hold", now=7.0)
    play(follower, at(9.5), at(5.0), 7.5, 9.5)
    assert follower.prompt(now=9.5).piece.index == 0
    follower.hear_word("step on", now=9.5)
    assert follower.prompt(now=9.6).piece.index == 1


@pytest.mark.parametrize(("word", "piece"), [("back", None), ("here", 9), ("here", -1)])
def test_a_word_or_set_piece_that_is_none_is_misuse(small, word, piece):
    with pytest.raises(ValueError, match="would do"):
        Follower(small).hear_word(word, now=1.0, piece=piece)


def test_two_places_that_fit_are_told_as_two(play):
    """One passage in two set pieces, the partner resting in both; heard from its middle on."""
    twins = Routine.model_validate(
        {"title": "Twins", "pieces": [
            {"name": n, "bars": 8, "tempo": 120, "count": "right",
             "right": {"hand": "runs", "at": at_s}} for n, at_s in
            (("Start", 50.0), ("First", 5.0), ("Else", 80.0), ("Second", 5.0))]}
    )  # fmt: skip
    follower = play(Follower(twins), None, running(8.0, 0.0), 0.0, 0.35)
    prompt = follower.prompt(now=0.35)
    assert (prompt.piece.name, prompt.held) == ("First", False)  # nothing was sure before
    prompt = play(follower, None, running(8.0, 0.0), 0.35, 4.0).prompt(now=4.0)
    assert prompt.state == "unsure"
    assert [place.name for place in prompt.places] == ["First", "Second"]
    # 3 s past the passage's first beat when heard first, 4 s later: 7 s at 120 BPM is beat 14.
    assert [place.beat_position for place in prompt.places] == pytest.approx([14.0, 14.0], abs=0.1)


def test_a_stopped_platter_never_turns_the_stage_clock_back(small, play):
    """The clock ran from 1 s on; both records stop at 11 s for 4 s, in set piece Two."""
    follower = play(Follower(small), at(2.0), at(5.0), 0.0, 1.0)
    play(follower, running(2.0, 1.0), at(5.0), 1.0, 9.0)
    play(follower, at(10.0), running(5.0, 9.0), 9.0, 11.0)
    told = []
    for step in range(40):
        now = 11.0 + step / 10
        play(follower, at(10.0), at(7.0), now, now + 0.1)
        told.append(follower.prompt(now=now + 0.1))
    assert all(a.elapsed_s <= b.elapsed_s for a, b in pairwise(told))
    assert {prompt.piece.index for prompt in told} == {1}
    assert all(
        prompt.decks["left"].wind is None or abs(prompt.decks["left"].wind) < 30 for prompt in told
    )


@pytest.mark.parametrize(("speed", "said"), [(-1.0, True), (-2.0, False), (-0.5, False)])
def test_only_a_record_that_runs_backwards_at_its_own_speed_is_a_sender_turned_round(
    small, play, speed, said
):
    follower = play(Follower(small), running(200.0, 0.0, speed), at(5.0), 0.0, 6.0)
    hints = follower.prompt(now=6.0).hints
    assert any("runs backwards" in hint for hint in hints) is said
