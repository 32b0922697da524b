"""What the lamps show, the bytes that light them, and that they never flash."""

import asyncio
import io
import itertools
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from liveaid.follow.prompt import DeckNow
from liveaid.routine import load_routine
from liveaid.routine.config_file import config_path, load_config, read_config
from liveaid.routine.problems import RoutineError
from liveaid.stage.board import NO_PORT
from liveaid.stage.boards import Boards
from liveaid.stage.cues import next_cues
from liveaid.stage.lamp_layout import LampLayout, message_table
from liveaid.stage.lamp_text import TerminalView, lamp_lines, prompt_line
from liveaid.stage.lamps import Gate, all_off, bars_row, lamps_for, living, wind_row
from liveaid.stage.pads import Pad, Presses
from liveaid.stage.settings import Controller, Settings
from liveaid.stage.words import WORDS

CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("lamps-*.yaml"))
EIGHT = load_config(config_path("row-8-control", "lamps"), LampLayout)
GRID = load_config(config_path("grid-8x8", "lamps"), LampLayout)
ROW = load_config(config_path("row-16", "lamps"), LampLayout)


def layout(text: str) -> LampLayout:
    return read_config(text.encode(), "mine.yaml", LampLayout)


def lit(levels, start=""):
    return {lamp for lamp, level in levels.items() if level != "off" and lamp.startswith(start)}


# -- what they show


def test_bars_left_go_out_one_by_one(make_prompt):
    rows = [
        lit(lamps_for(make_prompt(bars_left=left), GRID), "bars") for left in (12, 8, 3, 2, 1, 0)
    ]
    assert [len(row) for row in rows] == [8, 8, 3, 2, 1, 0]
    assert rows[2] == {"bars.0", "bars.1", "bars.2"}


def test_one_beat_lamp_is_lit_at_a_time(make_prompt):
    for beat in (1, 2, 3, 4):
        assert lit(lamps_for(make_prompt(beat=beat), GRID), "beats") == {f"beats.{beat - 1}"}


def test_the_pulse_alternates_beat_by_beat(make_prompt):
    levels = [lamps_for(make_prompt(beat_position=at), ROW)["pulse"] for at in (0.1, 1.1, 2.9, 3.0)]
    assert levels == ["on", "dim", "on", "dim"]


def test_next_cue_ready_and_state_have_their_lamps(make_prompt):
    ready = DeckNow(3.4, 0.0, 8.0, "rests", 3.4, 0.0, True)
    prompt = make_prompt(decks={"left": make_prompt().decks["left"], "right": ready})
    levels = lamps_for(prompt, GRID, ("right",))
    words = {lamp for lamp in lit(levels) if "." not in lamp}
    assert words == {"next_right", "ready_right", "heard_left", "heard_right", "following"}


def test_a_deck_whose_signal_is_lost_goes_dark(make_prompt):
    lost = replace(make_prompt().decks["right"], age_ms=900.0)
    levels = lamps_for(make_prompt(decks={**make_prompt().decks, "right": lost}), GRID)
    assert (levels["heard_left"], levels["heard_right"]) == ("on", "off")


def test_waiting_shows_only_that_it_is_there(waiting):
    assert lit(lamps_for(waiting, GRID)) == {"following"}
    assert lamps_for(waiting, GRID)["following"] == "dim"


def test_unsure_dims_what_may_be_wrong(make_prompt):
    levels = lamps_for(make_prompt(state="unsure", confidence=0.5), GRID, ("left",))
    assert {levels[lamp] for lamp in lit(levels, "b")} == {"dim"}
    assert levels["unsure"] == "on"
    assert levels["following"] == "off"


def at(make_prompt, side, **changes):
    """The middle of a set piece, with one deck changed."""
    prompt = make_prompt()
    return replace(prompt, decks={**prompt.decks, side: replace(prompt.decks[side], **changes)})


@pytest.mark.parametrize(
    ("turns", "left_row", "right_row"),
    [
        (0.4, "+...", "+..."),  # within a turn: one lamp; forwards from the first one on
        (1.7, "++..", "++.."),
        (9.0, "+++.", "+++."),  # never all four
        (-0.4, "...+", "...+"),  # back from the last one
        (-3.9, ".+++", ".+++"),
    ],
)
def test_wind_is_told_by_side_length_and_end(make_prompt, turns, left_row, right_row):
    for side, expected in (("left", left_row), ("right", right_row)):
        levels = lamps_for(at(make_prompt, side, way="by hand", wind=turns), GRID)
        row = "".join("+" if levels[f"wind_{side}.{n}"] == "on" else "." for n in range(4))
        assert row == expected
    standing = lamps_for(at(make_prompt, "left", wind=0.02, ready=True), GRID)
    assert lit(standing, "wind_left") == set()
    assert standing["ready_left"] == "on"


def test_a_needle_to_be_lifted_lights_the_whole_row(make_prompt):
    levels = lamps_for(at(make_prompt, "left", way="needle", wind=None), GRID)
    assert lit(levels, "wind_left") == {f"wind_left.{n}" for n in range(4)}


