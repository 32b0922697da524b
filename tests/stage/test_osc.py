"""From datagrams to what the decks do: units, names, reasons of refusal."""

import math
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.errors import LiveaidError
from liveaid.routine.config_file import config_path, load_config, read_config
from liveaid.routine.problems import RoutineError
from liveaid.stage.osc import REASONS, Heard, read_positions
from liveaid.stage.osc_map import (
    DEFAULT_MAP,
    RANGES,
    DeckFacts,
    OscMap,
    Position,
    Value,
    table_for,
)
from liveaid.stage.words import WORD_ADDRESS

TABLE = table_for(DEFAULT_MAP)
CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("osc-*.yaml"))


def osc_map(text: str) -> OscMap:
    return read_config(text.encode(), "mine.yaml", OscMap)


def test_our_own_addresses(message):
    told = [
        ("/deck/left/position", 12.5, Heard("position", "left", 12.5, 3.0)),
        ("/deck/right/position", 7, Heard("position", "right", 7.0, 3.0)),
        ("/deck/left/speed", -1.5, Heard("speed", "left", -1.5, 3.0)),
        ("/deck/right/pitch", 4.0, Heard("pitch", "right", 4.0, 3.0)),
        ("/mixer/crossfader", 0.25, Heard("crossfader", None, 0.25, 3.0)),
        ("/mixer/left/level", 0.75, Heard("level", "left", 0.75, 3.0)),
    ]
    for address, value, heard in told:
        assert read_positions(message(address, value), TABLE, 3.0).heard == (heard,)


def test_doubles_and_long_integers_are_numbers_too():
    start = b"/deck/left/position\0"
    double = start + b",d\0\0" + struct.pack(">d", 61.000000001)
    long = start + b",h\0\0" + struct.pack(">q", 61)
    assert read_positions(double, TABLE, 0.0).heard[0].value == 61.000000001
    assert read_positions(long, TABLE, 0.0).heard[0].value == 61.0


# 33 1/3 turns a minute is 1.8 s a turn, 45 is 1.3333 s (IEC 60098, speeds of rotation).
@pytest.mark.parametrize(
    ("position", "facts", "sent", "seconds"),
    [
        ("unit: seconds", DeckFacts(), 12.5, 12.5),
        ("unit: milliseconds", DeckFacts(), 12500, 12.5),
        ("unit: samples, sample_rate: 44100", DeckFacts(), 44100, 1.0),
        ("unit: turns", DeckFacts(rpm=100 / 3), 10.0, 18.0),
        ("unit: turns", DeckFacts(rpm=45.0), 3.0, 4.0),
        ("unit: turns, rpm: 33.3", DeckFacts(rpm=45.0), 10.0, 18.0),
        ("unit: fraction, file_s: 200", DeckFacts(), 0.25, 50.0),
        ("unit: fraction", DeckFacts(file_s={"left": 80.0, "right": 100.0}), 0.5, 40.0),
        ("unit: seconds, scale: 2, offset: -1.5", DeckFacts(), 4.0, 6.5),
    ],
)
def test_units_come_to_seconds_of_the_deck_file(message, position, facts, sent, seconds):
    text = f'position: {{address: "/x/{{deck}}", {position}}}'
    (heard,) = read_positions(message("/x/left", sent), table_for(osc_map(text), facts), 0.0).heard
    assert heard.value == pytest.approx(seconds, rel=1e-6)


@pytest.mark.parametrize("length_s", [None, 0.0])
def test_a_fraction_of_a_file_nobody_measured_or_of_nothing_is_said_so(length_s):
    fraction = OscMap(position=Position(address="/x/{deck}", unit="fraction"))
    facts = DeckFacts(file_s={} if length_s is None else {"left": length_s, "right": length_s})
    with pytest.raises(LiveaidError, match=r"or holds no sound; `position: \{file_s:"):
        table_for(fraction, facts)


@pytest.mark.parametrize("name", [1, 1.0, "1"])
def test_the_deck_may_be_named_in_an_argument(message, name):
    text = """
decks: {left: "0", right: "1"}
position: {address: /state, deck_argument: 0, argument: 1}
speed: {address: /state, deck_argument: 0, argument: 2}
"""
    reading = read_positions(message("/state", name, 9.5, 1.02), table_for(osc_map(text)), 1.0)
    assert [(heard.what, heard.side, round(heard.value, 6)) for heard in reading.heard] == [
        ("position", "right", 9.5),
        ("speed", "right", 1.02),
    ]
    other = read_positions(message("/state", 2, 9.5, 1.0), table_for(osc_map(text)), 1.0)
    assert other.refused == ("unknown deck", "unknown deck")


