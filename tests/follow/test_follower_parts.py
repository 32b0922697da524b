"""What the follower makes of its belief: the place shown, carried on and held, each by hand."""

from __future__ import annotations

import math

import pytest

from liveaid.follow import Follower, Habits
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.routine import Routine

TEMPI = Routine.model_validate({"title": "T", "pieces": [
    {"name": "One", "bars": 1, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 2.0}},
    {"name": "Two", "bars": 1, "tempo": 60, "left": {"hand": "works", "from": 30.0, "to": 31.0}},
    {"name": "Last", "bars": 1, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 9.0}},
]})  # fmt: skip


def follower_at(section, beat, *, routine=TEMPI, now_s=10.0, others=(), **told):
    """A follower that heard both decks at 10 s, and believes in a place."""
    follower = Follower(routine)
    follower._now_s = follower._stepped_s = now_s
    follower._heard = GestureHeard(
        now_s, 1.0, {"left": None, "right": None}, {"left": False, "right": False}
    )
    belief = follower._belief
    belief.told = Guess(section, beat, 0.0, **told)
    belief.guesses = [belief.told, *others]
    belief.lost.price = -99.0
    follower._piece_sure = follower._confidence = 0.95
    follower._state = "following"
    return follower


@pytest.mark.parametrize(
    ("section", "beat", "seconds", "carried"),
    [
        # One at 2 beats a second, Two at 1: half a beat over One is a quarter of Two's.
        (0, 1.0, 0.75, (0, 2.5, 2.0)), (0, 3.5, 0.25, (1, 0.0, 2.0)), (0, 3.5, 0.5, (1, 0.25, 2.0)),
        (1, 3.5, 1.0, (2, 1.0, 1.0)), (2, 3.5, 0.2, (2, 3.9, 2.0)), (2, 3.5, 9.0, (3, 0.0, 2.0)),
        (0, 3.5, 5.0, (2, 1.5, 2.0)), (-1, 0.0, 5.0, (-1, 0.0, 2.0)), (3, 0.0, 5.0, (3, 0.0, 0.0)),
    ],
)  # fmt: skip
def test_a_place_is_carried_on_by_the_clock(section, beat, seconds, carried):
    """4.75 s after One's beat 3.5 ends One: Two's 4 s and .75 s, 1.5 beats, of Last."""
    found = follower_at(0, 0.0)._carried(section, beat, seconds)
    assert found == (carried[0], pytest.approx(carried[1]), carried[2])


def test_what_comes_next_counts_by_its_own_beats(small):
    """Half a beat over One's 16 is half a beat of Two, as fast."""
    assert follower_at(0, 15.5, routine=small)._carried(0, 15.5, 0.5) == (1, 0.5, 2.0)


@pytest.mark.parametrize("word", ["stays", "over"])
def test_a_set_piece_that_goes_on_is_shown_at_its_end(word):
    follower = follower_at(0, 3.5, **{word: True})
    assert follower._carried(0, 3.5, 9.0) == (0, 3.99, 2.0)
    assert follower._carried(1, 3.0, 2.0) == (2, 2.0, 1.0)
    assert follower_at(0, 3.5)._carried(0, 3.5, 0.3)[0] == 1


@pytest.mark.parametrize(
    ("piece_sure", "sure", "twin_s", "shown"),
    [
        # Surely at Two's beat 1 at 9.5 s: beat 1.5 now. Told is One's beat 2.
        (0.49, (1, 1.0), 0.0, (1, 1.5, 1.0, True)), (0.5, (1, 1.0), 0.0, (0, 2.0, 2.0, False)),
        (0.49, None, 0.0, (0, 2.0, 2.0, False)), (0.49, (1, 1.0), 0.5, (1, 1.5, 1.0, True)),
        (0.49, (1, 1.0), 0.51, (0, 2.0, 2.0, False)),
        # A beat or less beside it is no other place.
        (0.49, (0, 1.99), 0.0, (0, 2.0, 2.0, False)), (0.49, (0, 2.01), 0.0, (0, 3.01, 2.0, True)),
        (0.49, (0, -0.1), 0.0, (0, 0.9, 2.0, True)),
    ],
)  # fmt: skip
def test_the_last_sure_place_is_held_while_none_is_half_believed(piece_sure, sure, twin_s, shown):
    follower = follower_at(0, 2.0)
    follower._piece_sure, follower._sure, follower._twin_s = piece_sure, sure, twin_s
    follower._sure_s = 9.5
    section, beat, rate, held = follower._shown(10.0)
    assert (section, pytest.approx(beat), rate, held) == shown


def test_confidence_falls_by_what_is_not_heard():
    """After 2 s in One, 4 beats: e^(-2 * .015) that the order was kept, and the count wider by
    what the clock may be off in 4 beats. Half a second is no silence."""
    follower = follower_at(0, 2.0, doubt=0.4)
    belief = follower._belief
    assert follower._confidence_at(10.5) == 0.95
    assert follower._confidence_at(12.0) == pytest.approx(
        0.95 * math.exp(-2.0 * belief.numbers.unheard_leaves)
        * belief.beat_sure(4.0) / belief.beat_sure(0.0)
    )  # fmt: skip
    assert follower_at(-1, 0.0)._confidence_at(19.0) == 0.95


