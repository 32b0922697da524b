"""Learning a sender's map from what it sends: made senders of every kind, and what is written
must turn their messages back into the seconds the record stood at."""

import math
import random
import subprocess
import sys
import time

import pytest
import yaml

from liveaid.errors import LiveaidError
from liveaid.routine.config_file import read_config
from liveaid.stage import Address
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.learn_lamps import draft_layout
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


def test_pads_pressed_in_order_make_a_layout():
    pads = [Pad("note", 2, number) for number in (40, 41, 50, 60, 61)]
    tree = draft_layout([*pads[:4], Pad("note", 3, 61)], bars=2, beats=1)
    layout = read_config(yaml.safe_dump(tree).encode(), "learned.yaml", LampLayout)
    assert [place.number for place in layout.lamps.bars] == [40, 41]
    assert [place.number for place in layout.lamps.beats] == [50]
    assert layout.lamps.next_left.number == 60
    # Note-on 1001nnnn, n the channel from 0: channel 2 is 91, the odd pad's channel 3 is 92.
    assert layout.message("bars.0", "on") == bytes([0x91, 40, 127])
    assert layout.message("ready_left", "on") == bytes([0x92, 61, 127])
    assert layout.lamps.unsure is None


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
        draft_layout([], 8, 4)
    with pytest.raises(LiveaidError, match="pads of one kind"):
        draft_layout([Pad("note", 1, 1), Pad("control", 1, 2)], 8, 4)
