"""The sound check: each item by hand, from the positions a deck would send."""

import pytest

from liveaid.stage.osc import Heard
from liveaid.stage.soundcheck import Around, SoundCheck, ready

ALL_THERE = Around(controller=True, has_pads=True, pages=1)


def turn(check, side, rate, *, start_s=0.0, seconds=2.0, at=10.0, every_s=0.01):
    """Positions of a record that turns at `rate` units a second."""
    for step in range(round(seconds / every_s)):
        now = start_s + step * every_s
        check.hear(Heard("position", side, at + rate * step * every_s, now))
    return start_s + seconds


def standing(check, now, around=ALL_THERE):
    return {item.name: (item.standing, item.says) for item in check.items(around, now)}


def test_two_records_at_nominal_speed_and_a_pad_make_ready():
    check = SoundCheck()
    for side in ("left", "right"):
        now = turn(check, side, 1.0)
    assert not ready(check.items(ALL_THERE, now))
    check.hear_word("mark", now + 5, 1.8)
    found = standing(check, now)
    assert {name for name, (how, _) in found.items() if how != "ok"} == {
        "left pitch sign", "right pitch sign", "left delay", "right delay",
        "left sticker", "right sticker",
    }  # fmt: skip
    assert ready(check.items(ALL_THERE, now))


def test_a_deck_that_is_not_heard_is_asked_for():
    check = SoundCheck()
    now = turn(check, "left", 1.0)
    how, says = standing(check, now)["right heard"]
    assert how == "missing"
    assert "turn the right record" in says


def test_a_record_that_runs_backwards_is_told_with_its_remedy():
    check = SoundCheck()
    now = turn(check, "left", -1.0)
    assert standing(check, now)["left direction"][0] == "wrong"
    assert "scale: -1" in standing(check, now)["left direction"][1]


@pytest.mark.parametrize(
    ("rate", "unit"), [(1000.0, "milliseconds"), (44100.0, "samples"), (1 / 1.8, "turns")]
)
def test_another_unit_is_recognised_by_how_fast_it_grows(rate, unit):
    """33 1/3 turns a minute: a turn in 1.8 s."""
    check = SoundCheck()
    now = turn(check, "left", rate)
    how, says = standing(check, now)["left unit"]
    assert how == "wrong"
    assert f"`unit: {unit}`" in says


def test_positions_that_come_2_per_cent_too_fast_are_told_before_the_evening():
    check = SoundCheck()
    now = turn(check, "left", 1.02)
    how, says = standing(check, now)["left unit"]
    assert how == "wrong"
    assert says.startswith(
        "1.020 s of file a second instead of 1; the fader at 0, the record's rpm"
    )
    now = turn(check, "left", 1.001, start_s=now + 1.0)
    assert standing(check, now)["left unit"] == ("ok", "1.001 s of file a second")
    now = turn(check, "left", 1.05, start_s=now + 1.0)  # the fader is tried out
    assert standing(check, now)["left unit"][0] == "ok"


def test_the_pitch_faders_sign():
    for told, expected in ((4.0, "ok"), (-4.0, "wrong"), (0.2, "missing")):
        check = SoundCheck()
        check.hear(Heard("pitch", "left", told, 0.0))
        now = turn(check, "left", 1.04)
        assert standing(check, now)["left pitch sign"][0] == expected


def test_sparse_positions_are_told():
    check = SoundCheck()
    now = turn(check, "left", 1.0, every_s=0.02, seconds=1.0)
    now = turn(check, "left", 1.0, start_s=now + 0.3, at=11.3, every_s=0.02, seconds=0.5)
    how, says = standing(check, now)["left heard"]
    assert how == "wrong"
    assert "320 ms apart" in says


def test_the_delay_between_letting_go_and_hearing_it():
    """The word at 2.00, the slope leaves zero some hundredths later: at 90 ms it is too late."""
    for late_s, expected in ((0.01, "ok"), (0.2, "wrong")):
        check = SoundCheck()
        turn(check, "left", 0.0, seconds=2.0 + late_s)
        check.hear_word("mark", 2.0, 1.8)
        now = turn(check, "left", 1.0, start_s=2.0 + late_s, seconds=1.0)
        assert standing(check, now)["left delay"][0] == expected


