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