def test_one_bundle_tells_of_both_decks(message):
    left, right = message("/deck/left/position", 1.0), message("/deck/right/position", 2.0)
    parts = b"".join(struct.pack(">i", len(part)) + part for part in (left, right))
    hour_ahead = b"\xff\xff\xff\xff\0\0\0\0"
    reading = read_positions(b"#bundle\0" + hour_ahead + parts, TABLE, 5.0)
    assert [(heard.side, heard.now_s) for heard in reading.heard] == [("left", 5.0), ("right", 5.0)]


@pytest.mark.parametrize(
    ("address", "arguments", "reason"),
    [
        ("/deck/middle/position", [1.0], "unknown deck"),
        ("/deck//position", [1.0], "unknown address"),
        ("/deck/left/colour", [1.0], "unknown address"),
        ("/deck/*/position", [1.0], "wildcard in address"),
        ("/deck/{left,right}/position", [1.0], "wildcard in address"),
        ("/deck/[lr]eft/position", [1.0], "wildcard in address"),
        ("/deck/left/position", [], "argument missing"),
        ("/deck/left/position", ["12.5"], "not a number"),
        ("/deck/left/position", [True], "not a number"),
        ("/deck/left/position", [None], "not a number"),
        ("/deck/left/position", [math.nan], "not finite"),
        ("/deck/left/position", [math.inf], "not finite"),
        ("/deck/left/position", [-math.inf], "not finite"),
        ("/deck/left/position", [1e30], "out of range"),
        ("/deck/left/position", [-1e9], "out of range"),
        ("/mixer/crossfader", [2.0], "out of range"),
    ],
)
def test_what_is_no_use_is_refused_by_name(message, address, arguments, reason):
    reading = read_positions(message(address, *arguments), TABLE, 0.0)
    assert reading.heard == ()
    assert reading.refused == (reason,)


def test_a_sender_cannot_make_us_search():
    """31 bytes of wildcards cost python-osc's dispatcher seconds; here an address is looked up."""
    address = b"/" + b"{*,*}" * 1200
    address += b"\0" * (4 - len(address) % 4)
    assert read_positions(address, TABLE, 0.0).refused == ("wildcard in address",)


def test_a_little_over_the_end_of_a_fader_is_the_end(message):
    (heard,) = read_positions(message("/mixer/crossfader", 1.003), TABLE, 0.0).heard
    assert heard.value == 1.0


@given(st.binary(max_size=300), st.floats(0, 1e6))
def test_any_bytes_are_heard_within_range_or_refused_by_a_known_reason(data, now):
    check_reading(read_positions(data, TABLE, now), now)


@given(
    st.sampled_from(sorted(TABLE.meanings)),
    st.sampled_from(["f", "d", "i", "h", "s", "ff", "[f", "T", "I", "b"]),
    st.binary(max_size=24),
)
def test_any_argument_is_heard_within_range_or_refused_by_a_known_reason(address, tags, arguments):
    padded = [text.encode() + b"\0" * (4 - len(text) % 4) for text in (address, f",{tags}")]
    check_reading(read_positions(b"".join(padded) + arguments, TABLE, 1.0), 1.0)


def check_reading(reading, now):
    assert set(reading.refused) <= set(REASONS)
    for heard in reading.heard:
        low, high = RANGES[heard.what]
        assert low <= heard.value <= high
        assert heard.now_s == now


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_every_map_that_comes_along_is_read(file):
    facts = DeckFacts(file_s={"left": 100.0, "right": 100.0})
    table = table_for(load_config(file, OscMap), facts)
    assert {meaning.side for found in table.meanings.values() for meaning in found}


def test_the_map_of_our_own_addresses_is_the_one_used_without_a_map():
    shipped = load_config(config_path("liveaid", "osc"), OscMap)
    assert table_for(shipped) == TABLE