def test_a_sticker_is_compared_with_where_the_file_starts():
    """1.8 s a turn: 18.0 is ten turns, sticker up; 18.9 is half a turn on."""
    for at, expected in ((18.0, "ok"), (18.9, "wrong"), (17.95, "ok")):
        check = SoundCheck()
        now = turn(check, "left", 0.0, at=at)
        check.hear_word("hold", now, 1.8)
        assert standing(check, now)["left sticker"][0] == expected
    assert "+180" in standing(check, now)["left sticker"][1] or expected == "ok"


def test_map_controller_and_page():
    check = SoundCheck()
    around = Around(
        controller=True, ports={"nightbox": "no port of that name"}, map_says=("Not rendered yet.",)
    )
    found = standing(check, 0.0, around)
    assert found["map"] == ("wrong", "Not rendered yet.")
    assert found["lamps"][0] == "wrong"
    assert "nightbox: no port of that name" in found["lamps"][1]
    assert found["page"][0] == "missing"
    none = standing(check, 0.0, Around())
    assert none["lamps"][0] == "not asked for"
    assert none["map"] == ("ok", "the deck files are the ones this map was rendered to")
    own = standing(check, 0.0, Around(rendered=False))
    assert own["map"] == ("not asked for", "its deck files were made elsewhere: hear a cue on each")
    assert "pads" not in none


@pytest.mark.parametrize(
    ("every_s", "how", "says"),
    [
        (1 / 64, "ok", "65 positions a second, at most 16 ms apart"),
        (0.109375, "ok", "10 positions a second, at most 109 ms apart"),
        (0.125, "missing", "turn the left record: nothing is heard from it"),
    ],
)
def test_how_often_a_deck_tells_where_it_is(every_s, how, says):
    """Over the last second, both ends in it: 1 / (1/64) + 1 = 65; 9 gaps of 7/64 s are .98 s: 10;
    8 gaps of 1/8 s: 9, fewer than ten, which is no sender's pace."""
    check = SoundCheck()
    for step in range(33 if every_s > 0.1 else 200):
        check.hear(Heard("position", "left", step * every_s, step * every_s))
    assert standing(check, step * every_s)["left heard"] == (how, says)


def test_a_gap_of_an_eighth_of_a_second_is_too_long_for_a_scratch():
    """Common practice, no source: above .12 s a hand has been there and back."""
    check = SoundCheck()
    now = turn(check, "left", 1.0, every_s=1 / 64, seconds=0.5)
    check.hear(Heard("position", "left", 10.6, now + 0.109375))
    how, says = standing(check, now + 0.109375)["left heard"]
    assert (how, says) == (
        "wrong",
        "33 positions a second, at most 125 ms apart; a sender that says more would do",
    )


@pytest.mark.parametrize(
    ("rate", "says"),
    [
        (48000.0, "grows by 48000 a second, as samples do; `unit: samples` in its map would do"),
        (96000.0, "grows by 96000 a second, as samples do; `unit: samples` in its map would do"),
        (-1000.0, "grows by 1000 a second, as milliseconds do; `unit: milliseconds` in its map"
                  " would do"),
        (0.6111, "grows by 0.6111 a second, as turns do; `unit: turns` in its map would do"),
        (0.7, "grows by 0.7 a second instead of 1; `liveaid learn osc` finds the unit"),
        (1.13, "grows by 1.13 a second instead of 1; `liveaid learn osc` finds the unit"),
        (300.0, "grows by 300 a second instead of 1; `liveaid learn osc` finds the unit"),
    ],
)  # fmt: skip
def test_what_a_wrong_unit_says(rate, says):
    """33 1/3 turns a minute are .5556 a second; a record at pitch 0 turns within 12 % of that:
    .6111 is 10 % more, .7 is 26 %."""
    check = SoundCheck()
    now = turn(check, "left", rate, at=0.0)
    how, said = standing(check, now)["left unit"]
    assert (how, said) == ("wrong", says)


