"""Silence, the stage clock, the faders and the prompt of one moment, worked by hand.

Three set pieces of two bars of four at 120 BPM, four seconds each; left runs from 10, 30, 50 s.
"""

import math
from types import SimpleNamespace

import pytest

from liveaid.follow.elapsed import Elapsed, at_start
from liveaid.follow.hearing import Hearing
from liveaid.follow.mixer import Mixer
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import plan_of
from liveaid.follow.tell import Picture, tell
from liveaid.routine import Routine

ROUTINE = Routine.model_validate({"title": "T", "limit": "1:00", "pieces": [
    {"name": f"P{n}", "bars": 2, "tempo": 120, "count": "left", "prompt": f"line {n}",
     "left": {"hand": "runs", "at": 10.0 + 20 * n}}
    for n in range(3)
]})  # fmt: skip
PLAN = plan_of(ROUTINE)


def heard(sends="always", *, every_s=None, left=True, right=False, slope=0.0):
    """Decks heard at 10 s, the left one's usual interval as told."""
    hearing = Hearing(sends)
    for side, told in (("left", left), ("right", right)):
        if told:
            hearing.decks[side].heard_s = 10.0
    if every_s is not None:
        hearing.decks["left"].interval_s = every_s
    hearing.decks["left"].line = SimpleNamespace(slope=slope)
    return hearing


@pytest.mark.parametrize(
    ("sends", "every_s", "lasts_s"),
    [
        ("always", 0.01, 0.3), ("always", 0.0375, 0.3), ("always", 0.05, 0.4), ("always", 0.5, 4.0),
        ("on_change", 0.01, 0.15), ("on_change", 0.05, 0.2), ("on_change", 0.5, 0.3),
    ],
)  # fmt: skip
def test_how_long_a_deck_is_taken_to_move_as_it_did(sends, every_s, lasts_s):
    """Eight times its usual interval and .3 s at least; on change four times, .15 to .3 s."""
    hearing = heard(sends, every_s=every_s)
    assert hearing.fresh("left", 10.0 + lasts_s - 0.001)
    assert not hearing.fresh("left", 10.0 + lasts_s + 0.001)
    assert not hearing.fresh("right", 10.0)


@pytest.mark.parametrize(
    ("hearing", "quiet_s"),
    [
        (heard(left=False), None),
        (heard(every_s=0.05), 10.4),
        (heard(every_s=0.01, right=True), 10.4),  # the right one's usual .05 s: the later of both
        (heard("on_change", slope=0.3), None),  # held: it may be silent for ever
        (heard("on_change", slope=0.31), 12.0),
        (heard("on_change", slope=-0.31), 12.0),
        (heard("on_change", slope=None), None),
    ],
)
def test_when_silence_begins(hearing, quiet_s):
    assert hearing.quiet_s() == (None if quiet_s is None else pytest.approx(quiet_s))
    if quiet_s is not None:
        assert not hearing.is_quiet(quiet_s - 0.001)
        assert hearing.is_quiet(quiet_s + 0.001)
    else:
        assert not hearing.is_quiet(1e9)


def test_the_tempo_is_the_deck_s_that_turned_by_itself_last():
    hearing = Hearing("always", usual_ratio=0.97)
    assert hearing.ratio() == 0.97
    hearing.decks["left"].ratio, hearing.decks["left"].ratio_s = 1.02, 5.0
    assert hearing.ratio() == 1.02
    hearing.decks["right"].ratio, hearing.decks["right"].ratio_s = 0.99, 4.0
    assert hearing.ratio() == 1.02
    hearing.decks["right"].ratio_s = 6.0
    assert hearing.ratio() == 0.99


# -- the stage clock


def clock(*looks):
    """Seconds played after each look: (set piece, beat, second, sure, at the start)."""
    elapsed, found = Elapsed(PLAN), []
    for section, beat, now_s, *more in looks:
        sure, start = (*more, False, False)[:2]
        elapsed.see(section, beat, now_s, ratio=1.0, sure=sure, at_start=start)
        found.append(elapsed.at(now_s))
    return pytest.approx(found)