@pytest.mark.parametrize(
    ("confidence", "section", "twin_s", "hints", "quiet", "event"),
    [
        (0.9, 0, 0.0, (), False, "sure"), (0.899, 0, 0.0, (), False, "between"),
        (0.7, 0, 0.0, (), False, "between"), (0.699, 0, 0.0, (), False, "doubtful"),
        (0.95, 0, 0.5, (), False, "sure"), (0.95, 0, 0.51, (), False, "doubtful"),
        (0.95, 0, 0.0, ("wired",), False, "doubtful"), (0.95, 0, 0.6, ("wired",), True, "quiet"),
        (0.8, -1, 0.0, (), False, "before"), (0.8, 3, 0.0, (), False, "over"),
        (0.6, 3, 0.0, (), False, "doubtful"),
    ],
)  # fmt: skip
def test_what_a_confidence_amounts_to(confidence, section, twin_s, hints, quiet, event):
    follower = follower_at(0, 2.0)
    follower._twin_s, follower._hints = twin_s, hints
    assert follower._event(section, confidence, quiet=quiet) == event


def test_two_places_that_have_fitted_for_half_a_second_are_named():
    """A quarter second later One's beat 2 is 2.5, Last's beat 1 is 1.5."""
    follower = follower_at(0, 2.0, others=[Guess(2, 1.0, 0.0)])
    follower._twin_s = 0.5
    assert follower._places(10.25) == ()
    follower._twin_s = 0.51
    assert follower._places(10.25) == ((0, 2.5), (2, 1.5))
    alone = follower_at(0, 2.0)
    alone._twin_s = 9.0
    assert alone._places(10.25) == ()


@pytest.mark.parametrize(
    ("section", "beat", "wakes_s"),
    [(0, 2.0, 10.5), (0, 2.5, 10.25), (1, 2.5, 10.5), (0, 2.9999999, 10.5), (-1, 0.0, None),
     (3, 0.0, None)],
)  # fmt: skip
def test_the_prompt_changes_with_the_next_beat(section, beat, wakes_s):
    assert follower_at(section, beat).wake_at() == (wakes_s and pytest.approx(wakes_s, abs=1e-6))


@pytest.mark.parametrize(
    ("word", "piece", "shown", "to"),
    [("step on", None, 0, 1), ("step on", None, 3, 3), ("step back", None, 2, 1),
     ("step back", None, 0, 0), ("step back", None, -1, 0), ("here", None, 1, 1),
     ("here", 2, 0, 2), ("step on", 2, 0, 2), ("hold", None, 1, 1), ("step on", None, 2, 3)],
)  # fmt: skip
def test_what_a_word_names(word, piece, shown, to):
    follower = follower_at(shown, 1.0 if 0 <= shown < 3 else 0.0)
    follower.hear_word(word, now=10.0, piece=piece)
    belief = follower._belief
    assert belief.told.section == to
    assert belief.told.stays is (word == "hold")
    assert follower._exchanged._ahead == belief.numbers.word


def test_a_place_doubted_is_not_the_last_sure_one():
    """A place of the routine believed by .7 is remembered, with its time."""
    follower = follower_at(1, 2.0, others=[Guess(0, 2.0, 0.0, -math.log(7 / 2.9))])
    follower._judge(10.0)
    assert (follower._sure, follower._sure_s) == ((1, 2.0), 10.0)
    follower = follower_at(1, 2.0, others=[Guess(0, 2.0, 0.0, -math.log(6.9 / 3.1))])
    follower._judge(10.0)
    assert follower._sure is None
    before = follower_at(-1, 0.0)
    before._judge(10.0)
    assert before._sure is None


def stood_for(seconds, small):
    """Both records held at their first cues for so long, then left let go at 120 BPM."""
    follower = Follower(small)
    for k in range(round((seconds + 1.0) * 50)):
        now = k / 50
        follower.hear("left", position=2.0 + max(now - seconds, 0.0), now=now)
        follower.hear("right", position=5.0, now=now)
    return follower


def test_both_held_for_four_seconds_are_a_stop(small):
    """What is moved again is noticed within a fifth of a second; then both are still no more."""
    stop = stood_for(4.2, small)
    assert stop._stopped_s == pytest.approx(4.3, abs=0.1)
    assert stop._heard.stopped_s == stop._stopped_s
    assert stop._heard.still_s == 0.0
    assert stood_for(3.7, small)._stopped_s == -math.inf


@pytest.mark.parametrize(("speed", "taken"), [(100.0, True), (-100.0, True), (100.1, False)])
def test_a_speed_that_cannot_be_meant_is_left_out(small, speed, taken):
    follower = Follower(small)
    follower.hear_speed("left", speed=speed, now=3.0)
    deck = follower._hearing.decks["left"]
    assert deck.told_speed == (speed if taken else None)
    if taken:
        assert deck.told_speed_s == 3.0