def test_a_record_at_a_fader_s_end_still_tells_seconds_and_which_way():
    """1.11 is within 12 % of nominal: with the fader told at 11 % that is what it ought to be."""
    check = SoundCheck()
    check.hear(Heard("pitch", "left", 11.0, 0.0))
    now = turn(check, "left", 1.11)
    found = standing(check, now)
    assert found["left unit"] == ("ok", "1.110 s of file a second")
    assert found["left direction"] == ("ok", "forwards is forwards")
    assert found["left pitch sign"] == ("ok", "the fader says +11.0 %, the record +11.0 %")


@pytest.mark.parametrize(
    ("pitch", "how", "says"),
    [
        (4.8, "ok", "the fader says +4.8 %, the record +4.0 %"),
        (3.2, "ok", "the fader says +3.2 %, the record +4.0 %"),
        (5.2, "wrong", "the fader says +5.2 %, the record turns at +4.0 %"),
        (2.8, "wrong", "the fader says +2.8 %, the record turns at +4.0 %"),
        (-4.8, "wrong", "the other way round; `scale: -1` for pitch would do"),
        (-3.2, "wrong", "the other way round; `scale: -1` for pitch would do"),
        (-5.2, "wrong", "the fader says -5.2 %, the record turns at +4.0 %"),
        (0.9, "missing", "move the left pitch fader up by 2 % or more"),
        (None, "not asked for", "the sender tells no pitch"),
    ],
)
def test_what_the_pitch_fader_says_beside_a_record_4_per_cent_fast(pitch, how, says):
    check = SoundCheck()
    if pitch is not None:
        check.hear(Heard("pitch", "left", pitch, 0.0))
    now = turn(check, "left", 1.04)
    assert standing(check, now)["left pitch sign"] == (how, says)


@pytest.mark.parametrize(("lasts_s", "found"), [(0.7, "missing"), (0.9, "ok"), (3.0, "ok")])
def test_a_direction_is_told_once_a_record_ran_for_most_of_a_second(lasts_s, found):
    check = SoundCheck()
    now = turn(check, "left", 1.0, seconds=lasts_s)
    assert standing(check, now)["left direction"][0] == found


@pytest.mark.parametrize(("part", "found"), [(0.01, "ok"), (0.06, "missing")])
def test_a_record_that_gains_speed_tells_nothing_yet(part, found):
    """x = t + part / 2 t^2 from 0 to 1 s: its halves' mean speeds differ by half of `part`, and
    what is steady differs by no more than 2 %."""
    check = SoundCheck()
    for step in range(101):
        t = step / 100
        check.hear(Heard("position", "left", t + part / 2 * t * t, t))
    assert standing(check, 1.0)["left direction"][0] == found


@pytest.mark.parametrize(
    ("at", "how", "says"),
    [
        (18.075, "ok", "+15 degrees from where it stands at the file's start"),
        (17.925, "ok", "-15 degrees from where it stands at the file's start"),
        (18.125, "wrong", "+25 degrees from where it stands at the file's start; move the sticker,"
                          " or `offset: -0.125` in the map would do"),
        (17.2, "wrong", "-160 degrees from where it stands at the file's start; move the sticker,"
                        " or `offset: +0.800` in the map would do"),
        (17.875, "wrong", "-25 degrees from where it stands at the file's start; move the sticker,"
                          " or `offset: +0.125` in the map would do"),
    ],
)  # fmt: skip
def test_how_far_a_sticker_is_off(at, how, says):
    """1.8 s a turn are 5 ms a degree: .075 s are 15 degrees, .125 s are 25. 17.2 is 200 degrees on
    from nine turns, 160 short of ten."""
    check = SoundCheck()
    now = turn(check, "left", 0.0, at=at)
    check.hear_word("hold", now, 1.8)
    assert standing(check, now)["left sticker"] == (how, says)


