"""A sender that is wired wrong is told in plain words, and never followed with a straight face."""

import itertools
import math
import random

import pytest

from liveaid.follow import Follower
from liveaid.follow.belief import Belief
from liveaid.follow.exchanged import Exchanged, SidesRead
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard
from liveaid.follow.numbers import USUAL
from liveaid.follow.plan import plan_of
from liveaid.follow.senders import Senders, _follows, stands
from liveaid.routine import Routine

# The routine `small`: left runs from 2.0, right from 5.0, both worked at 30 and 40, left from 50.


def _heard(small, wire, seconds=6.0, *, hold_s=1.0):
    """Set piece One played exactly, 1 s held at the cues first; `wire` is what is sent of it."""
    follower, following = Follower(small), 0
    for step in range(int(seconds * 100)):
        now = step / 100
        for side, at in (("left", 2.0 + max(now - hold_s, 0.0)), ("right", 5.0)):
            for told_side, told in wire(side, at, step):
                follower.hear(told_side, position=told, now=now)
        following += follower.prompt(now=now).state == "following"
    return follower.prompt(now=seconds), following


def _as_it_is(side, at, step):
    return [(side, at)]


def _turns(side, at, step):
    return [(side, at / 1.8)]  # 33 1/3 rpm is 1.8 s a turn (IEC 60098)


def _milliseconds(side, at, step):
    return [(side, 1000.0 * at)]


def _samples(side, at, step):
    return [(side, 48000.0 * at)]


def _whole_seconds(side, at, step):
    return [(side, math.floor(at))]


def _backwards(side, at, step):
    return [(side, 200.0 - at)]


def _swapped(side, at, step):
    return [("right" if side == "left" else "left", at)]


def _a_second_sender(side, at, step):
    return [(side, at), (side, 77.7)] if side == "left" and step % 3 == 0 else [(side, at)]


@pytest.mark.parametrize(
    ("wire", "word"),
    [
        (_turns, "left deck sends turns"),
        (_milliseconds, "left deck sends milliseconds"),
        (_samples, "left deck sends samples"),
        (_whole_seconds, "left deck's positions come in steps of 1 s"),
        (_backwards, "left deck runs backwards"),
        (_swapped, "left and right look swapped"),
        (_a_second_sender, "two senders tell the left deck"),
    ],
)
def test_a_sender_wired_wrong_is_hinted_at_within_three_seconds(small, wire, word):
    prompt, _ = _heard(small, wire, seconds=4.0)  # 1 s held, 3 s of the performance
    assert any(word in hint for hint in prompt.hints), prompt.hints
    assert prompt.state == ("waiting" if wire is _samples else "unsure")


def test_a_sender_that_is_well_wired_gets_no_hint(small):
    prompt, following = _heard(small, _as_it_is)
    assert prompt.hints == ()
    assert following > 400


def test_a_hint_goes_when_its_cause_does(small):
    """Reversed for 3 s after the hold, then put right: 2 s on the left runs forward again."""

    def mended(side, at, step):
        return _backwards(side, at, step) if step < 400 else [(side, at)]

    assert _heard(small, mended, seconds=4.0)[0].hints
    assert _heard(small, mended, seconds=7.0)[0].hints == ()


def test_a_sender_wired_wrong_that_falls_silent_is_silent_first():
    """Swapped for 4 s, then nothing: after .3 s no one is heard, and that is what is told."""
    follower = Follower(_far())
    for step in range(400):
        now = step / 100
        follower.hear("right", position=20.0 + max(now - 1.0, 0.0), now=now)
        follower.hear("left", position=40.0, now=now)
    assert follower.prompt(now=4.0).state == "unsure"
    later = follower.prompt(now=6.0)
    assert (later.state, len(later.hints)) == ("silent", 1)