def test_more_bars_than_lamps_dim_from_the_far_end(make_prompt):
    """16 bars more for the whole row of 8: a lamp for every two; of three: a lamp for every
    six, and the first one stays bright, since all dim is by the clock there."""
    rows = {}
    for chosen, name in ((GRID, "grid"), (EIGHT, "eight")):
        for bars in (8, 9, 10, 14, 24, 60):
            levels = lamps_for(make_prompt(bars_left=bars), chosen)
            row = [levels[lamp] for lamp in levels if lamp.startswith("bars")]
            rows[name, bars] = (row.count("on"), row.count("dim"))
    assert rows["grid", 8] == (8, 0)
    assert rows["grid", 9] == rows["grid", 10] == (7, 1)
    assert rows["grid", 14] == (5, 3)
    assert rows["grid", 24] == rows["grid", 60] == (0, 8)
    assert (rows["eight", 8], rows["eight", 14], rows["eight", 24]) == ((2, 1), (1, 2), (1, 2))


def test_the_last_bars_and_the_limit_have_their_lamps(make_prompt):
    assert [lamps_for(make_prompt(bars_left=n), GRID)["last"] for n in (3, 2, 1)] == [
        "off", "dim", "on",
    ]  # fmt: skip
    # limit_s 180: 15 s before it, and after it.
    times = [lamps_for(make_prompt(elapsed_s=s), GRID)["limit"] for s in (164, 166, 181, None)]
    assert times == ["off", "dim", "on", "off"]
    over = make_prompt(state="over", bars_left=0, limit_kept=False)
    assert lamps_for(over, GRID)["limit"] == "on"
    assert lamps_for(replace(over, limit_kept=True), GRID)["limit"] == "off"


STATES = ("waiting", "before", "following", "unsure", "silent", "over")


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
@pytest.mark.parametrize("bars", [1, 2, 3, 4, 8, 14, 30])
def test_every_layout_tells_all_states_apart(file, bars, make_prompt, waiting):
    """In one picture, whatever the bars left and whether the records are ready; the pulse set
    aside, since it moves."""
    chosen = load_config(file, LampLayout)
    pictures = {}
    for state in STATES:
        for ready in (False, True):
            prompt = make_prompt(state=state, bars_left=0 if state == "over" else bars)
            prompt = waiting if state == "waiting" else prompt
            decks = {s: replace(d, ready=ready) for s, d in prompt.decks.items()}
            levels = lamps_for(replace(prompt, decks=decks), chosen)
            levels = {lamp: level for lamp, level in levels.items() if lamp != "pulse"}
            levels = {lamp: level for lamp, level in levels.items() if "heard" not in lamp}
            pictures.setdefault(tuple(levels.items()), set()).add(state)
    assert [states for states in pictures.values() if len(states) > 1] == []


@pytest.fixture
def make_bare(make_prompt):
    """make_bare(left={...}, **changes): the middle of a set piece, nothing to do at either deck
    but what is said."""

    def build(left=None, right=None, **changes):
        prompt = make_prompt(**changes)
        bare = {s: replace(d, way=None, wind=None, ready=False) for s, d in prompt.decks.items()}
        told = {"left": left or {}, "right": right or {}}
        return replace(prompt, decks={s: replace(d, **told[s]) for s, d in bare.items()})

    return build


READY = {"ready": True, "wind": 0.02}


def situations(make_bare, waiting):
    """All a performer has to tell apart on a controller, each with its name."""
    found = {
        "waiting": waiting,
        "before": make_bare(state="before"),
        "before, both ready": make_bare(READY, READY, state="before"),
        "followed": make_bare(),
        "two bars": make_bare(bars_left=2),
        "last bar": make_bare(bars_left=1),
        "many bars": make_bare(bars_left=14),
        "unsure": make_bare(state="unsure", confidence=0.6),
        "by the clock": make_bare(state="silent"),
        "over": make_bare(state="over", bars_left=0, limit_kept=True),
        "over, too long": make_bare(state="over", bars_left=0, limit_kept=False),
        "limit near": make_bare(elapsed_s=170.0),
        "limit passed": make_bare(elapsed_s=181.0),
    }
    ways = {
        "ready": READY, "needle": {"way": "needle", "wind": None},
        "on, little": {"way": "by hand", "wind": 0.4}, "on, far": {"way": "by hand", "wind": 9.0},
        "back, little": {"way": "by hand", "wind": -0.4},
        "back, far": {"way": "by hand", "wind": -9.0},
    }  # fmt: skip
    for side in ("left", "right"):
        for words, changes in ways.items():
            found[f"{side}: {words}"] = make_bare(**{side: changes})
    return found


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_every_two_situations_differ_on_every_layout(file, make_bare, waiting):
    """Looked at for two seconds, beat and signal set aside: two pictures, a second apart."""
    chosen = load_config(file, LampLayout)
    told = {}
    for name, prompt in situations(make_bare, waiting).items():
        levels = lamps_for(prompt, chosen)
        told[name] = [
            {
                lamp: level
                for lamp, level in living(levels, second + 0.3).items()
                if not lamp.startswith(("heard", "beats", "pulse"))
            }
            for second in (0, 1)
        ]
    assert len(told) == 25
    same = [(a, b) for a, b in itertools.combinations(told, 2) if told[a] == told[b]]
    assert same == []


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_every_layout_tells_wind_at_its_side_and_by_its_length(file, make_bare):
    """Left lights nothing of the right one's, and farther is never less: dim counts a half."""
    chosen = load_config(file, LampLayout)
    worth = {"off": 0.0, "dim": 0.5, "on": 1.0}
    for side, other in (("left", "right"), ("right", "left")):
        for way in (1, -1):
            lengths = []
            for turns in (0.4, 1.7, 3.0, 9.0):
                levels = lamps_for(
                    make_bare(**{side: {"way": "by hand", "wind": way * turns}}), chosen
                )
                assert lit(levels, f"wind_{other}") == set()
                row = [levels[lamp] for lamp in levels if lamp.startswith(f"wind_{side}")]
                assert worth[row[0]] != worth[row[-1]]
                assert (worth[row[0]] > worth[row[-1]]) == (way > 0)
                lengths.append(sum(worth[level] for level in row))
            assert lengths == sorted(lengths)
            assert len(set(lengths)) >= 3


