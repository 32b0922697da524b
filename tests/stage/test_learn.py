"""Learning a sender's map from what it sends: made senders of every kind, and what is written
must turn their messages back into the seconds the record stood at."""

import math
import random
import subprocess
import sys
import time

import mido
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from liveaid.errors import LiveaidError
from liveaid.routine.config_file import read_config
from liveaid.stage.address import Address
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.learn_lamps import Lesson, wanted_lamps, wanted_words
from liveaid.stage.learn_osc import NothingLearned, learn_map
from liveaid.stage.osc import read_positions
from liveaid.stage.osc_map import OscMap, table_for
from liveaid.stage.osc_packet import read_packet
from liveaid.stage.pads import Pad, pad_pressed

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]


def record(at_s, *, starts_s, stops_s, pitch=1.0):
    """Seconds of record gone by when it is let go at `starts_s` and held from `stops_s`."""
    return pitch * max(0.0, min(at_s, stops_s) - starts_s)


def performance(write, *, rate=60, jitter_s=0.004, pitch=1.0, on_change=False, seconds=14, seed=1):
    """[(arrival, datagram, side, seconds of record)]: left turns from 1 s on and is held at 10 s,
    right turns from 3 s on."""
    rng = random.Random(seed)
    sent, last = [], {}
    for step in range(seconds * rate):
        now = step / rate
        for side, starts_s, stops_s in (("left", 1.0, 10.0), ("right", 3.0, 99.0)):
            at_s = 20.0 + record(now, starts_s=starts_s, stops_s=stops_s, pitch=pitch)
            speed = pitch if starts_s < now < stops_s else 0.0
            if on_change and last.get(side) == at_s:
                continue
            last[side] = at_s
            for data in write(side, at_s, speed):
                sent.append((100.0 + now + rng.uniform(0, jitter_s), data, side, at_s))
    return sorted(sent)


def learned_from(sent):
    heard = [(now, message) for now, data, _, _ in sent for message in read_packet(data)]
    return learn_map(heard)


def worst_error_s(sent, tree):
    """The farthest that any position, read by the learned map, is from the truth."""
    table = table_for(read_config(yaml.safe_dump(tree).encode(), "learned.yaml", OscMap))
    worst, count = 0.0, 0
    for now, data, side, at_s in sent:
        for heard in read_positions(data, table, now).heard:
            if heard.what == "position":
                assert heard.side == side
                worst, count = max(worst, abs(heard.value - at_s)), count + 1
    assert count > 100
    return worst


# Seconds per unit are facts: 1000 ms, the CD's 44 100 samples (IEC 60908), 33 1/3 rpm (IEC 60098).
SENDERS = {
    "seconds": (lambda m: lambda side, at, _: [m(f"/deck/{side}/time", at)], 0.001),
    "milliseconds": (lambda m: lambda side, at, _: [m(f"/{side}/ms", round(at * 1000))], 0.001),
    "cd samples": (lambda m: lambda side, at, _: [m(f"/d/{side}", round(at * 44100))], 0.001),
    "48k samples": (lambda m: lambda side, at, _: [m(f"/d/{side}", round(at * 48000))], 0.001),
    "turns": (lambda m: lambda side, at, _: [m(f"/t/{side}", at * 100 / 3 / 60)], 0.02),
    "turns at 45": (lambda m: lambda side, at, _: [m(f"/t/{side}", at * 0.75)], 0.001),
    "fraction": (lambda m: lambda side, at, _: [m(f"/p/{side}", at / 240)], 0.5),
    "numbers": (
        lambda m: lambda side, at, _: [m(f"/player{1 + (side == 'right')}/position", at)],
        0.001,
    ),
    "suffixes": (
        lambda m: lambda side, at, _: [m(f"/pos/{'a' if side == 'left' else 'b'}_now", at)],
        0.001,
    ),
    "deck in argument": (
        lambda m: lambda side, at, speed: [m("/state", int(side == "right"), at, speed)],
        0.001,
    ),
    "deck by name": (lambda m: lambda side, at, _: [m("/state", side.upper(), at * 1000)], 0.01),
    "among others": (
        lambda m: (
            lambda side, at, speed: [
                m(f"/deck/{side}/volume", 0.8),
                m(f"/deck/{side}/angle", (at / 1.8) % 1.0),
                m(f"/deck/{side}/name", "night market"),
                m(f"/deck/{side}/elapsed", at),
                m("/clock", int(at * 7) % 5),
            ]
        ),
        0.001,
    ),
}


@pytest.mark.parametrize("name", SENDERS)
def test_learned_maps_read_the_sender_back(message, name):
    write, close_s = SENDERS[name]
    sent = performance(write(message))
    assert worst_error_s(sent, learned_from(sent).tree) <= close_s