@pytest.mark.parametrize(
    ("percent", "taken"), [(8.0, True), (-99.9, True), (100.0, False), (-100.0, False)]
)
def test_a_pitch_that_cannot_be_meant_is_left_out(small, monkeypatch, percent, taken):
    follower, heard = Follower(small), []
    monkeypatch.setattr(type(follower._hearing.decks["left"]), "hear_pitch",
                        lambda deck, ratio, now: heard.append((ratio, now)))  # fmt: skip
    follower.hear_pitch("left", percent=percent, now=3.0)
    assert heard == ([(pytest.approx(1 + percent / 100), 3.0)] if taken else [])


@pytest.mark.parametrize(
    ("told", "taken"), [(-0.5, 0.0), (0.0, 0.0), (0.3, 0.3), (1.0, 1.0), (7.0, 1.0)]
)
def test_a_fader_beyond_its_end_is_at_its_end(small, monkeypatch, told, taken):
    follower, heard = Follower(small), []
    mixer = type(follower._mixer)
    monkeypatch.setattr(mixer, "hear_crossfader", lambda self, at, now: heard.append(at))
    monkeypatch.setattr(mixer, "hear_level", lambda self, side, at, now: heard.append((side, at)))
    follower.hear_crossfader(value=told, now=1.0)
    follower.hear_level("right", level=told, now=1.0)
    assert heard == [taken, ("right", taken)]


@pytest.mark.parametrize(("now", "judged"), [(0.25, 0), (0.26, 1)])
def test_senders_are_judged_four_times_a_second(small, now, judged):
    follower, asked = Follower(small), []
    follower._hinted_s = 0.0
    follower._judge_senders = lambda at: asked.append(at) or ("one",)
    follower._look_at_senders(now)
    assert len(asked) == judged
    assert (follower._hints, follower._hinted_s) == ((("one",), now) if judged else ((), 0.0))


@pytest.mark.parametrize(("confidence", "learnt"), [(0.951, ["left", "right"]), (0.949, [])])
def test_what_a_fader_means_is_learnt_while_the_place_is_sure(
    small, monkeypatch, confidence, learnt
):
    follower, told = follower_at(0, 2.0, routine=small), []
    mixer = type(follower._mixer)
    monkeypatch.setattr(
        mixer, "nats", lambda self, side, now, seconds: {"runs": 0.5, "works": 0.0, "rests": -0.5}
    )
    monkeypatch.setattr(
        mixer, "learn", lambda self, side, hand, now, seconds: told.append((side, hand))
    )
    follower._confidence = confidence
    follower._mix(10.0, 0.02)
    assert (told, follower._belief.told.past) == ([], 0.0)  # no fader was heard
    follower.hear_crossfader(value=0.5, now=10.0)
    follower._mix(10.0, 0.02)
    assert [side for side, _ in told] == learnt
    assert told == [("left", "runs"), ("right", "rests")][: len(told)]
    assert follower._belief.told.past == 0.0  # left runs by .5, right rests by -.5


def test_a_follower_starts_from_the_faders_reach_and_the_performers_pitch(small):
    """A fader of 8 % and 2 more; usually 3 % up."""
    follower = Follower(small, habits=Habits(pitched=5, pitch_percent=3.0))
    assert follower._hearing.ratio() == pytest.approx(1.03)
    assert [deck.reach for deck in follower._hearing.decks.values()] == [pytest.approx(0.10)] * 2
    assert follower._belief.turn_s == pytest.approx(1.8, abs=1e-4)


def test_belief_is_brought_up_to_date_forty_times_a_second(small):
    follower = Follower(small)
    stepped = []
    for now in (0.0, 0.0249, 0.0251, 0.05, 0.0502):
        follower.hear("left", position=2.0, now=now)
        stepped.append(follower._stepped_s)
    assert stepped == [0.0, 0.0, 0.0251, 0.0251, 0.0502]
    assert follower._hinted_s == 0.0  # senders were looked at with the first message


@pytest.mark.parametrize(
    ("position", "taken"), [(86400.0, True), (86401.0, False), (-86401.0, False)]
)
def test_a_position_beyond_a_day_of_record_is_none(small, position, taken):
    follower = Follower(small)
    follower.hear("left", position=position, now=1.0)
    assert follower._hearing.decks["left"].position_s == (position if taken else None)


def test_before_anything_was_heard_a_prompt_waits_at_any_time(small):
    """No time at all counts as the last one heard, and as 0 where none was."""
    follower = Follower(small)
    for now in (5.0, math.nan, math.inf):
        prompt = follower.prompt(now=now)
        assert (prompt.state, prompt.piece, prompt.elapsed_s) == ("waiting", None, None)
    assert follower.wake_at() is None
    heard = follower_at(0, 2.0)
    assert heard.prompt(now=math.nan).beat_position == 2.0
    assert heard.prompt(now=10.25).beat_position == 2.5
    assert heard.prompt(now=9.0).beat_position == 2.0
    assert heard.wake_at() == 10.5  # looked ahead to 10.25 s, beat 2.5
