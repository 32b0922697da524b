"""How one sender is judged, step by step: what was sent is made up by hand at every bound."""

from __future__ import annotations

import math
from collections import deque

import pytest

from liveaid.follow import senders as parts
from liveaid.follow.plan import plan_of
from liveaid.follow.senders import Senders, Sent
from liveaid.routine import Routine

TURN_S, REACH = 1.8, 0.09
FAR = Routine.model_validate({"title": "Far", "pieces": [
    {"name": "One", "bars": 4, "tempo": 120, "count": "left", "left": {"hand": "runs", "at": 20}},
    {"name": "Two", "bars": 4, "tempo": 120, "count": "right",
     "right": {"hand": "runs", "at": 40}},
]})  # fmt: skip
NEVER = -math.inf


@pytest.fixture
def judge():
    return Senders(plan_of(FAR), TURN_S, REACH)


def meant(judge, speed, *, lasts_s=1.0, good_s=NEVER, other_s=NEVER, turns=0.0, farthest_s=50.0,
          wrong=None):  # fmt: skip
    """What a speed kept until 30 s must come from."""
    sent = judge._sent["left"]
    sent.odd, sent.good_s, sent.farthest_s = (speed, 30.0 - lasts_s, 30.0), good_s, farthest_s
    sent.wrong, judge._turns, judge._sent["right"].good_s = wrong, turns, other_s
    return judge._meant(sent, 30.0)


@pytest.mark.parametrize(
    ("speed", "says"),
    [
        # Within 9 % of a thousand, and of three usual rates of samples.
        (1000.0, "milliseconds"), (1089.0, "milliseconds"), (911.0, "milliseconds"),
        (1091.0, "1091 times"), (909.0, "909 times"), (41000.0, "samples"), (44100.0, "samples"),
        (52000.0, "samples"), (53000.0, "53000 times"), (96000.0, "samples"),
        (104000.0, "samples"), (40000.0, "40000 times"), (21.0, "21 times"), (19.0, None),
        (5.0, None),
    ],
)  # fmt: skip
def test_what_a_speed_that_no_hand_makes_is(judge, speed, says):
    said = meant(judge, speed, good_s=29.0)  # a record heard well before changes nothing
    assert (said is None) if says is None else says in said
    if says == "21 times":
        assert meant(judge, speed, wrong="sends turns") == "sends turns"


@pytest.mark.parametrize(
    ("speed", "how", "says"),
    [
        # One turn in 1.8 s: told once kept for 1.6 s, or where the stands tell it.
        (1 / 1.8, {"lasts_s": 1.7}, "turns"), (1 / 1.8, {"lasts_s": 1.59}, None),
        (1 / 1.8, {"turns": 0.1}, "turns"), (1.08 / 1.8, {"turns": 0.1}, "turns"),
        (1.1 / 1.8, {"turns": 0.1}, None),
        # A record heard at its own speed answers for both decks for 20 s; after that a long one.
        (1 / 1.8, {"lasts_s": 1.7, "good_s": 11.0}, None),
        (1 / 1.8, {"lasts_s": 1.7, "good_s": 9.0}, "turns"),
        (1 / 1.8, {"lasts_s": 1.7, "other_s": 11.0}, None),
        (1 / 1.8, {"lasts_s": 1.7, "other_s": 9.0}, "turns"),
        (1 / 1.8, {"turns": 9.0, "good_s": 9.0}, None),
        (-1.0, {}, "backwards"), (-1.08, {}, "backwards"), (-1.1, {}, None), (-0.9, {}, None),
        (-0.92, {}, "backwards"), (-1.0, {"good_s": 11.0}, None), (-1.0, {"good_s": 9.0}, None),
        (-1.0, {"good_s": 9.0, "lasts_s": 1.7}, "backwards"),
        (0.04, {"farthest_s": 1.0}, "fraction"), (0.04, {"farthest_s": 1.1}, None),
        (0.05, {"farthest_s": 0.5}, None),
        # 45 for 33 1/3 is 1.35, within 5 %.
        (1.35, {"lasts_s": 1.7}, "1.35 of its speed"), (1.35, {"lasts_s": 1.59}, None),
        (1.41, {"lasts_s": 1.7}, "1.41 of its speed"), (1.42, {"lasts_s": 1.7}, None),
        (1.29, {"lasts_s": 1.7}, "1.29 of its speed"), (1.28, {"lasts_s": 1.7}, None),
        (0.71, {"lasts_s": 1.7}, "0.71 of its speed"), (0.7, {"lasts_s": 1.7}, None),
        (1.35, {"lasts_s": 1.7, "good_s": 11.0}, None),
    ],
)  # fmt: skip
def test_what_a_speed_that_a_hand_may_make_is(judge, speed, how, says):
    said = meant(judge, speed, **how)
    assert (said is None) if says is None else says in said


