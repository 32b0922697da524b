"""The prompt as OSC: read back by python-osc's own parser; the next bar dated as OSC 1.0 has it."""

import asyncio
import socket
import time
from dataclasses import replace
from types import SimpleNamespace

import pytest
from pythonosc.osc_bundle import OscBundle

from liveaid.errors import UsageError
from liveaid.routine.config_file import config_path, load_config, read_config
from liveaid.stage.address import Address
from liveaid.stage.out import Out
from liveaid.stage.prompt_osc import next_bar_bundle, prompt_bundle
from liveaid.stage.prompt_sender import PromptSender
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings


def read(data):
    bundle = OscBundle(data)
    return bundle.timestamp, {message.address: tuple(message.params) for message in bundle}


def test_every_documented_address_is_told(make_prompt):
    prompt = make_prompt()
    _, told = read(prompt_bundle(prompt))
    assert told == {
        "/liveaid/state": ("following",),
        "/liveaid/confidence": (pytest.approx(0.99),),
        "/liveaid/piece": (3, "Lanterns"),
        "/liveaid/next": (4, "Last tram", "right hand to the sticker"),
        "/liveaid/bar": (4,),
        "/liveaid/beat": (2,),
        "/liveaid/bars_left": (5,),
        "/liveaid/beats_left": (pytest.approx(18.58),),
        "/liveaid/tempo": (pytest.approx(92.3),),
        "/liveaid/wind/left": (0.0,),
        "/liveaid/wind/right": (pytest.approx(-22.7),),
        "/liveaid/ready/left": (0,),
        "/liveaid/ready/right": (0,),
    }


def test_waiting_is_told_with_nothings(waiting):
    _, told = read(prompt_bundle(waiting))
    assert told["/liveaid/piece"] == (0, "")
    assert told["/liveaid/bar"] == (0,)


def test_the_next_bar_is_dated_for_when_it_begins(make_prompt):
    """Beat 15.5 at 120 BPM in four: bar 5 begins half a beat, 0.25 s, later."""
    prompt = make_prompt(beat_position=15.5, bar=4, beat=4, tempo=120.0)
    dated_s, told = read(next_bar_bundle(prompt, 4, 1_700_000_000.0))
    assert dated_s == pytest.approx(1_700_000_000.25, abs=1e-6)
    assert told == {"/liveaid/next_bar": (5, 3, 120.0)}
    last = replace(prompt, beat_position=31.0, bar=8)
    assert read(next_bar_bundle(last, 4, 0.0))[1] == {"/liveaid/next_bar": (1, 4, 120.0)}
    assert next_bar_bundle(replace(last, next=None), 4, 0.0) is None
    assert next_bar_bundle(replace(prompt, state="unsure"), 4, 0.0) is None


def test_a_record_at_its_cue_is_ready(make_prompt):
    prompt = make_prompt()
    decks = {"left": replace(prompt.decks["left"], ready=True)}
    _, told = read(prompt_bundle(replace(prompt, decks=decks)))
    assert (told["/liveaid/ready/left"], told["/liveaid/ready/right"]) == ((1,), (0,))
    assert told["/liveaid/wind/right"] == (0.0,)


def test_a_last_bar_cut_short_begins_the_next_set_piece_sooner(make_prompt):
    """2 1/2 bars of four are 10 beats: at beat 9.5 and 120 BPM a quarter of a second is left; what
    ran over its end has none left. Where no beat runs there is no bar to come."""
    prompt = make_prompt(bar=3, beat=2, beat_position=9.5, tempo=120.0)
    half = replace(prompt, piece=replace(prompt.piece, bars=2.5))
    for position, left_s in ((9.5, 0.25), (10.5, 0.0)):
        dated_s, told = read(next_bar_bundle(replace(half, beat_position=position), 4, 1000.0))
        assert dated_s == pytest.approx(1000.0 + left_s, abs=1e-6)
        assert told["/liveaid/next_bar"] == (1, 4, 120.0)
    for missing in ({"beat_position": None}, {"tempo": None}, {"bar": None}, {"tempo": 0.0}):
        assert next_bar_bundle(replace(half, **missing), 4, 0.0) is None
    assert next_bar_bundle(replace(half, piece=None), 4, 0.0) is None
    silent = read(next_bar_bundle(replace(half, state="silent"), 4, 0.0))[1]
    assert silent["/liveaid/next_bar"] == (1, 4, 120.0)


def test_the_last_beat_of_a_half_bar_tells_the_next_set_pieces_first_bar(make_prompt):
    """2 1/2 bars of four: bar 3 ends with its beat 2, beats 9 to 10 from the start."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as ear:
        ear.bind(("127.0.0.1", 0))
        ear.settimeout(2.0)
        sender = PromptSender([Address("127.0.0.1", ear.getsockname()[1])])
        sender.started(SimpleNamespace(routine=SimpleNamespace(metre=4)))
        half = make_prompt(bar=3, beat=2, beat_position=9.0, beats_left=1.0, bars_left=1)
        sender.prompted(replace(half, piece=replace(half.piece, bars=2.5)), 0.0)
        assert "/liveaid/bar" in read(ear.recv(4096))[1]
        assert read(ear.recv(4096))[1]["/liveaid/next_bar"][:2] == (1, half.next.index + 1)
        asyncio.run(sender.stopped())


def test_any_number_of_receivers_is_told_and_a_missing_one_costs_nothing(three, told_follower):
    heard = [socket.socket(type=socket.SOCK_DGRAM) for _ in range(2)]
    for one in heard:
        one.bind(("127.0.0.1", 0))
        one.settimeout(5)
    with socket.socket(type=socket.SOCK_DGRAM) as gone:
        gone.bind(("127.0.0.1", 0))
        nobody = Address(*gone.getsockname())
    told_follower.shown = replace(told_follower.shown, bar=4, beat=three.metre)

    async def run():
        sender = PromptSender([Address(*one.getsockname()) for one in heard] + [nobody])
        settings = Settings(osc=Address("127.0.0.1", 0), http=None)
        async with Service(three, settings, follower=told_follower, watchers=[sender]) as stage:
            told_follower.shown = replace(told_follower.shown, beat=1, bar=5)
            stage.push()
            return stage.status()["sent_osc"]

    status = asyncio.run(run())
    for one in heard:
        _, first = read(one.recv(4096))
        dated_s, following = read(one.recv(4096))
        _, turned = read(one.recv(4096))
        assert first["/liveaid/beat"] == (three.metre,)
        assert following["/liveaid/next_bar"][0] == 5
        assert abs(dated_s - time.time()) < 10
        assert turned["/liveaid/beat"] == (1,)
        one.close()
    assert status["sent"] >= 6


def test_what_follows_along_is_asked_for_in_a_file_and_by_options():
    out = load_config(config_path("lights-and-clock", "out"), Out)
    assert out.clock == ("sequencer",)
    more = out.with_options(osc=["127.0.0.1:7"], clock=[], timecode=["left=player"])
    assert more.osc[-1] == "127.0.0.1:7"
    assert more.timecode.left.port == "player"
    kinds = [type(one).__name__ for one in more.watchers("auto")]
    assert kinds == ["PromptSender", "ClockOut", "TimecodeIn"]
    with pytest.raises(UsageError, match="no address"):
        read_config(b"osc: [nowhere]", "mine.yaml", Out).watchers("auto")