@pytest.mark.parametrize(
    ("turns", "row", "pair"),
    [
        (0.4, "-..", "-."),  # within a turn half a lamp, one more each time that doubles
        (1.7, "+..", "+."),
        (3.0, "+-.", "+-"),
        (7.0, "++.", "+-"),
        (40.0, "++-", "+-"),
        (-3.0, ".-+", "-+"),
    ],
)
def test_a_short_row_counts_in_half_lamps(turns, row, pair, make_prompt):
    marks = {"off": ".", "dim": "-", "on": "+"}
    for chosen, expected in ((ROW, row), (EIGHT, pair)):
        levels = lamps_for(at(make_prompt, "left", way="by hand", wind=turns), chosen)
        shown = "".join(marks[levels[f"wind_left.{n}"]] for n in range(len(expected)))
        assert shown == expected


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_one_lamp_lives_while_the_service_does(file, make_prompt, waiting):
    chosen = load_config(file, LampLayout)
    for prompt in (waiting, make_prompt(state="over", bars_left=0)):
        levels = lamps_for(prompt, chosen)
        pictures = [living(levels, second + 0.3) for second in range(5)]
        changed = [
            [lamp for lamp in levels if one[lamp] != other[lamp]]
            for one, other in itertools.pairwise(pictures)
        ]
        assert changed == [["alive" if "alive" in levels else "pulse"]] * 4


# -- the pads


def test_every_pad_says_its_word_by_its_own_number():
    text = """
        channel: 2
        lamps: {bars: [1, 2]}
        pads: {send: control, channel: 5, words: {here: 20, next: [21, {number: 21, channel: 6}]},
               pieces: [30, 31]}
    """
    assert layout(text).pad_words() == {
        Pad("control", 5, 20): ("here", None),
        Pad("control", 5, 21): ("next", None),
        Pad("control", 6, 21): ("next", None),
        Pad("control", 5, 30): ("here", 0),
        Pad("control", 5, 31): ("here", 1),
    }


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_the_layouts_that_come_along_say_most_words(file):
    said = {word for word, _ in load_config(file, LampLayout).pad_words().values()}
    assert {"step on", "step back", "here", "hold", "keep", "drop", "mark", "count in"} <= said
    if "control" not in file.stem:
        assert said == set(WORDS)


def test_a_chattering_pad_is_pressed_once():
    presses = Presses()
    heard = [
        presses.hear(bytes(data), now_s)
        for data, now_s in [
            ((0x90, 37, 100), 1.0), ((0x90, 37, 0), 1.004), ((0x90, 37, 90), 1.008),
            ((0x80, 37, 0), 1.1), ((0x90, 37, 100), 1.5), ((0xB0, 37, 127), 1.5),
            ((0xF8,), 1.6), ((0x90, 37), 1.7),
        ]
    ]  # fmt: skip
    pad = Pad("note", 1, 37)
    assert heard == [pad, None, None, None, pad, Pad("control", 1, 37), None, None]


# -- the bytes

# MIDI 1.0 Detailed Specification, table of channel voice messages: note-off 1000nnnn, note-on
# 1001nnnn, control change 1011nnnn, then two data bytes with their top bit 0; channel 1 is n = 0.


def test_note_on_bytes_of_the_standard():
    grid = layout("channel: 3\nlamps: {bars: [60]}")
    assert grid.message("bars.0", "on") == bytes([0b1001_0010, 60, 127])
    assert grid.message("bars.0", "off") == bytes([0b1001_0010, 60, 0])