@pytest.mark.parametrize(
    ("since_s", "now", "told"),
    [(29.2, 30.0, True), (29.21, 30.0, False), (29.2, 30.49, True), (29.2, 30.5, False)],
)
def test_a_speed_kept_for_eight_tenths_of_a_second_is_told(judge, since_s, now, told):
    judge._sent["right"].odd = (1000.0, since_s, 30.0)
    said = "the right deck sends milliseconds, it seems, not seconds: `unit: milliseconds` would do"
    assert judge.hints(now) == ((said,) if told else ())
    # What was told stands until it turns at its own speed.
    assert judge.hints(99.0) == ((said,) if told else ())


def test_what_is_said_of_steps_and_of_a_scale(judge):
    judge._sent["left"].step = 0.25
    assert judge.hints(1.0) == (
        "the left deck's positions come in steps of 0.25 s; 0.05 or less would do",
    )
    judge._sent["left"].step = None
    for odds, offset, told in (
        (8.1, 5.0, True),
        (8.0, 0.0, False),
        (9.0, 5.9, True),
        (9.0, 6.0, False),
    ):
        judge._scales[1.02], judge._offsets[0.15] = odds, offset
        assert judge.hints(1.0) == (
            ("positions come +2.0 % off the map: the records stand or turn that far off;"
             " another rpm or `scale` would do",) if told else ()
        )  # fmt: skip
    judge._sent["right"].scaled = 0.95
    assert judge._scale() == 0.95


def test_odds_are_kept_within_bounds_and_fade():
    assert parts._added(10.0, 1.0) == pytest.approx(10.8)
    assert (parts._added(10.0, 30.0), parts._added(0.0, -30.0)) == (18.0, -12.0)


# --- two lines ------------------------------------------------------------------------------------


def test_messages_that_go_to_and_fro_between_two_lines(judge):
    """20 s and on, and 77.7: the first word of the other line is a stray, the next keeps it."""
    sent = Sent()
    for now, position in ((0.0, 20.0), (0.01, 20.01), (0.02, 77.7), (0.03, 77.7)):
        judge._lines(sent, position, now)
    assert (sent.last, sent.other) == ((0.01, 20.01), (0.03, 77.7))
    assert (sent.along, sent.on_other) == (1, True)
    assert (list(sent.strays), list(sent.changes), sent.to_and_fro_s) == ([0.02], [0.03], 0.03)
    judge._lines(sent, 77.7, 0.04)
    assert (sent.along, list(sent.changes)) == (2, [0.03])
    judge._lines(sent, 20.05, 0.05)
    assert (sent.last, sent.on_other, list(sent.changes)) == ((0.05, 20.05), False, [0.03, 0.05])
    judge._lines(sent, 20.06, 0.06)
    assert list(sent.changes) == [0.03, 0.05]
    judge._lines(sent, 150.0, 0.07)
    assert (sent.along, sent.other, list(sent.strays)) == (0, (0.07, 150.0), [0.02, 0.07])
    assert sent.to_and_fro_s == 0.03


@pytest.mark.parametrize(("now", "elsewhere"), [(0.5, False), (0.51, True)])
def test_a_line_not_kept_for_half_a_second_is_left(judge, now, elsewhere):
    sent = Sent(last=(0.0, 20.0), other=(0.4, 77.7), along=2)
    judge._lines(sent, 77.7, now)
    if elsewhere:
        assert (sent.last, sent.other, sent.on_other, sent.along) == ((now, 77.7), None, False, 0)
    else:
        assert (sent.last, sent.on_other, sent.along) == ((0.0, 20.0), True, 3)


@pytest.mark.parametrize(("now", "since_s"), [(1.29, 0.5), (1.31, 1.31)])
def test_to_and_fro_is_unbroken_for_three_tenths(now, since_s):
    sent = Sent(changes=deque([1.0]), to_and_fro_s=0.5)
    parts._changed(sent, now)
    assert (sent.to_and_fro_s, list(sent.changes)) == (since_s, [1.0, now])
    first = Sent()
    parts._changed(first, 2.0)
    assert first.to_and_fro_s == 2.0