def test_all_that_is_wrong_in_a_map_is_said_at_once():
    text = """title: Mine
sends: sometimes
decks: {left: a, right: a}
positon: {address: "/x/{deck}"}
position: {address: "x/{deck}", unit: furlongs, argument: minus one}
speed: {address: "/y", scale: 0}
"""
    with pytest.raises(RoutineError) as caught:
        osc_map(text)
    assert [str(problem) for problem in caught.value.problems] == [
        "line 2: sends: found sometimes; always or on_change would do",
        "line 3: decks.right: found a; another name than the left deck's would do",
        "line 4: positon: found a mapping; did you mean position? known here: title, sends, decks, "
        "position, speed, pitch, crossfader, level",
        "line 5: position.argument: found minus one; a whole number would do",
        "line 5: position.unit: found furlongs; seconds, milliseconds, samples, fraction or turns "
        "would do",
        "line 6: speed.scale: found 0; a factor that is not 0 would do",
    ]
    assert str(caught.value).startswith("mine.yaml, line 2: sends")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("position: {address: /x}", "position.address: found /x; {deck} in it, or a deck_argument"),
        ('position: {address: "/x/{deck}", deck_argument: 1}', "{deck} in it, or a deck_argument"),
        ('position: {address: "/x/{deck}", unit: samples}', "position.sample_rate: found nothing"),
        ('position: {address: "/x/{deck}/*"}', "an address such as /deck/{deck}/position"),
        ("position: {address: /x, deck_argument: 1, argument: 1}", "another argument than the"),
        ("", "some of these would do: title"),
        ("position: {address: &a /x, deck_argument: *a}", "alias *a"),
        ("- a\n- b\n", "no fields"),
    ],
)
def test_a_map_that_cannot_be_meant_is_refused(text, said):
    with pytest.raises(RoutineError) as caught:
        osc_map(text)
    assert said in str(caught.value)


def test_a_reversed_crossfader_is_a_matter_of_scale_and_offset(message):
    reversed_fader = DEFAULT_MAP.model_copy(
        update={"crossfader": Value(address="/mixer/crossfader", scale=-1.0, offset=1.0)}
    )
    (heard,) = read_positions(
        message("/mixer/crossfader", 0.25), table_for(reversed_fader), 0.0
    ).heard
    assert heard.value == 0.75


@pytest.mark.parametrize(
    ("address", "lowest", "highest"),
    [
        ("/deck/left/position", -3600.0, 86400.0), ("/deck/left/speed", -100.0, 100.0),
        ("/deck/left/pitch", -100.0, 1000.0), ("/mixer/crossfader", -0.01, 1.01),
        ("/mixer/left/level", -0.01, 1.01),
    ],
)  # fmt: skip
def test_what_a_value_may_be(address, lowest, highest):
    """An hour before a file and a day into it; a hundredth over a fader's ends is its ends."""
    for value, heard in ((lowest, True), (highest, True), (lowest - 0.02, False),
                         (highest + 0.02, False)):  # fmt: skip
        start = address.encode() + b"\0" * (4 - len(address) % 4)
        reading = read_positions(start + b",d\0\0" + struct.pack(">d", value), TABLE, 0.0)
        assert (len(reading.heard) == 1) is heard


def test_an_address_of_two_hundred_letters_and_the_64th_argument_are_the_last():
    long = "/" + "a" * 193 + "{deck}"
    assert len(long) == 200
    assert osc_map(f"position: {{address: '{long}', argument: 63}}").position.argument == 63
    with pytest.raises(RoutineError, match="address"):
        osc_map(f"position: {{address: '{long}b'}}")
    with pytest.raises(RoutineError, match="argument"):
        osc_map("position: {address: '/{deck}', argument: 64}")


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("next",), ("next", None)),
        (("go", 3), ("go", 2)),  # set pieces are counted from 1 where people count
        (("go", 3.0), ("go", 2)),
        (("go", 2.5), ("go", 2.5)),  # no set piece: whoever looks at it refuses it
        (("go", "3"), ("go", "3")),
        (("go", 3, 4), ("go", 2)),
        ((), (None, None)),
    ],
)
def test_a_word_and_its_set_piece(message, arguments, word):
    """Beside what else is in the datagram; an address nobody has is refused."""
    found = read_positions(message(WORD_ADDRESS, *arguments), TABLE, 3.0)
    assert (found.words, found.heard, found.refused) == ((word,), (), ())
    other = read_positions(message(f"{WORD_ADDRESS}s", *arguments), TABLE, 3.0)
    assert (other.words, other.refused) == ((), ("unknown address",))


@pytest.mark.parametrize(
    ("address", "sent", "heard"),
    [
        # A fader a little beyond its end stands at its end; a speed is as it is told.
        ("/mixer/crossfader", 1.0005, 1.0),
        ("/mixer/crossfader", -0.0005, 0.0),
        ("/deck/left/speed", 1.5, 1.5),
        ("/deck/left/speed", -1.5, -1.5),
        ("/deck/left/pitch", -8.0, -8.0),
    ],
)
def test_only_what_is_a_part_is_held_within_its_ends(message, address, sent, heard):
    (found,) = read_positions(message(address, sent), TABLE, 0.0).heard
    assert found.value == pytest.approx(heard, abs=1e-7)