def test_the_clock_begins_with_the_first_beat():
    """Beat 2 at 120 BPM is a second in; set piece 1 begins 4 s in, its beat 4 is 6 s."""
    assert clock((-1, 0.0, 5.0), (0, 2.0, 10.0)) == [0.0, 1.0]
    assert clock((1, 4.0, 10.0)) == [6.0]


def test_until_the_place_was_sure_the_clock_follows_it_and_then_no_leap_turns_it_back():
    assert clock((1, 0.0, 10.0), (2, 0.0, 11.0), (1, 0.0, 12.0, True), (2, 0.0, 13.0, True),
                 (0, 6.0, 14.0, True)) == [4.0, 8.0, 4.0, 5.0, 6.0]  # fmt: skip


def test_faster_than_the_map_the_start_was_later():
    """Beat 4 at a tempo a quarter faster: 2 s of the map are 1.6 s."""
    elapsed = Elapsed(PLAN)
    elapsed.see(0, 4.0, 10.0, ratio=1.25, sure=True, at_start=False)
    assert elapsed.at(10.0) == pytest.approx(1.6)


def test_over_it_stands_and_begun_anew_it_begins_anew():
    assert clock((2, 0.0, 10.0, True), (3, 0.0, 14.0, True), (3, 0.0, 20.0, True),
                 (0, 1.0, 30.0, True), (0, 3.0, 31.0, True)) == [8, 12, 12, 0.5, 1.5]  # fmt: skip


def test_only_its_first_bar_begins_it_anew_and_only_when_sure():
    assert clock((2, 0.0, 10.0, True), (0, 4.0, 11.0, True)) == [8.0, 9.0]
    assert clock((2, 0.0, 10.0, True), (0, 3.9, 11.0, False)) == [8.0, 9.0]
    assert clock((2, 0.0, 10.0, True), (0, 3.0, 11.0, True)) == [8.0, 1.5]


def test_a_start_heard_while_both_wait_at_their_cues_begins_anew():
    """In the first set piece already, a beat 1 is no new beginning, but after waiting it is."""
    assert clock((0, 6.0, 10.0, True), (0, 1.0, 11.0, True)) == [3.0, 4.0]
    assert clock((0, 6.0, 10.0, True, True), (0, 1.0, 11.0, True)) == [3.0, 0.5]


def test_before_the_start_a_sure_clock_goes_on():
    assert clock((0, 2.0, 10.0, True), (-1, 0.0, 12.0, True)) == [1.0, 3.0]


@pytest.mark.parametrize(
    ("at_s", "still_s", "waits"),
    [(10.0, 1.1, True), (10.24, 1.1, True), (9.76, 1.1, True), (10.26, 1.1, False),
     (9.74, 1.1, False), (10.0, 0.9, False)],
)  # fmt: skip
def test_both_records_wait_at_their_first_cues(at_s, still_s, waits):
    """Held for a second, within a quarter of a second of the cue; right has no cue at all."""
    gestures = {"left": SimpleNamespace(at_s=at_s), "right": SimpleNamespace(at_s=77.0)}
    told = SimpleNamespace(gestures=gestures, still_s=still_s)
    assert at_start(PLAN, told, Numbers()) is waits
    assert at_start(PLAN, SimpleNamespace(gestures={"left": None}, still_s=1.1), Numbers())


# -- the faders