@pytest.mark.parametrize(
    ("changes", "since_s", "along", "strays", "two"),
    [
        ((9.01, *[9.5] * 6, 9.71), 9.19, 3, (8.0, 9.5, 9.9), True),
        ((9.01, *[9.5] * 6, 9.69), 9.2, 3, (), False),
        ((9.0, *[9.5] * 6, 9.71), 9.19, 3, (), False),
        ((*[9.5] * 7, 9.71), 9.21, 3, (), False), ((*[9.5] * 7, 9.71), 9.19, 2, (), False),
        ((*[9.5] * 7, 9.71), 9.19, 3, (9.1, 9.5, 9.9), False), ((), 0.0, 9, (), False),
    ],
)  # fmt: skip
def test_when_two_senders_tell_one_deck(changes, since_s, along, strays, two):
    """At 10 s: the last change .3 s ago, for .8 s without a break, eight in the last second."""
    sent = Sent(changes=deque(changes), to_and_fro_s=since_s, along=along, strays=deque(strays))
    assert parts._two_lines(sent, 10.0) is two


# --- steps, speeds and stands ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "known", "step"),
    [
        # A record that turns by itself goes from quarter to quarter in a quarter of a second.
        ([(0.0, 20.0), (0.25, 20.25), (0.5, 20.5)], None, 0.25),
        ([(0.0, 20.0), (1.0, 21.0), (2.0, 22.0)], None, 1.0),
        ([(0.0, 20.1), (0.1, 20.2), (0.2, 20.3)], None, 0.1),
        ([(0.0, 20.0), (0.25, 20.25), (0.59, 20.5)], None, 0.25),
        ([(0.0, 20.0), (0.25, 20.25), (0.61, 20.5)], None, None),
        ([(0.0, 20.0), (0.25, 20.25), (0.43, 20.5)], None, 0.25),
        ([(0.0, 20.0), (0.25, 20.25), (0.42, 20.5)], None, None),
        ([(0.0, 20.5), (0.25, 20.25), (0.5, 20.0)], None, None),
        ([(0.0, 20.0), (0.5, 20.5)], None, None),
        ([(0.0, 20.0), (0.3, 20.33), (0.6, 20.6)], None, None),
        ([(0.0, 3.0), (0.25, 20.25), (0.5, 20.5), (0.75, 20.75)], None, 0.25),
        # Known, it stands until a position comes between.
        ([(0.0, 20.0), (9.0, 35.75)], 0.25, 0.25), ([(0.0, 20.0), (9.0, 35.8)], 0.25, None),
    ],
)  # fmt: skip
def test_in_which_steps_positions_come(values, known, step):
    assert parts._step(values, known) == step


@pytest.mark.parametrize(
    ("speed", "good", "odd"),
    [(1.0, True, 0.0), (1.089, True, 0.0), (1.091, False, 1.091), (0.911, True, 0.0),
     (0.909, False, 0.909), (-1.0, False, -1.0), (7.0, False, 7.0), (0.0, False, 0.0)],
)  # fmt: skip
def test_a_speed_kept_is_its_own_or_another(judge, speed, good, odd):
    for step in range(20):
        judge.hear("left", 30.0 + speed * step / 16, step / 16)
    sent = judge._sent["left"]
    assert (sent.good_s == 1.1875) is good
    assert (sent.good_s == NEVER) is not good
    assert sent.odd[0] == pytest.approx(odd)
    assert sent.odd[1:] == ((0.0, 1.1875) if odd else (0.0, 0.0))
    assert sent.farthest_s == pytest.approx(max(abs(30.0 + speed * 1.1875), 30.0))


def test_a_speed_that_changes_is_another(judge):
    """At 7 times its speed for .5 s, then at 9: told anew once a line of it is drawn."""
    at = 30.0
    for step in range(32):
        judge.hear("left", at, step / 16)
        at += (7.0 if step < 8 else 9.0) / 16
    speed, since_s, until_s = judge._sent["left"].odd
    assert (speed, until_s) == (pytest.approx(9.0, rel=0.05), 31 / 16)
    assert 0.3 <= since_s <= 0.7