def test_a_lamp_is_lit_by_what_goes_without_saying_up_to_the_standards_last_number():
    """Out 0, dim 32, on 127, on channel 1; 500 messages a second are half a MIDI cable's."""
    plain = layout("lamps: {pulse: 127}")
    sent = [plain.message("pulse", level) for level in ("off", "dim", "on")]
    assert sent == [bytes([0b1001_0000, 127, value]) for value in (0, 32, 127)]
    assert (plain.most_per_s, plain.channel, plain.off_by) == (500, 1, "level")
    assert [layout(f"lamps: {{}}\nmost_per_s: {most}").most_per_s for most in (10, 3000)] == [
        10, 3000,
    ]  # fmt: skip


def test_a_row_of_three_tells_the_state_where_no_lamp_of_its_own_does():
    told = {text: layout(f"lamps: {{{text}}}").lamps.told_by_bars for text in (
        "bars: [1, 2, 3]", "bars: [1, 2]", "bars: [1, 2, 3], over: 4", "bars: [1, 2, 3], state: 4",
        "bars: [1, 2, 3], silent: 4", "bars: [1, 2, 3], unsure: 4", "bars: [1, 2, 3], following: 4",
    )}  # fmt: skip
    assert list(told.values()) == [True, False, True, False, False, False, False]


def test_note_off_and_control_change_bytes_of_the_standard():
    by_note_off = layout("off_by: note-off\nlamps: {pulse: 5}")
    assert by_note_off.message("pulse", "off") == bytes([0b1000_0000, 5, 0])
    control = layout("send: control\nchannel: 16\nlamps: {pulse: 20}")
    assert control.message("pulse", "on") == bytes([0b1011_1111, 20, 127])


def test_a_lamp_may_differ_from_the_layout():
    own = layout("lamps: {bars: [1, {number: 2, channel: 5, on: 9, dim: 3, off: 1}]}")
    sent = [own.message("bars.1", level) for level in ("on", "dim", "off")]
    assert sent == [bytes([0x94, 2, value]) for value in (9, 3, 1)]


@pytest.mark.parametrize("file", CONFIGS, ids=lambda file: file.stem)
def test_every_layout_that_comes_along_speaks_midi_as_mido_reads_it(file):
    shipped = load_config(file, LampLayout)
    for (lamp, _), data in message_table(shipped).items():
        (read,) = mido.parse_all(data)
        number = read.control if read.type == "control_change" else read.note
        assert (read.channel + 1, number) == (shipped.channel, shipped.lamps.places[lamp].number)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("lamps: {bars: [1, 2, 200]}", "lamps.bars[2].number: found 200; 127 or less would do"),
        ("lamps: {}\npads: {words: {hold: 200}}", "pads.words.hold[0].number: found 200; 127 or"),
        ("lamps: {bars: [1, 2], pulse: 2}", "bars.1 has this one"),
        ("lamps: {pulse: 128}", "lamps.pulse.number: found 128; 127 or less would do"),
        ("lamps: {pulse: 2}\nchannel: 0", "channel: found 0; 1 or more would do"),
        ("lamps: {pulse: 2}\nchannel: 17", "channel: found 17; 16 or less would do"),
        ("lamps: {pulse: 2}\nmost_per_s: 9", "most_per_s: found 9; 10 or more would do"),
        ("lamps: {pulse: 2}\nmost_per_s: 3001", "most_per_s: found 3001; 3000 or less would do"),
        ("lamps: {pulse: 2}\nlevels: {on: 300}", "levels.on: found 300; 127 or less would do"),
        ("lamps: {puls: 2}", "did you mean pulse?"),
        ("send: control\noff_by: note-off\nlamps: {pulse: 2}", "a control change has no note-off"),
        ("title: none", "lamps: found nothing; it is needed here"),
        ("lamps: {pulse: 2}\npads: {words: {hop: 3}}", "pads.words.hop"),
        ("lamps: {pulse: 2}\npads: {words: {here: 3, hold: 3}}", "here has this one"),
    ],
)
def test_a_layout_that_cannot_be_lit_is_refused(text, said):
    with pytest.raises(RoutineError) as caught:
        layout(text)
    assert said in str(caught.value)


# -- that they never flash

# WCAG 2.2, SC 2.3.1: no more than three flashes (pairs of opposing changes) in any one second.
MOST_FLASHES = 3


def run(gate, asked):
    """Feed a gate (seconds, levels) and wake it when it asks; what was sent, with its time."""
    sent = []
    for (now, levels), after in zip(asked, [*asked[1:], (float("inf"), None)], strict=True):
        sent += [(now, *change) for change in gate.ask(levels, now)]
        while (wake := gate.wake_at()) is not None and wake < after[0]:
            sent += [(wake, *change) for change in gate.due(wake)]
    return sent


def most_flashes(sent):
    times = defaultdict(list)
    for now, lamp, _ in sent:
        times[lamp].append(now)
    return max(
        (sum(start <= t < start + 1.0 for t in changes) / 2)
        for changes in times.values()
        for start in changes
    )