@pytest.mark.parametrize("pitch", [0.97, 1.03])
def test_a_pitch_a_little_off_does_not_change_the_unit(message, pitch):
    for name in ("seconds", "milliseconds", "cd samples", "turns"):
        write, close_s = SENDERS[name]
        sent = performance(write(message), pitch=pitch)
        assert worst_error_s(sent, learned_from(sent).tree) <= close_s


def test_two_sample_rates_near_the_rate_heard_are_both_named(message):
    write, _ = SENDERS["cd samples"]
    learned = learned_from(performance(write(message), pitch=1.04))
    assert all(rate in " ".join(learned.notes) for rate in ("44100", "48000"))
    assert any("was the pitch at 0?" in note for note in learned.notes)


def test_whether_a_standing_record_sends_is_learned(message):
    write, _ = SENDERS["seconds"]
    assert learned_from(performance(write(message))).tree["sends"] == "always"
    assert learned_from(performance(write(message), on_change=True)).tree["sends"] == "on_change"


def test_speed_is_found_beside_the_position(message):
    write, _ = SENDERS["deck in argument"]
    tree = learned_from(performance(write(message))).tree
    assert tree["decks"] == {"left": "0", "right": "1"}
    assert tree["speed"] == {"address": "/state", "argument": 2, "deck_argument": 0}
    table = table_for(read_config(yaml.safe_dump(tree).encode(), "learned.yaml", OscMap))
    heard = read_positions(message("/state", 1, 12.0, 0.5), table, 0.0).heard
    assert [(item.what, item.side, item.value) for item in heard] == [
        ("position", "right", 12.0), ("speed", "right", 0.5)
    ]  # fmt: skip


def test_a_level_at_full_is_not_taken_for_speed(message):
    def write(side, at, _):
        return [message(f"/deck/{side}/time", at), message(f"/deck/{side}/gain", 1.0)]

    learned = learned_from(performance(write))
    assert "speed" not in learned.tree
    assert any("gain" in note for note in learned.notes)


def test_names_without_an_order_go_by_who_turned_first(message):
    def write(side, at, _):
        return [message(f"/{'zinc' if side == 'left' else 'amber'}/time", at)]

    assert learned_from(performance(write)).tree["decks"] == {"left": "zinc", "right": "amber"}


def test_of_three_records_the_two_that_turned_first_are_the_decks(message):
    """The third, under a name before both, does what the second does two seconds later."""

    def write(side, at, _):
        return [message(f"/{'zinc' if side == 'left' else 'mint'}/time", at)]

    sent = performance(write)
    third = [
        (now + 2.0, message("/amber/time", at_s), side, at_s)
        for now, _, side, at_s in sent
        if side == "right"
    ]
    assert learned_from(sorted([*sent, *third])).tree["decks"] == {"left": "zinc", "right": "mint"}


def test_known_names_go_by_their_order_whoever_turned_first(message):
    def write(side, at, _):
        return [message(f"/deck/{'right' if side == 'left' else 'left'}/time", at)]

    assert learned_from(performance(write)).tree["decks"] == {"left": "left", "right": "right"}


@pytest.mark.parametrize("seed", range(5))
def test_jitter_and_loss_do_not_change_what_is_learned(message, seed):
    write, close_s = SENDERS["milliseconds"]
    sent = performance(write(message), rate=100, jitter_s=0.03, seed=seed)
    rng = random.Random(seed)
    kept = [item for item in sent if rng.random() > 0.2]
    assert worst_error_s(kept, learned_from(kept).tree) <= close_s


@pytest.mark.parametrize(
    ("write", "said"),
    [
        (lambda m: lambda side, at, _: [], "no numbers were heard"),
        (lambda m: lambda side, at, _: [m("/hello", "there")], "no numbers were heard"),
        (lambda m: lambda side, at, _: [m(f"/{side}", 0.7)], "none of the numbers heard grew"),
        (lambda m: lambda side, at, _: [m(f"/{side}", (at / 1.8) % 1.0)], "an angle"),
        (
            lambda m: lambda side, at, _: [m("/left/t", at)] if side == "left" else [],
            "only one deck's position",
        ),
        (lambda m: lambda side, at, _: [m(f"/{side}", math.nan)], "no numbers were heard"),
    ],
)
def test_what_cannot_be_learned_is_said(message, write, said):
    with pytest.raises(NothingLearned, match=said):
        learned_from(performance(write(message), seconds=8))