@pytest.mark.parametrize(("rate", "judged"), [(0.04, True), (-0.04, True), (0.06, False)])
def test_a_sticker_is_judged_on_a_record_that_is_held(rate, judged):
    check = SoundCheck()
    now = turn(check, "left", rate, at=18.0)
    check.hear_word("hold", now, 1.8)
    assert (standing(check, now)["left sticker"][0] != "not asked for") is judged


def let_go(check, *, late_s):
    """A record held for two seconds that moves from 2.0 s and `late_s` on, 20 ms further each
    10 ms, so that the first position tells it."""
    turn(check, "left", 0.0, seconds=2.0 + late_s)
    return turn(check, "left", 2.0, start_s=2.0 + late_s, at=10.02, seconds=0.5)


@pytest.mark.parametrize(
    ("late_s", "how", "says"),
    [
        (0.05, "ok", "heard +50 ms after the word (1 tries)"),
        (0.07, "wrong", "heard +70 ms after the word (1 tries)"),
        (0.9, "wrong", "heard +900 ms after the word (1 tries)"),
        (1.1, "not asked for",
         "let the left record go and say `mark` at the same moment, to check it"),
    ],
)  # fmt: skip
def test_how_long_after_the_word_a_record_is_heard_to_go(late_s, how, says):
    """60 ms are felt when beats are matched by hand; a second later it is another start."""
    check = SoundCheck()
    turn(check, "left", 0.0, seconds=2.0)
    check.hear_word("mark", 2.0, 1.8)
    now = let_go(check, late_s=late_s)
    assert standing(check, now)["left delay"] == (how, says)


@pytest.mark.parametrize(("word_s", "says"), [(2.04, "-40 ms"), (2.9, "-900 ms")])
def test_a_word_after_the_record_went_counts_back(word_s, says):
    check = SoundCheck()
    let_go(check, late_s=0.0)
    check.hear_word("mark", word_s, 1.8)
    assert standing(check, 2.4)["left delay"][1] == f"heard {says} after the word (1 tries)"
    check.hear_word("mark", 3.1, 1.8)
    assert "(1 tries)" in standing(check, 2.4)["left delay"][1]


def test_a_record_that_creeps_by_less_than_ten_milliseconds_was_not_let_go():
    check = SoundCheck()
    turn(check, "left", 0.0, seconds=2.0)
    check.hear_word("mark", 2.0, 1.8)
    now = turn(check, "left", 0.0, start_s=2.0, at=10.008, seconds=0.5)
    assert standing(check, now)["left delay"][0] == "not asked for"
    now = turn(check, "left", 0.0, start_s=2.5, at=9.985, seconds=0.5)
    assert standing(check, now)["left delay"][1].startswith("heard +500 ms")


def test_pads_and_devices_are_counted_in_words():
    check = SoundCheck()
    around = Around(controller=True, has_pads=True, pages=2, map_says=("One.", "Two."))
    before = standing(check, 0.0, around)
    assert before["pads"] == ("missing", "press any pad that says a word")
    assert before["lamps"] == ("ok", "the port is open; one lamp changes every second")
    assert before["page"] == ("ok", "open on 2 devices")
    assert before["map"] == ("wrong", "One.; Two.")
    check.hear_word("next", 0.0, 1.8)
    after = standing(check, 0.0, Around(controller=True, has_pads=True, pages=1))
    assert after["pads"] == ("ok", "heard: next")
    assert after["page"] == ("ok", "open on 1 device")
    assert "pads" not in standing(check, 0.0, Around(controller=True, pages=1))


@pytest.mark.parametrize(
    ("first", "later", "how"), [(1.0, 1.05, "ok"), (1.02, 1.05, "wrong"), (1.005, 1.05, "ok")]
)
def test_once_seconds_are_proven_the_fader_may_be_moved(first, later, how):
    check = SoundCheck()
    now = turn(check, "left", first)
    now = turn(check, "left", later, start_s=now, at=20.0)
    assert standing(check, now)["left unit"][0] == how