LEVELS = st.fixed_dictionaries(
    {lamp: st.sampled_from(["off", "dim", "on"]) for lamp in ("bars.0", "pulse", "unsure")}
)


@given(st.lists(st.tuples(st.floats(0, 0.3), LEVELS), min_size=1, max_size=150))
def test_no_lamp_flashes_whatever_is_asked(steps):
    now, asked = 0.0, []
    for wait, levels in steps:
        now += wait
        asked.append((now, levels))
    sent = run(Gate(), asked)
    assert most_flashes(sent) <= MOST_FLASHES
    final = {lamp: level for _, lamp, level in sent}
    assert final == asked[-1][1]


@pytest.mark.parametrize("tempo_bpm", [60, 92, 140, 180, 240, 300, 324, 600])
@pytest.mark.parametrize("metre", [1, 2, 3, 4, 7])
def test_no_lamp_flashes_at_any_tempo(make_prompt, tempo_bpm, metre):
    asked = []
    for step in range(400):
        now = step * 0.01
        beats = now * tempo_bpm / 60
        beat = int(beats % metre) + 1
        # The follower wavers between two places besides: the worst there is.
        state = "unsure" if step % 3 == 0 else "following"
        prompt = make_prompt(beat_position=beats, beat=beat, state=state, bars_left=5 - step % 2)
        for chosen in (GRID, ROW):
            asked.append((now, lamps_for(prompt, chosen)))
    assert most_flashes(run(Gate(), asked[::2])) <= MOST_FLASHES
    assert most_flashes(run(Gate(), asked[1::2])) <= MOST_FLASHES


def test_the_beat_row_keeps_up_with_a_steady_count(make_prompt):
    """At 200 BPM in four-four the row shows every beat when it comes, not when the gate allows."""
    asked = [(step * 0.3, lamps_for(make_prompt(beat=step % 4 + 1), GRID)) for step in range(16)]
    sent = run(Gate(), asked)
    shown = [
        (round(now, 6), lamp) for now, lamp, level in sent if level == "on" and "beats" in lamp
    ]
    assert shown == [(round(step * 0.3, 6), f"beats.{step % 4}") for step in range(16)]


def test_the_first_change_goes_out_at_once_and_only_the_latest_of_the_rest():
    gate = Gate()
    assert gate.ask({"pulse": "on"}, 10.0) == [("pulse", "on")]
    assert gate.ask({"pulse": "off"}, 10.05) == []
    assert gate.ask({"pulse": "dim"}, 10.1) == []
    wake = gate.wake_at()
    assert wake is not None
    assert gate.due(wake) == [("pulse", "dim")]
    assert gate.wake_at() is None


def test_only_changes_are_sent(make_prompt):
    gate, levels = Gate(), lamps_for(make_prompt(), GRID)
    assert len(gate.ask(levels, 1.0)) == len(GRID.lamps.places)
    assert gate.ask(levels, 2.0) == []
    fewer = lamps_for(make_prompt(bars_left=4), GRID)
    assert gate.ask(fewer, 3.0) == [("bars.4", "off")]


def test_a_controller_that_was_away_gets_every_lamp_again(make_prompt):
    gate, levels = Gate(), lamps_for(make_prompt(), GRID)
    gate.ask(levels, 1.0)
    gate.forget()
    assert dict(gate.due(9.0)) == levels


def test_no_more_messages_than_the_controller_can_take():
    gate = Gate(most_per_s=10)
    levels = dict.fromkeys((f"bars.{index}" for index in range(64)), "on")
    sent = run(gate, [(0.0, levels)])
    assert len(sent) == 64
    for first, eleventh in zip(sent, sent[10:], strict=False):
        assert eleventh[0] - first[0] >= 1.0


def test_every_lamp_is_renewed_in_turn_as_it_is_shown(make_prompt):
    gate, levels = Gate(), lamps_for(make_prompt(), GRID)
    gate.ask(levels, 1.0)
    count = len(levels)
    assert dict(gate.renew(count, 2.5)) == levels
    first = gate.renew(10, 4.0)
    gate.ask({**levels, "bars.4": "off"}, 4.1)
    rest = gate.renew(count - 10, 4.2)
    assert {lamp for lamp, _ in first} | {lamp for lamp, _ in rest} == set(levels)
    assert ("bars.4", "off") in first + rest or ("bars.4", "off") in gate.renew(10, 5.5)


def test_renewing_keeps_to_what_the_controller_can_take():
    gate = Gate(most_per_s=10)
    gate.ask(dict.fromkeys((f"bars.{n}" for n in range(8)), "on"), 1.0)
    assert len(gate.renew(8, 1.0)) == 2
    assert gate.renew(8, 1.5) == []


def test_all_lamps_are_left_dark():
    assert set(all_off(GRID).values()) == {"off"}
    assert set(all_off(GRID)) == set(GRID.lamps.places)


# -- which deck is next, and the same as text


