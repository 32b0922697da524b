"""One controller: which ports it opens, what it sends to them and when, and what its pads say."""

import asyncio
from types import SimpleNamespace

import pytest

from liveaid.routine.config_file import read_config
from liveaid.stage import board as module
from liveaid.stage.board import Board
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.settings import Controller

LAYOUT = read_config(
    b"lamps: {bars: [1, 2], pulse: 3, alive: 4}\npads: {words: {here: 20}, pieces: [30]}",
    "mine.yaml", LampLayout,
)  # fmt: skip
MUTE = read_config(b"lamps: {pulse: 3}", "mine.yaml", LampLayout)


class Port:
    """A port that notes what it is made with and sent."""

    def __init__(self, wanted, *, api, direction="out", opened=None, heard=None):
        self.wanted, self.state = wanted, "open"
        self.made = (wanted, api, direction)
        self.opened, self.heard = opened, heard
        self.sent, self.did = [], []

    def send(self, messages):
        self.sent += [tuple(message) for message in messages]

    def reopen(self):
        self.did.append("reopen")

    async def start(self):
        self.did.append("start")

    async def stop(self):
        self.did.append("stop")

    def to_json(self):
        return {"state": self.state, "name": self.wanted}


@pytest.fixture
def made(monkeypatch):
    """made(midi, layout, pads): the board, its ports, and what it told of."""
    monkeypatch.setattr(module, "MidiPort", Port)

    def of(midi="grid", layout=LAYOUT, pads=None):
        told = SimpleNamespace(changed=[], renewed=[], words=[])
        board = Board(
            Controller(midi=midi, layout=layout, pads=pads), midi_api="jack",
            changed=told.changed.append, renew=lambda: told.renewed.append(1),
            word=lambda word, piece: told.words.append((word, piece)),
        )  # fmt: skip
        return board, board._ports, told

    return of


@pytest.mark.parametrize(
    ("given", "ports"),
    [
        ({"midi": None, "layout": MUTE}, []),
        ({"midi": "grid", "layout": MUTE}, [("grid", "jack", "out")]),
        ({"midi": "grid", "layout": MUTE, "pads": "keys"}, [("grid", "jack", "out")]),
        ({"midi": "grid"}, [("grid", "jack", "out"), ("grid", "jack", "in")]),
        ({"midi": "grid", "pads": "keys"}, [("grid", "jack", "out"), ("keys", "jack", "in")]),
        ({"midi": None, "pads": "keys"}, [("keys", "jack", "in")]),
        ({"midi": None}, []),
    ],
)
def test_which_ports_are_looked_for(made, given, ports):
    """Pads have a port where the layout has words for them: their own, else the lamps'."""
    assert [port.made for port in made(**given)[1]] == ports


def test_a_lamp_that_changes_is_sent_and_told_and_one_that_does_not_is_not(made):
    """The lamp that lives is on in every second second. Note-on, channel 1, number, 127."""
    board, (lamps, _), told = made()
    levels = dict.fromkeys(("bars.0", "bars.1", "pulse", "alive"), "off")
    board.light(levels | {"bars.0": "on"}, 1.5)
    assert lamps.sent == [(0x90, 1, 127), (0x90, 2, 0), (0x90, 3, 0), (0x90, 4, 127)]
    assert told.changed == [
        [("bars.0", "on"), ("bars.1", "off"), ("pulse", "off"), ("alive", "on")]
    ]
    board.light(levels | {"bars.0": "on"}, 1.75)
    assert (len(lamps.sent), len(told.changed)) == (4, 1)
    board.light(levels, 1.78)
    assert told.changed[1:] == [[("bars.0", "off")]]
    assert board.wake_at() is None


def test_a_port_that_came_back_gets_every_lamp_again(made):
    board, (lamps, _), told = made()
    levels = dict.fromkeys(("bars.0", "bars.1", "pulse", "alive"), "on")
    board.light(levels, 1.5)
    lamps.opened()
    assert told.renewed == [1]
    board.light(levels, 9.5)
    assert len(lamps.sent) == 8
    board.reopen()
    assert lamps.did == ["reopen"]


def test_ports_that_are_missing_and_how_all_stand(made):
    board, (lamps, pads), _ = made(pads="keys")
    assert board.missing() == {}
    pads.state = "no such port"
    assert board.missing() == {"keys": "no such port"}
    assert board.to_json() == {
        "state": "open", "name": "grid", "pads": {"state": "no such port", "name": "keys"},
    }  # fmt: skip
    assert lamps.state == "open"
    assert made(midi=None)[0].to_json() == {"state": module.NO_PORT}


def test_a_pad_says_its_word_and_another_says_nothing(made):
    board, (_, pads), told = made()
    for data, now in (
        ((0x90, 20, 100), 1.0), ((0x90, 30, 100), 2.0), ((0x90, 31, 100), 3.0),
        ((0x80, 20, 0), 4.0), ((0xF8,), 5.0), ((0x90, 20, 100), 6.0),
    ):  # fmt: skip
        pads.heard(bytes(data), now)
    assert told.words == [("here", None), ("here", 0), ("here", None)]
    assert board.layout is LAYOUT


def test_some_lamps_are_sent_anew_each_tenth_and_all_is_asked_for_each_second(made, monkeypatch):
    """Of 40 lamps 40 * .1 / 1.5 = 2.7: three at a time, so that all are done within 1.5 s. A new
    second asks for the prompt, which moves the lamp that lives."""
    row = ", ".join(map(str, range(40)))
    forty = read_config(f"lamps: {{bars: [{row}]}}".encode(), "mine.yaml", LampLayout)
    now, asked = [5.0], []
    monkeypatch.setattr(module.time, "monotonic", lambda: now[0])
    board, (lamps,), told = made(layout=forty)
    loop = SimpleNamespace(call_later=lambda wait_s, call: asked.append((wait_s, call)))
    monkeypatch.setattr(module.asyncio, "get_running_loop", lambda: loop)
    board.light({f"bars.{n}": "on" for n in range(40)}, 5.0)
    lamps.sent.clear()
    for now[0], seconds in ((6.5, 1), (6.9, 1), (7.0, 2), (7.1, 2), (8.9, 3)):
        board._renew_some()
        assert len(told.renewed) == seconds
    assert lamps.sent == [(0x90, n, 127) for n in range(15)]
    assert asked == [(0.1, board._renew_some)] * 5


def test_lamps_go_out_when_it_stops(made):
    board, (lamps, pads), _ = made()

    async def evening():
        await board.start()
        await board.stop()

    asyncio.run(evening())
    assert lamps.sent == [(0x90, 1, 0), (0x90, 2, 0), (0x90, 3, 0), (0x90, 4, 0)]
    assert (lamps.did, pads.did) == (["start", "stop"], ["start", "stop"])
    assert board._renewing.cancelled()
    asyncio.run(made()[0].stop())  # one that never began