def test_the_command_writes_a_map_that_perform_takes(message, send, free_port, tmp_path):
    to = Address("127.0.0.1", free_port())
    out = tmp_path / "osc-mine.yaml"
    command = [*LIVEAID, "learn", "osc", "--osc", str(to), "--seconds", "60", "--out", str(out)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as learning:
        assert "Listening" in learning.stdout.readline()
        time.sleep(0.3)
        start = time.monotonic()
        while (gone := time.monotonic() - start) < 5.0:
            send(to, message("/platter/1/ms", round(1000 * (10 + min(gone, 3.5)))))
            send(to, message("/platter/2/ms", round(1000 * max(0.0, gone - 0.5))))
            send(to, b"not OSC at all")
            time.sleep(0.01)
        learning.send_signal(2)
        printed, _ = learning.communicate(timeout=20)
    assert learning.returncode == 0
    assert "milliseconds" in printed
    written = read_config(out.read_bytes(), str(out), OscMap)
    assert (written.position.unit, written.sends) == ("milliseconds", "always")
    assert (written.decks.left, written.decks.right) == ("1", "2")
    assert written.position.address == "/platter/{deck}/ms"
    again = subprocess.run(
        [*LIVEAID, "learn", "osc", "--osc", str(to), "--seconds", "1", "--out", str(out)],
        capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    assert again.returncode == 1
    assert "no numbers were heard" in again.stderr


# -- a controller


def lesson_of(pads, wanted, lights=False):
    lesson = Lesson(wanted, lights=lights)
    for pad in pads:
        lesson.press(pad)
    return lesson


def read(lesson):
    return read_config(yaml.safe_dump(lesson.layout()).encode(), "learned.yaml", LampLayout)


def test_pads_pressed_in_order_make_a_layout():
    pads = [*(Pad("note", 2, number) for number in (40, 41, 50, 60)), Pad("note", 3, 61)]
    lesson = lesson_of(pads, wanted_lamps(bars=2, beats=1))
    assert lesson.asks == "Press the pad for next_right."
    layout = read(lesson)
    assert [place.number for place in layout.lamps.bars] == [40, 41]
    assert [place.number for place in layout.lamps.beats] == [50]
    assert layout.lamps.next_left.number == 60
    # Note-on 1001nnnn, n the channel from 0: channel 2 is 91, the odd pad's channel 3 is 92.
    assert layout.message("bars.0", "on") == bytes([0x91, 40, 127])
    assert layout.message("ready_left", "on") == bytes([0x92, 61, 127])
    assert layout.lamps.unsure is None


def test_one_can_skip_and_go_back_and_a_pad_is_taken_once():
    lesson = lesson_of([Pad("note", 1, 1), Pad("note", 1, 1)], ["bars.0", "last", "limit", "over"])
    assert lesson.says == "That one is bars.0 already."
    lesson.answer("s\n")
    lesson.press(Pad("note", 1, 2))
    assert (lesson.says, lesson.asks) == ("limit is note 2.", "Press the pad for over.")
    lesson.answer("b")
    assert lesson.asks == "Press the pad for limit."
    lesson.press(Pad("note", 1, 3))
    lesson.press(Pad("note", 1, 4))
    assert lesson.done
    lamps = read(lesson).lamps
    assert (lamps.last, lamps.limit.number, lamps.over.number) == (None, 3, 4)


def test_levels_and_what_puts_a_lamp_out_are_learned_with_the_first_pad():
    """A controller lit by notes, that ignores velocity 0 and is dim at 32: by hand, message by
    message; `yes` by the pad itself, `no` by another."""
    pad, other = Pad("note", 1, 36), Pad("note", 1, 99)
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(pad)
    assert lesson.sends() == [bytes([0x90, 36, 127])]
    assert lesson.asks.startswith("Is it lit?")
    lesson.press(pad)
    assert lesson.sends() == [bytes([0x90, 36, 0])]
    lesson.press(other)  # still lit
    assert lesson.sends() == [bytes([0x80, 36, 0])]
    lesson.answer("y")
    assert lesson.sends() == [bytes([0x90, 36, 127]), bytes([0x90, 36, 16])]
    lesson.answer("n")
    assert lesson.sends() == [bytes([0x90, 36, 127]), bytes([0x90, 36, 32])]
    lesson.answer("y")
    assert lesson.asks == "Press the pad for last."
    lesson.press(Pad("note", 1, 37))
    assert lesson.sends()[-1] == bytes([0x90, 37, 127])
    layout = read(lesson)
    assert (layout.off_by, layout.levels.dim, layout.send) == ("note-off", 32, "note")


def test_pads_that_send_notes_may_have_lamps_lit_by_control_changes():
    pad = Pad("note", 1, 36)
    lesson = Lesson(["bars.0", "word here"], lights=True)
    lesson.press(pad)
    lesson.answer("n")
    assert lesson.sends()[-1] == bytes([0xB0, 36, 127])
    for word in "yyy":
        lesson.answer(word)
    lesson.press(pad)
    layout = read(lesson)
    assert layout.message("bars.0", "on") == bytes([0xB0, 36, 127])
    assert layout.pad_words() == {pad: ("here", None)}


def test_what_another_first_pad_taught_is_forgotten_when_it_is_taken_back():
    """Lit by notes and put out by a note-off; then, back, another is lit by control changes."""
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(Pad("note", 1, 36))
    for word in "ynb":
        lesson.answer(word)
    lesson.press(Pad("note", 1, 37))
    for word in "nyyy":
        lesson.answer(word)
    layout = read(lesson)
    assert (layout.send, layout.off_by) == ("control", "level")


def test_what_is_known_of_the_levels_when_a_lesson_is_broken_off():
    """It is lit, and no more is asked: dim is a quarter of full then."""
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(Pad("note", 1, 36))
    lesson.answer("y")
    assert lesson.layout()["levels"] == {"off": 0, "dim": 32, "on": 127}


def test_a_lamp_taken_back_goes_out_where_it_was_lit():
    """Nothing is sent where the lamps are not reached, or what was left out is taken up again."""
    dark = lesson_of([Pad("note", 1, 36)], ["bars.0", "last"])
    dark.answer("b")
    assert dark.sends() == []
    lit = Lesson(["bars.0", "last", "over"], lights=True)
    lit.press(Pad("note", 1, 36))
    for word in "yyys":
        lit.answer(word)
    lit.sends()
    lit.answer("b")
    assert (lit.sends(), lit.says) == ([], "Back to last.")
    lit.answer("b")
    assert (lit.sends(), lit.says) == ([bytes([0x90, 36, 0])], "Back to bars.0.")


def test_lamps_that_cannot_be_lit_are_not_tried_again():
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(Pad("note", 1, 36))
    for word in "nnb":
        lesson.answer(word)
    lesson.press(Pad("note", 1, 37))
    assert lesson.asks == "Press the pad for last."


def test_dim_is_tried_at_four_levels_and_else_is_as_bright_as_lit():
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(Pad("control", 1, 20))
    lesson.answer("y")
    lesson.answer("y")
    lesson.sends()
    tried = []
    for _ in range(4):
        lesson.answer("n")
        tried += [message[2] for message in lesson.sends()]
    assert tried == [127, 32, 127, 64, 127, 1, 127]
    assert lesson.layout()["levels"]["dim"] == 127
    assert lesson.layout()["send"] == "control"


def test_the_commonest_channel_is_the_layout_s():
    pads = [Pad("note", channel, number) for number, channel in enumerate((3, 2, 2), 1)]
    found = lesson_of(pads, ["bars.0", "bars.1", "last"]).layout()
    assert found["channel"] == 2
    assert found["lamps"] == {"bars": [{"number": 1, "channel": 3}, 2], "last": 3}


def test_lamps_that_cannot_be_lit_leave_the_commonest_levels():
    lesson = Lesson(["bars.0", "last"], lights=True)
    lesson.press(Pad("note", 1, 36))
    lesson.answer("n")
    lesson.answer("n")
    assert lesson.asks == "Press the pad for last."
    assert "levels" not in lesson.layout()


@given(st.lists(st.one_of(
    st.builds(Pad, st.just("note"), st.integers(1, 16), st.integers(0, 127)),
    st.sampled_from(["y", "n", "s", "b", "", "what"]),
), max_size=60))  # fmt: skip
def test_whatever_is_pressed_and_typed_a_layout_comes_out_or_none_was_heard(steps):
    lesson = Lesson([*wanted_lamps(3, 2, 2), *wanted_words()], lights=True)
    for step in steps:
        lesson.answer(step) if isinstance(step, str) else lesson.press(step)
        assert lesson.asks
        for message in lesson.sends():
            assert mido.Message.from_bytes(message).type in (
                "note_on",
                "note_off",
                "control_change",
            )
    if lesson.pads:
        read(lesson)


@pytest.mark.parametrize(
    ("data", "pad"),
    [
        (bytes([0x92, 60, 100]), Pad("note", 3, 60)),
        (bytes([0x92, 60, 0]), None),  # a release, in the running-status form of the standard
        (bytes([0x82, 60, 64]), None),
        (bytes([0xB0, 20, 127]), Pad("control", 1, 20)),
        (bytes([0xB0, 20, 0]), None),
        (bytes([0xF8]), None),
        (bytes([0x92, 200, 1]), None),
        (b"", None),
    ],
)
def test_a_press_is_a_note_on_or_a_control_change_up(data, pad):
    assert pad_pressed(data) == pad


def test_no_pads_and_mixed_pads_are_said():
    with pytest.raises(LiveaidError, match="no pad was heard"):
        Lesson(["bars.0"]).layout()
    with pytest.raises(LiveaidError, match="pads of one kind"):
        lesson_of([Pad("note", 1, 1), Pad("control", 1, 2)], ["bars.0", "last"]).layout()