def _far(left=20.0, right=40.0):
    """Left runs, then right; their cues far into the files, or wherever is said."""
    pieces = [
        {"name": "One", "bars": 4, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": left}},
        {"name": "Two", "bars": 4, "tempo": 120, "count": "right",
         "right": {"hand": "runs", "at": right}},
        {"name": "Three", "bars": 4, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": left + 30.0}},
    ]  # fmt: skip
    return Routine.model_validate({"title": "Far", "pieces": pieces})


def _sent(routine, left, right, seconds, *, pitch=None):
    """The prompt once two decks' positions, functions of time, were heard for so long."""
    follower = Follower(routine)
    for step in range(int(seconds * 100)):
        now = step / 100
        for side, deck in (("left", left), ("right", right)):
            if pitch is not None and step % 10 == 0:
                follower.hear_pitch(side, percent=pitch, now=now)
            follower.hear(side, position=deck(now), now=now)
    return follower.prompt(now=seconds)


SAME = Routine.model_validate(
    {"title": "Both from 1.8", "pieces": [
        {"name": "One", "bars": 4, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": 1.8}},
        {"name": "Two", "bars": 4, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": 9.8}, "right": {"hand": "works", "from": 1.8, "to": 2.6}},
    ]}
)  # fmt: skip


def _waits(now):
    return 1.8


def _is_let_go(now):
    return 1.8 + max(now - 1.0, 0.0)


def test_decks_whose_first_cues_lie_at_one_second_are_told_swapped_by_who_lets_go():
    """Left is to run from 1.8 and right to wait there; the other way round for 3 s."""
    assert any("look swapped" in hint for hint in _sent(SAME, _waits, _is_let_go, 4.0).hints)
    assert _sent(SAME, _is_let_go, _waits, 4.0).hints == ()


def test_a_word_from_the_performer_ends_the_talk_of_swapped_decks():
    follower = Follower(SAME)
    for step in range(400):
        follower.hear("left", position=1.8, now=step / 100)
        follower.hear("right", position=_is_let_go(step / 100), now=step / 100)
    assert follower.prompt(now=4.0).hints
    follower.hear_word("here", now=4.0, piece=1)
    assert follower.prompt(now=4.0).hints == ()


@pytest.mark.parametrize(("scale", "hint"), [(1.02, "+2.0 %"), (0.97, "-3.0 %"), (1.0, None)])
def test_records_that_stand_beside_their_cues_by_one_scale_are_told(scale, hint):
    """Held for a second at 20 and 40 times the scale: .4 and .8 s off, or -.6 and -1.2 s."""
    hints = _sent(_far(), lambda now: 20.0 * scale, lambda now: 40.0 * scale, 1.0).hints
    assert [hint in said for said in hints] == ([True] if hint else [])


def test_records_that_are_as_far_off_everywhere_are_no_matter_of_scale():
    assert _sent(_far(), lambda now: 20.15, lambda now: 40.15, 1.0).hints == ()


def test_stands_at_one_second_tell_no_scale():
    """Both cues at 1.8 and both records at 1.95: +8 per cent, or .15 s ahead everywhere."""
    assert _sent(SAME, lambda now: 1.95, lambda now: 1.95, 1.0).hints == ()


def test_a_record_that_turns_otherwise_than_its_fader_says_is_scaled():
    """At +1 per cent it is to turn at 1.01 and is told to turn at 1.0302: 2 per cent too fast."""
    hints = _sent(_far(), lambda now: 20.0 + 1.0302 * now, lambda now: 40.0, 4.0, pitch=1.0).hints
    assert ["+2.0 %" in said for said in hints] == [True]
    well = _sent(_far(), lambda now: 20.0 + 1.01 * now, lambda now: 40.0, 4.0, pitch=1.0)
    assert well.hints == ()


def _let_go_and_caught(now):
    """At +1 per cent for 1.5 s, then brought back by hand and held for 1 s, over and over."""
    into = now % 2.5
    return 20.0 + 1.01 * min(into, 1.5) - 1.515 * min(max(into - 1.5, 0.0) / 0.3, 1.0)


def test_a_record_that_is_caught_and_let_go_at_its_faders_speed_gets_no_hint():
    for seconds in (3.0, 3.9, 4.5, 5.4, 6.4, 8.9, 11.4, 13.0):
        assert _sent(_far(), _let_go_and_caught, lambda now: 40.0, seconds, pitch=1.0).hints == ()


def test_a_nudge_is_no_other_speed_than_the_faders():
    """40 ms ahead by hand in .25 s: 2 per cent over 2 s, all of it in one half of them."""

    def nudged(now):
        return 20.0 + now + 0.04 * min(max(now - 1.6, 0.0) / 0.25, 1.0)

    for seconds in (2.2, 2.6, 3.0, 3.4):
        assert _sent(_far(), nudged, lambda now: 40.0, seconds, pitch=0.0).hints == ()


def test_the_fader_is_believed_again_when_the_speed_is_its():
    """2 per cent too fast for 4 s, caught, mended, and let go for 3 s."""

    def mended(now):
        return 20.0 + 1.02 * min(now, 4.0) + max(now - 5.0, 0.0)

    assert _sent(_far(), mended, lambda now: 40.0, 4.5, pitch=0.0).hints
    assert _sent(_far(), mended, lambda now: 40.0, 8.0, pitch=0.0).hints == ()


def test_a_unit_once_known_is_told_on_while_a_hand_winds_the_record():
    """Milliseconds, wound forward at 7 times its speed from 3 to 5 s."""

    def wound(now):
        return 1000.0 * (20.0 + min(now, 3.0) + 7.0 * max(now - 3.0, 0.0))

    hints = _sent(_far(), wound, lambda now: 40000.0, 5.0).hints
    assert ["sends milliseconds" in hint for hint in hints] == [True]


def test_a_scale_is_not_told_beside_another_fault():
    """The records of the test above by 1.02, and exchanged."""
    senders = Senders(plan_of(_far()), 1.8, 0.09)
    for step in range(100):
        senders.hear("left", 20.4, step / 100)
        senders.hear("right", 40.8, step / 100)
    assert len(senders.hints(1.0)) == 1
    assert senders.hints(1.0, ("left and right look swapped",)) == ("left and right look swapped",)


def test_a_lifted_needle_is_neither_a_second_sender_nor_coarse():
    """For 2 s it is at -1, at 0, or anywhere, message by message."""
    rng = random.Random(1)

    def lifted(now):
        anywhere = rng.choice([-1.0, 0.0, rng.uniform(0.0, 300.0)])
        return 40.0 if now < 1.0 else anywhere

    for seconds in (1.5, 2.0, 2.5, 3.0):
        assert _sent(_far(), lambda now: 20.0 + now, lifted, seconds).hints == ()


def _late(rng, position, seconds, late_s=0.03):
    """A deck's messages, 100 a second, each late by an exponential time of its own."""
    times = [step / 100 for step in range(int(seconds * 100))]
    return sorted((t + rng.expovariate(1.0 / late_s), position(t)) for t in times)


def _two_told(messages):
    """Times at which two senders were told."""
    senders, told = Senders(plan_of(_far()), 1.8, 0.09), []
    for now, position in messages:
        senders.hear("left", position, now)
        if any("two senders" in hint for hint in senders.hints(now)):
            told.append(now)
    return told


def test_late_messages_about_a_needle_set_down_elsewhere_are_no_second_sender():
    """The needle goes from 20 to 50 and back each second; messages late by 30 ms overtake."""
    rng = random.Random(6)
    messages = _late(rng, lambda t: t + (20.0 if t % 2.0 < 1.0 else 50.0), 20.0)
    assert any(a[1] > b[1] + 9.0 for a, b in itertools.pairwise(messages))
    assert _two_told(messages) == []


def test_late_messages_of_two_senders_are_two_senders_while_they_last():
    """The second one sends from 2 to 5 s: told within 3 s of its first word, and no more .5 s
    after its last."""
    rng = random.Random(5)
    second = [(t + 2.0, x) for t, x in _late(rng, lambda t: 77.7, 3.0)]
    told = _two_told(sorted([*_late(rng, lambda t: 20.0 + t, 8.0), *second]))
    assert 2.8 <= told[0] < 5.0
    assert told[-1] < second[-1][0] + 0.5


@pytest.mark.parametrize(("every", "told"), [(50, True), (25, False)])
def test_a_second_line_with_strays_is_a_lifted_needle(every, told):
    """Each second message of 100 is at 77.7, but one of `every` at 250: there and back are two
    strays, so two a second, or four."""
    messages = [(step / 100, 20.0 + step / 100) for step in range(400)]
    for n, step in enumerate(range(1, 400, 2), start=1):
        messages[step] = (step / 100, 250.0 if n % every == 0 else 77.7)
    assert any(now > 2.0 for now in _two_told(messages)) is told


def test_a_record_moved_slowly_by_hand_is_no_other_unit():
    slow = _sent(_far(), lambda now: 20.0 + now, lambda now: 40.0 + 0.03 * now, 4.0)
    assert slow.hints == ()


@pytest.mark.parametrize(("seconds", "told"), [(1.5, False), (2.5, True)])
def test_turns_are_told_by_a_speed_kept_for_long_where_no_stand_tells(seconds, told):
    """A record that has never stood, 1 / 1.8 of its speed; a hand can drag so for a second."""
    senders = Senders(plan_of(_far()), 1.8, 0.09)
    for step in range(round(seconds * 100)):
        senders.hear("left", 20.0 + step / 180, step / 100)
    assert [("sends turns" in said) for said in senders.hints(seconds)] == [True] * told


def test_messages_that_come_in_a_bunch_leap_1_2_s_at_most():
    """The second of two at one moment is the same sender's so far (common practice, no source)."""
    assert _follows((0.0, 0.0), 1.2, 0.0)
    assert not _follows((0.0, 0.0), 1.21, 0.0)


def test_a_record_stands_at_a_cue_or_anywhere():
    """One cue at 20 of 100 s, .03 s wide: ln(.6 / (.03 sqrt(2 pi)) + .4 / 100) = ln 7.9828; far
    from it ln .004; by one of two cues half as much."""
    assert stands([20.0], 100.0, 20.0) == pytest.approx(math.log(7.9828), abs=1e-4)
    assert stands([20.0], 100.0, 50.0) == pytest.approx(math.log(0.004))
    assert stands([20.0, 60.0], 100.0, 60.0) == pytest.approx(math.log(3.9934), abs=1e-4)


def _reading(small, **votes):
    reading = SidesRead(Belief(plan_of(small), 1.8, USUAL))
    for side, (nats, weight) in votes.items():
        reading.belief.told.votes[side].nats = nats
        reading.belief.told.votes[side].weight = weight
    return reading


def test_a_reading_keeps_what_gestures_told_and_pays_for_leaving_the_order(small):
    """1.5 nats twice over are 3 and stay when that gesture ends; 20 s later 3/e = 1.1036. Into
    set piece three of four from before the start costs 3, from there back to the first 8."""
    nothing = GestureHeard(0.0, 1.0, {"left": None, "right": None}, {"left": True, "right": True})
    reading = _reading(small, left=(1.5, 2.0))
    assert reading.earned == 3.0
    reading.before({"left": True, "right": False})
    reading.belief.told.votes["left"].weight = 0.0
    reading.after(nothing, 20.0)
    assert reading.earned == pytest.approx(1.1036, abs=1e-4)
    reading.belief.told.section = 2
    reading.after(nothing, 0.0)
    assert reading.earned == pytest.approx(1.1036 - 3.0, abs=1e-4)
    reading.belief.told.section = 0
    reading.after(nothing, 0.0)
    assert reading.earned == pytest.approx(1.1036 - 11.0, abs=1e-4)


def test_no_gesture_tells_worse_of_a_reading_than_of_being_nowhere(small):
    """-8 nats count as -2.5 of a run, twice over -5, and as -.8 of anything else, -1.6."""
    reading = _reading(small, left=(-8.0, 2.0))
    assert reading.earned == pytest.approx(-1.6)
    run = Gesture("runs", 0.0, 2.0, True, 1.0, 3.0)
    heard = GestureHeard(1.0, 1.0, {"left": run, "right": None}, {"left": True, "right": True})
    reading.after(heard, 0.0)
    assert reading.earned == pytest.approx(-5.0)


@pytest.mark.parametrize(("other", "told"), [(6.0, True), (-31.0, False)])
def test_the_less_wrong_of_two_wrong_readings_is_not_told(small, other, told):
    """12 nats ahead either way, less 3.6 for a run that fits the plain one; a reading
    that has lost 31 itself fits no more than the first."""
    exchanged = Exchanged(plan_of(small), 1.8, USUAL)
    run = Gesture("runs", 0.0, 2.0, True, 1.0, 3.0)
    heard = GestureHeard(1.0, 1.0, {"left": run, "right": None}, {"left": True, "right": True})
    neither = {"left": False, "right": False}
    plain = Belief(plan_of(small), 1.8, USUAL)
    exchanged.before(plain, neither)
    assert exchanged._both is not None
    exchanged._both[0].past, exchanged._both[1].past = other - 12.0, other
    exchanged.after(plain, heard, neither, 0.0)
    assert exchanged.told is told