def test_the_next_cue_is_the_deck_that_has_to_move(routines):
    routine = load_routine(routines / "three.yaml")
    cues = next_cues(routine)
    assert cues[0] == ("right",)  # the left record runs on into the second set piece
    # Painted horses: right runs from 5.4 for 12 bars of three at 112 BPM, to 5.4 + 36 * 60 / 112 =
    # 24.686, where it goes on in Brass pole; so the next to be set are both decks of Paper cranes.
    assert cues[2] == ("left", "right")
    assert cues[-1] == ()


def test_lamps_as_text(make_prompt):
    levels = lamps_for(make_prompt(bars_left=3), GRID, ("right",))
    assert lamp_lines(levels) == [
        "bars ●●●○○○○○   beats ○●○○   ● following ○ unsure ○ silent",
        "left ○ cue ○ ready ● heard   right ● cue ○ ready ● heard wind ○●●●",
    ]
    unsure = replace(make_prompt(), state="unsure", confidence=0.64)
    assert prompt_line(unsure).startswith("unsure (64%): Lanterns, 5 bars left, bar 4 beat 2")


def test_the_prompt_in_one_line(make_prompt, waiting):
    prompt = make_prompt()
    whole = "following: Lanterns, 5 bars left, bar 4 beat 2, 92.3 BPM, then Last tram"
    assert prompt_line(prompt) == whole
    assert prompt_line(replace(prompt, bars_left=1, tempo=None, next=None)) == (
        "following: Lanterns, 1 bar left, bar 4 beat 2"
    )
    assert prompt_line(waiting) == "waiting: no deck heard yet"


def test_without_a_terminal_a_line_is_written_when_something_changes(make_prompt, waiting):
    """Set piece, state or hint; not each beat. A line stays whole."""
    out = io.StringIO()
    view = TerminalView(EIGHT, Console(file=out, width=20))
    view.started(None)
    prompt = make_prompt()
    hint = "left and right look swapped: left tells what right was to tell"
    for told in (waiting, prompt, replace(prompt, beat=3), replace(prompt, hints=(hint,)),
                 replace(prompt, hints=(hint,), beat=4)):  # fmt: skip
        view.prompted(told, 0.0)
    assert out.getvalue().splitlines() == [prompt_line(prompt), prompt_line(prompt), hint]
    asyncio.run(view.stopped())


def test_a_terminal_is_drawn_five_times_a_second_at_most(make_prompt):
    """What is drawn is counted by the lines with the beat in them."""
    out = io.StringIO()
    view = TerminalView(EIGHT, Console(file=out, width=100, force_terminal=True))
    view.started(None)
    drawn = []
    for now_s, beat in ((1.0, 1), (1.1875, 2), (1.25, 3), (1.5, 3), (1.5625, 4), (1.625, 1)):
        before = out.tell()
        view.lamps_changed([("bars.0", "on")])
        view.prompted(make_prompt(beat=beat), now_s)
        drawn.append("Lanterns" in out.getvalue()[before:])
    assert drawn == [True, False, True, False, True, False]
    assert "●" in out.getvalue()
    asyncio.run(view.stopped())


def test_the_lamp_that_lives_changes_each_second():
    """Off and on where all is well; a limit that is near, dim, and one that is over, on, go out in
    between. Without such a lamp the pulse, while it has no beat to show."""
    for alive, pair in (("off", ["dim", "on"]), ("dim", ["off", "dim"]), ("on", ["off", "on"])):
        seconds = (0.0, 0.9, 1.0, 1.9, 2.0)
        found = [living({"alive": alive}, now_s)["alive"] for now_s in seconds]
        assert found == [pair[0], pair[0], pair[1], pair[1], pair[0]]
    assert [living({"pulse": "off"}, now_s)["pulse"] for now_s in (0.5, 1.5)] == ["dim", "on"]
    assert [living({"pulse": "dim"}, now_s)["pulse"] for now_s in (0.5, 1.5)] == ["dim", "dim"]


@pytest.mark.parametrize(
    ("elapsed_s", "level"), [(164.9, "off"), (165.0, "off"), (165.1, "dim"), (180.0, "dim"),
                             (180.1, "on")])  # fmt: skip
def test_the_limit_of_three_minutes_is_near_for_its_last_quarter_minute(
    make_prompt, elapsed_s, level
):
    assert lamps_for(make_prompt(elapsed_s=elapsed_s), GRID)["limit"] == level


@pytest.mark.parametrize(("age_ms", "level"), [(499.0, "on"), (500.0, "off"), (None, "off")])
def test_a_deck_is_heard_for_half_a_second(make_prompt, age_ms, level):
    levels = lamps_for(at(make_prompt, "left", age_ms=age_ms), GRID)
    assert levels["heard_left"] == level