@pytest.mark.parametrize(
    ("crossfader", "levels", "hamster", "shut"),
    [
        (0.02, {}, False, "right"), (0.04, {}, False, ""), (0.98, {}, False, "left"),
        (0.96, {}, False, ""), (0.02, {}, True, "left"), (0.98, {}, True, "right"),
        (0.5, {"left": 0.02}, False, "left"), (0.5, {"left": 0.04}, False, ""),
        (None, {"right": 0.0}, False, "right"), (0.0, {"left": 0.0}, False, "left right"),
    ],
)  # fmt: skip
def test_which_decks_let_nothing_through(crossfader, levels, hamster, shut):
    """Closed from three hundredths on, told after half a second. By nats: 2 of 20 and 18 of 20."""
    mixer = Mixer(hamster=hamster)
    assert not mixer.heard
    if crossfader is not None:
        mixer.hear_crossfader(crossfader, 1.0)
    for side, level in levels.items():
        mixer.hear_level(side, level, 1.0)
    assert mixer.heard
    for side in ("left", "right"):
        part = 2 if side in shut.split() else 18
        assert mixer.nats(side, 1.5, 2.0)["runs"] == pytest.approx(math.log(part / 20))
        assert mixer.nats(side, 1.49, 2.0)["runs"] == pytest.approx(math.log(18 / 20))


def test_a_reading_sooner_than_two_seconds_counts_by_its_part():
    mixer = Mixer(hamster=False)
    whole = mixer.nats("left", 5.0, 2.0)["works"]
    assert whole == pytest.approx(math.log(15 / 20))
    assert mixer.nats("left", 5.0, 0.5)["works"] == pytest.approx(whole / 4)
    assert mixer.nats("left", 5.0, 9.0)["works"] == pytest.approx(whole)


def test_a_deck_closed_since_an_earlier_moment_stays_closed_since_then():
    mixer = Mixer(hamster=False)
    for now_s in (1.0, 1.2, 1.4):
        mixer.hear_level("left", 0.0, now_s)
    assert mixer.nats("left", 1.5, 2.0)["runs"] == pytest.approx(math.log(2 / 20))
    mixer.hear_level("left", 1.0, 1.6)
    mixer.hear_level("left", 0.0, 1.7)
    assert mixer.nats("left", 2.1, 2.0)["runs"] == pytest.approx(math.log(18 / 20))


def test_what_was_seen_is_counted_a_second_at_most_and_fades_after_a_minute():
    """Open for a deck that runs: 18 and 2 become 19 of 21; a second counts once, however long. At
    61 of 60 seconds all is scaled to 60."""
    mixer = Mixer(hamster=False)
    mixer.learn("left", "runs", 1.0, 5.0)
    assert mixer.nats("left", 1.0, 2.0)["runs"] == pytest.approx(math.log(19 / 21))
    mixer.learn("left", "runs", 1.5, 0.5)
    assert mixer.nats("left", 1.5, 2.0)["runs"] == pytest.approx(math.log(19.5 / 21.5))
    for second in range(2, 41):
        mixer.learn("left", "runs", float(second), 1.0)
    # 58.5 open and 2 closed are 60.5; scaled to 60: 58.017 and 1.983, and so the share stays.
    assert mixer.nats("left", 41.0, 2.0)["runs"] == pytest.approx(math.log(58.5 / 60.5))
    mixer.hear_level("left", 0.0, 41.0)
    mixer.learn("left", "runs", 42.0, 1.0)
    assert mixer.nats("left", 42.0, 2.0)["runs"] == pytest.approx(math.log(2.9835 / 61.0), abs=1e-3)


# -- the prompt of one moment


def prompt_of(section, beat=0.0, *, rate=2.0, state="following", confidence=0.9, elapsed_s=None,
              **more):  # fmt: skip
    decks = Hearing("always").decks
    return tell(ROUTINE, PLAN, Picture(
        state=state, confidence=confidence, section=section, beat=beat, rate_bps=rate,
        elapsed_s=elapsed_s, now_s=100.0, decks=decks, fresh={"left": False, "right": False},
        **more,
    ))  # fmt: skip