def pitched(speed, *, pitch=1.0, seconds=2.0, later=None, run_s=0.0, scaled=None):
    """A record's points every 50 ms, from half of them on at another speed."""
    count = round(seconds * 20) + 1
    sent = Sent(pitch=pitch, run_s=run_s, scaled=scaled)
    at = 20.0
    for step in range(count):
        sent.points.append((step / 20, at))
        at += (speed if step < count // 2 or later is None else later) / 20
    parts._at_pitch(sent)
    return sent.scaled


@pytest.mark.parametrize(
    ("how", "scaled"),
    [
        ({"speed": 1.02}, 1.02), ({"speed": 0.98}, 0.98), ({"speed": 1.0145}, 1.0145),
        ({"speed": 1.0135}, None), ({"speed": 0.9855}, 0.9855), ({"speed": 0.9865}, None),
        ({"speed": 1.0302, "pitch": 1.01}, 1.02), ({"speed": 1.01, "pitch": 1.01}, None),
        # Two seconds of it, from when the fader stands there; both halves have to agree.
        ({"speed": 1.02, "seconds": 1.95}, None), ({"speed": 1.02, "run_s": 0.04}, None),
        ({"speed": 1.02, "later": 1.033}, 1.0265), ({"speed": 1.02, "later": 1.035}, None),
        ({"speed": 1.035, "later": 1.02}, None), ({"speed": 1.02, "pitch": None}, None),
        # Once told it stands as it was told, until they agree.
        ({"speed": 1.03, "scaled": 1.02}, 1.02), ({"speed": 1.0, "scaled": 1.02}, None),
    ],
)  # fmt: skip
def test_a_record_is_held_against_its_fader(how, scaled):
    assert pitched(**how) == (scaled and pytest.approx(scaled, abs=2e-4))


@pytest.mark.parametrize(("ratio", "moved"), [(1.0129, False), (1.0131, True), (1.0069, True)])
def test_a_fader_that_trembles_has_not_been_moved(judge, ratio, moved):
    judge.hear("left", 20.0, 3.0)
    judge.hear_pitch("left", 1.01)
    sent = judge._sent["left"]
    assert (sent.pitch, sent.run_s) == (1.01, 3.0)
    judge.hear("left", 20.1, 3.1)
    judge.hear_pitch("left", ratio)
    assert (sent.pitch, sent.run_s) == ((ratio, 3.1) if moved else (1.01, 3.0))


def stood(judge, *places, apart_s=1 / 16, seconds=0.5):
    """Where the left record was found to stand, held at each place for so long."""
    now = 0.0
    for place in places:
        for _ in range(round(seconds / apart_s)):
            judge.hear("left", place, now)
            now += apart_s
    return list(judge._sent["left"].stands)


def test_a_record_stands_that_has_not_moved_for_four_tenths(judge):
    """The same place again, within .3 s, is no new witness."""
    assert stood(judge, 20.0) == [20.0]
    assert stood(Senders(plan_of(FAR), TURN_S, REACH), 20.0, seconds=0.375) == []
    assert stood(Senders(plan_of(FAR), TURN_S, REACH), 20.0, 20.29) == [20.0]
    assert stood(Senders(plan_of(FAR), TURN_S, REACH), 20.0, 20.31, seconds=1.0) == [20.0, 20.31]
    trembles = Senders(plan_of(FAR), TURN_S, REACH)
    for step in range(20):
        trembles.hear("left", 20.0 + (0.014 if step % 2 else 0.0), step / 16)
    assert trembles._sent["left"].stands
    moves = Senders(plan_of(FAR), TURN_S, REACH)
    for step in range(20):
        moves.hear("left", 20.0 + (0.016 if step % 2 else 0.0), step / 16)
    assert not moves._sent["left"].stands


def test_a_stand_speaks_for_the_scale_and_the_offset_that_bring_it_to_a_cue(judge):
    """Left's only cue is 20; at 20.4 the scale 1.02 and the offset .4 fit, the plain place not.
    Its file is 48 s and 20 more long: nats are what the place has ahead of the plain one."""
    stood(judge, 20.4)
    length_s = 48.0 + 20.0
    assert judge._length_s == length_s
    ahead = parts.stands([20.0], length_s, 20.0) - parts.stands([20.0], length_s, 20.4)
    assert judge._scales[1.02] == pytest.approx(ahead)
    assert judge._offsets[0.4] == pytest.approx(ahead)
    assert judge._scales[0.98] == pytest.approx(0.0, abs=1e-6)
    turns = Senders(plan_of(FAR), TURN_S, REACH)
    stood(turns, 20.0 / 1.8)
    assert turns._turns == pytest.approx(ahead)