@pytest.mark.parametrize(
    ("turns", "length", "row"),
    [
        (1.0, 8, "+......."), (1.001, 8, "++......"), (2.0, 8, "++......"), (2.001, 8, "+++....."),
        (4.0, 8, "+++....."), (64.0, 8, "+++++++."), (1e9, 8, "+++++++."), (-2.0, 8, "......++"),
        (0.5, 1, "+"), (-0.5, 1, "-"), (0.0, 8, ""), (0.5, 0, ""), (0.0, 1, ""),
    ],
)  # fmt: skip
def test_one_lamp_more_each_time_the_way_doubles(turns, length, row):
    """Within a turn one, to two turns two, to four three, and never all but of one."""
    levels = wind_row(turns, "left", length, "on")
    marks = {"on": "+", "dim": "-"}
    assert "".join(
        marks[levels[f"wind_left.{n}"]] if f"wind_left.{n}" in levels else "."
        for n in range(length if row else 0)
    ) == row  # fmt: skip
    assert len(levels) == len(row.replace(".", ""))


@pytest.mark.parametrize(
    ("left", "length", "row"),
    [(4, 4, "++++"), (5, 4, "+++-"), (8, 4, "+++-"), (9, 4, "++--"), (20, 4, "----"),
     (99, 4, "----"), (17, 16, "+" * 15 + "-"), (3, 16, "+++"), (0, 4, ""), (2, 0, "")],
)  # fmt: skip
def test_the_row_of_bars_tells_of_sixteen_more_than_it_has_lamps(left, length, row):
    """Four lamps: each that is dim stands for 16 / 4 bars more."""
    levels = bars_row(left, length)
    marks = {"on": "+", "dim": "-"}
    assert [marks[levels[f"bars.{n}"]] for n in range(len(levels))] == list(row)


def test_before_the_start_the_far_bar_is_dim_and_after_the_end_both(make_prompt):
    for state, dim in (("before", {"bars.7"}), ("over", {"bars.0", "bars.7"})):
        levels = lamps_for(make_prompt(state=state), GRID)
        assert lit(levels, "bars") == dim
        assert {levels[lamp] for lamp in dim} == {"dim"}


def test_a_steady_lamp_holds_for_half_a_second_and_another_for_a_fifth():
    gate = Gate()
    gate.ask({"following": "on", "bars.0": "on"}, 0.0)
    gate.ask({"following": "off", "bars.0": "off"}, 0.1)
    assert gate.wake_at() == pytest.approx(0.2)
    assert gate.due(0.19) == []
    assert gate.due(0.2) == [("bars.0", "off")]
    assert gate.wake_at() == pytest.approx(0.5)
    assert gate.due(0.49) == []
    assert gate.due(0.5) == [("following", "off")]
    assert gate.wake_at() is None


def test_what_a_controller_can_take_is_counted_over_the_last_second():
    """Three a second: the fourth lamp waits until the first message is a second old."""
    gate = Gate(most_per_s=3)
    asked = {f"bars.{n}": "on" for n in range(4)}
    assert len(gate.ask(asked, 10.0)) == 3
    assert gate.wake_at() == pytest.approx(11.0)
    assert gate.due(10.9) == []
    assert gate.due(11.0) == [("bars.3", "on")]
    assert gate.renew(9, 11.0) == [("bars.0", "on"), ("bars.1", "on")]
    assert gate.renew(9, 11.5) == []
    assert gate.due(12.0) == []
    assert gate.renew(1, 12.0) == [("bars.2", "on")]


def test_where_it_is_not_sure_as_many_bars_as_are_left_are_dim(make_prompt):
    """One at the least, and all where more are left than there are lamps."""
    for left, dim in ((0, 1), (1, 1), (3, 3), (8, 8), (20, 8)):
        levels = lamps_for(make_prompt(state="unsure", bars_left=left), GRID)
        assert lit(levels, "bars") == {f"bars.{n}" for n in range(dim)}
        assert {levels[lamp] for lamp in lit(levels, "bars")} == {"dim"}


def test_after_the_end_no_record_is_to_be_brought(make_prompt):
    for changes in ({"ready": True}, {"way": "needle"}, {"way": "by hand", "wind": 2.0}):
        levels = lamps_for(
            replace(at(make_prompt, "left", **changes), state="over"), GRID, ("left",)
        )
        assert lit(levels, "wind") | lit(levels, "ready") | lit(levels, "next") == set()


def test_a_row_of_three_says_nothing_of_a_wind_that_may_be_wrong(make_prompt):
    """Dim is half a lamp there; a row of four is dim."""
    for changes in ({"way": "needle"}, {"way": "by hand", "wind": 1.7}):
        prompt = replace(at(make_prompt, "left", **changes), state="unsure")
        assert lit(lamps_for(prompt, ROW), "wind_left") == set()
        levels = lamps_for(prompt, GRID)
        assert {levels[lamp] for lamp in lit(levels, "wind_left")} == {"dim"}


def test_a_controller_takes_half_a_midi_cable_s_messages_where_nothing_else_is_said():
    gate = Gate()
    assert len(gate.ask(dict.fromkeys((f"bars.{n}" for n in range(600)), "on"), 1.0)) == 500