@pytest.mark.parametrize(
    ("section", "beat", "told"),
    [
        # set piece, bar, beat, bars left, beats left, seconds left
        (0, 0.0, (0, 1, 1, 2, 8.0, 4.0)),
        (0, 3.9, (0, 1, 4, 2, 4.1, 2.05)),
        (1, 4.0, (1, 2, 1, 1, 4.0, 2.0)),
        (2, 7.5, (2, 2, 4, 1, 0.5, 0.25)),
        (2, 9.5, (2, 2, 4, 1, 0.0, 0.0)),  # past its end: its last beat
        (-1, 0.0, (0, 1, 1, 2, 8.0, 4.0)),
        (3, 0.0, (2, 2, 4, 0, 0.0, 0.0)),
    ],
)
def test_bars_and_beats_and_what_is_left(section, beat, told):
    """Eight beats in bars of four, two beats a second."""
    prompt = prompt_of(section, beat)
    assert (prompt.piece.index, prompt.bar, prompt.beat, prompt.bars_left) == told[:4]
    assert (prompt.beats_left, prompt.seconds_left) == pytest.approx(told[4:])
    after = told[0] + 1
    assert (prompt.next and prompt.next.prompt) == (f"line {after}" if after < 3 else None)


def test_waiting_tells_no_place():
    prompt = prompt_of(None, state="waiting", confidence=0.0)
    assert (prompt.piece, prompt.bar, prompt.beat, prompt.bars_left, prompt.beats_left) == (
        None,
    ) * 5
    assert (prompt.seconds_left, prompt.tempo, prompt.beat_position, prompt.next) == (None,) * 4
    assert prompt.decks["left"].hand is None


@pytest.mark.parametrize(
    ("rate", "tempo", "seconds_left"),
    [(2.1, 126.0, 8 / 2.1), (0.61, 36.6, 8 / 0.61), (0.59, 120.0, 8 / 0.59), (0.0, 120.0, None),
     (0.01, 120.0, None), (0.02, 120.0, 400.0)],
)  # fmt: skip
def test_the_tempo_is_the_one_heard_unless_the_record_stands(rate, tempo, seconds_left):
    """Three tenths of 120 BPM are 36, .6 beats a second."""
    prompt = prompt_of(0, rate=rate)
    assert prompt.tempo == pytest.approx(tempo)
    assert prompt.seconds_left == (None if seconds_left is None else pytest.approx(seconds_left))


def test_who_lets_go_first_is_told_before_the_start_alone():
    assert prompt_of(-1, state="before").first == ("left",)
    assert prompt_of(0).first == ()


@pytest.mark.parametrize(
    ("state", "elapsed_s", "kept"),
    [("over", 60.0, True), ("over", 60.1, False), ("over", None, None), ("following", 70.0, None)],
)
def test_whether_the_limit_was_kept(state, elapsed_s, kept):
    assert prompt_of(3, state=state, elapsed_s=elapsed_s).limit_kept is kept


def test_two_places_that_fit_are_named():
    found = prompt_of(0, places=((0, 1.0), (2, 3.0))).places
    assert [(one.index, one.name, one.beat_position) for one in found] == [
        (0, "P0", 1.0), (2, "P2", 3.0),
    ]  # fmt: skip


def test_a_deck_s_age_and_its_last_place_while_it_is_not_heard():
    decks = Hearing("always").decks
    decks["left"].hear(12.5, 99.75)
    found = tell(ROUTINE, PLAN, Picture(
        state="silent", confidence=0.9, section=0, beat=1.0, rate_bps=2.0, elapsed_s=1.0,
        now_s=100.0, decks=decks, fresh={"left": False, "right": False},
    )).decks  # fmt: skip
    assert (found["left"].position, found["left"].speed, found["left"].age_ms) == (
        12.5,
        None,
        250.0,
    )
    assert (found["right"].position, found["right"].age_ms) == (None, None)
    assert (found["left"].hand, found["right"].hand) == ("runs", "rests")