@pytest.mark.parametrize(
    ("way", "by_a_hand", "needed_s", "asks"),
    [
        ("set before", False, None, True), ("by hand", True, 1.5, True),
        ("needle", True, 2.5, True), ("by hand", True, 0.0, False),
        ("by hand", True, None, False), ("runs on", False, 1.5, False),
    ],
)  # fmt: skip
def test_a_cue_is_asked_for_where_a_hand_has_to_bring_the_record(
    monkeypatch, way, by_a_hand, needed_s, asks
):
    """It stands there already, or comes by itself: then it is not."""
    move = SimpleNamespace(way=way, by_a_hand=by_a_hand, needed_s=needed_s, after=1, side="left")
    monkeypatch.setattr("liveaid.stage.cues.changes", lambda routine: [move])
    routine = SimpleNamespace(pieces=(1, 2))
    assert next_cues(routine) == ((("left",), ()) if asks else ((), ()))


def test_a_pad_that_is_let_go_or_speaks_within_three_hundredths_says_nothing():
    presses = Presses()
    note, control = Pad("note", 1, 37), Pad("control", 1, 37)
    heard = [
        presses.hear(bytes(data), now_s)
        for data, now_s in [
            ((0x90, 37, 1), 0.0), ((0x90, 37, 1), 0.03), ((0x90, 37, 1), 0.0625),
            ((0x90, 37, 0), 1.0), ((0xB0, 37, 1), 2.0), ((0xB0, 37, 0), 3.0),
        ]
    ]  # fmt: skip
    assert heard == [note, None, note, None, control, None]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("lamps: {bars: [1, 2, 3], beats: [4, 2]}", "lamps.beats[1]"),
        ("lamps: {pulse: 2, limit: 2}", "lamps.limit"),
        ("channel: 5\nlamps: {pulse: 2, limit: {number: 2, channel: 5}}", "lamps.limit"),
        ("channel: 5\nlamps: {pulse: 2, limit: {number: 2, channel: 6}}", None),
    ],
)
def test_each_lamp_has_a_number_of_its_own_on_its_channel(text, where):
    if where is None:
        assert layout(text).lamps.places["limit"].channel == 6
        return
    with pytest.raises(RoutineError) as told:
        layout(text)
    assert [one.field for one in told.value.problems] == [where]
    row = ", ".join(map(str, range(128)))
    assert len(layout(f"lamps: {{bars: [{row}]}}").lamps.bars) == 128
    with pytest.raises(RoutineError):
        layout(f"lamps: {{bars: [{row}, {{number: 1, channel: 2}}]}}")


def test_a_terminal_s_lines_are_cut_and_not_broken(make_prompt, monkeypatch):
    """Renewed by us alone; the first five times a second, at .2 s of each."""
    made = []

    class Live:
        def __init__(self, **how):
            made.append(how)

        def start(self):
            pass

        def update(self, group, *, refresh):
            made.append(refresh)
            assert all(line.no_wrap and line.overflow == "ellipsis" for line in group.renderables)

    monkeypatch.setattr("liveaid.stage.lamp_text.Live", Live)
    console = Console(file=io.StringIO(), force_terminal=True)
    view = TerminalView(EIGHT, console)
    view.started(None)
    for now_s, beat in ((0.0, 1), (0.1, 2), (0.2, 3)):
        view.prompted(make_prompt(beat=beat), now_s)
    assert made == [{"console": console, "auto_refresh": False}, True, True]


def test_another_set_piece_is_a_line_of_its_own(make_prompt):
    out = io.StringIO()
    view = TerminalView(EIGHT, Console(file=out, width=200))
    prompt = make_prompt()
    after = replace(prompt, piece=replace(prompt.piece, index=prompt.piece.index + 1))
    for told in (prompt, after, replace(prompt, piece=None)):
        view.prompted(told, 0.0)
    assert len(out.getvalue().splitlines()) == 3


def test_without_a_port_it_says_so_and_wakes_for_the_controller_that_waits_least():
    """A lamp on one from 0 s, on the other from 0.1 s; both asked off at 0.15 s. A lamp holds for
    0.2 s, so the first may change at 0.2 s, the second at 0.3 s."""
    settings = Settings(
        controllers=(Controller(layout=EIGHT), Controller("lights nobody has", ROW))
    )
    boards = Boards(settings, changed=lambda _: None, renew=lambda: None, word=lambda *_: None)
    assert boards.to_json()["state"] == NO_PORT
    assert set(boards.missing()) == {"lights nobody has"}
    assert boards.wake_at() is None
    for now, first, second in (
        (0.0, {"bars.0": "on"}, {}),
        (0.1, {"bars.0": "on"}, {"bars.0": "on"}),
        (0.15, {"bars.0": "off"}, {"bars.0": "off"}),
    ):
        levels = {id(EIGHT): first, id(ROW): second}
        boards.light(lambda layout, levels=levels: levels[id(layout)], now)
    assert boards.wake_at() == pytest.approx(0.2)
