"""The performer's words: read from page and OSC, taken to the follower and to who looks on."""

import asyncio
import json
import time
from collections.abc import Mapping
from types import SimpleNamespace

import aiohttp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine import load_routine
from liveaid.stage import spoken
from liveaid.stage.address import Address
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.watcher import Watcher
from liveaid.stage.words import PLACE_WORDS, WORDS, WordError, read_word

ANY = Address("127.0.0.1", 0)


class Keeper(Watcher):
    """Takes `mark`, and nothing else."""

    def __init__(self):
        self.words = []

    def told_word(self, word, piece):
        self.words.append((word, piece))
        return word == "mark"


def test_a_flood_of_words_is_refused_and_one_a_second_later_taken(monkeypatch):
    now_s = 5.0
    monkeypatch.setattr(spoken, "time", SimpleNamespace(monotonic=lambda: now_s))
    words = spoken.Spoken(lambda said: True, lambda: 4)
    for _ in range(20):
        assert words.say("hold", None, "pad")
    with pytest.raises(WordError, match="more than 20 words a second"):
        words.say("hold", None, "pad")
    now_s = 6.0
    assert words.say("hold", None, "pad")


def test_every_word_is_read_however_it_is_written():
    for word in WORDS:
        for written in (word, word.upper(), word.replace(" ", "_"), f" {word.replace(' ', '-')} "):
            assert read_word(written, None, 5) == (word, None)
    assert read_word("here", 4, 5) == ("here", 4)
    assert set(WORDS) > PLACE_WORDS


@pytest.mark.parametrize(
    ("word", "piece", "said"),
    [
        ("jump", None, "found 'jump'; one of these would do: step on"),
        (7, None, "found 7"),
        (None, None, "found None"),
        ("here", 5, "found 5; a number from 0 to 4 would do"),
        ("here", -1, "found -1"),
        ("here", 1.5, "found 1.5"),
        ("here", True, "found True"),
        ("here", "2", "found '2'"),
    ],
)
def test_what_is_no_word_is_refused_with_what_would_do(word, piece, said):
    with pytest.raises(WordError) as caught:
        read_word(word, piece, 5)
    assert said in str(caught.value)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner),
    max_leaves=6,
)


@given(json_values | st.fixed_dictionaries({"word": json_values, "piece": json_values}))
def test_any_json_of_a_page_is_a_word_or_refused(data):
    heard = []
    words = spoken.Spoken(lambda said: bool(heard.append(said)), lambda: 5)
    words.say_live(json.dumps(data))
    assert len(heard) + words.refused == 1
    for said in heard:
        assert isinstance(data, Mapping)
        assert said.word in WORDS
        assert said.piece is None or 0 <= said.piece < 5


def staged(check, three, told_follower, *, keeper=None, hears=True):
    """Run `check(stage, session)` on a stage whose follower keeps the words it hears."""
    heard = []
    if hears:
        told_follower.hear_word = lambda word, *, now, piece=None: heard.append((word, piece, now))

    async def run():
        settings = Settings(osc=ANY, http=ANY)
        watchers = [keeper] if keeper else []
        async with (
            Service(three, settings, follower=told_follower, watchers=watchers) as stage,
            aiohttp.ClientSession() as session,
        ):
            await asyncio.wait_for(check(stage, session), 20)

    asyncio.run(run())
    return heard


async def told(session, stage, data):
    async with session.post(stage.address + "word", data=data) as response:
        return response.status, await response.text()


def test_a_word_from_the_page_reaches_follower_and_watcher(three, told_follower):
    keeper, answers = Keeper(), []

    async def check(stage, session):
        for data in ({"word": "here", "piece": 2}, {"word": "mark"}, {"word": "again"}):
            status, text = await told(session, stage, json.dumps(data))
            answers.append((status, json.loads(text)["taken"]))
        async with session.get(stage.address + "status") as response:
            word = (await response.json())["word"]
        assert (word["word"], word["piece"], word["by"], word["taken"]) == (
            "again", None, "page", False,
        )  # fmt: skip
        assert 0 <= word["age_s"] < 5

    heard = staged(check, three, told_follower, keeper=keeper)
    assert [(word, piece) for word, piece, _ in heard] == [("here", 2)]
    assert keeper.words == [("here", 2), ("mark", None), ("again", None)]
    assert answers == [(200, True), (200, True), (200, False)]


def test_a_follower_that_hears_no_words_takes_none(three, told_follower):
    async def check(stage, session):
        assert json.loads((await told(session, stage, '{"word": "hold"}'))[1])["taken"] is False

    assert staged(check, three, told_follower, hears=False) == []


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("", "JSON would do"),
        ("[1", "JSON would do"),
        ("[]", "an object such as"),
        ('{"word": "fly"}', "found 'fly'"),
        ('{"word": "here", "piece": 99}', "found 99"),
        ("[" * 5000, "JSON would do"),
    ],
)
def test_a_page_that_sends_no_word_is_told_so(three, told_follower, body, said):
    async def check(stage, session):
        status, text = await told(session, stage, body)
        assert (status, said in text) == (400, True)
        assert stage.health()["words_refused"] == 1
        assert stage.status()["word"] is None

    assert staged(check, three, told_follower) == []


def test_words_come_over_the_live_stream_too(three, told_follower):
    async def check(stage, session):
        async with session.ws_connect(stage.address + "live") as stream:
            await stream.send_str("not JSON")
            await stream.send_str('{"word": "step on"}')
            while True:
                status = json.loads((await stream.receive()).data)
                if status["word"]:
                    break
        assert status["word"]["word"] == "step on"
        assert stage.health()["words_refused"] == 1

    heard = staged(check, three, told_follower)
    assert [(word, piece) for word, piece, _ in heard] == [("step on", None)]


def test_words_come_over_osc_counted_from_one(three, told_follower, message, send):
    """`/word <string> [<set piece from 1>]`."""
    last = len(three.pieces)

    async def check(stage, _):
        wrong = (["here", last + 1], ["here", 0], ["here", True], ["x"], [])
        for arguments in (["here", 1], ["here", last], ["hold"], *wrong):
            send(stage.osc_address, message("/word", *arguments))
        while stage.health()["osc"]["datagrams"] < 8:
            await asyncio.sleep(0.01)
        assert stage.health()["osc"]["refused"] == {"no such word": 5}

    heard = staged(check, three, told_follower)
    assert [(word, piece) for word, piece, _ in heard] == [
        ("here", 0), ("here", last - 1), ("hold", None),
    ]  # fmt: skip


async def _by_page(stage, session, message, send):
    assert (await told(session, stage, '{"word": "here", "piece": 7}'))[0] == 200


async def _by_key(stage, session, message, send):
    async with session.ws_connect(stage.address + "live") as stream:
        await stream.send_str('{"word": "here", "piece": 7}')
        while not json.loads((await stream.receive()).data)["word"]:
            pass


async def _by_osc(stage, session, message, send):
    send(stage.osc_address, message("/word", "here", 8))
    while stage.status()["word"] is None:
        await asyncio.sleep(0.01)


@pytest.mark.parametrize("say", [_by_page, _by_key, _by_osc])
def test_a_word_places_the_follower_and_what_is_heard_next_does_not_undo_it(
    routines, message, send, say
):
    """Four set pieces of the refrain begin with left from 1.8: which one, the performer says.

    Two seconds are heard before the word and two after it, each all at once.
    """

    def play(stage, now, from_s, to_s):
        for step in range(round(100 * from_s), round(100 * to_s)):
            at = now + step / 100
            stage.hear(Heard("position", "left", 1.8 + step / 100, at))
            stage.hear(Heard("position", "right", 60.0, at))

    async def run():
        settings = Settings(osc=ANY, http=ANY)
        async with (
            Service(load_routine(routines / "refrain.yaml"), settings) as stage,
            aiohttp.ClientSession() as session,
        ):
            now = time.monotonic() + 60.0  # ahead, so that no slow machine makes it silence
            play(stage, now, 0.0, 2.0)
            assert stage.status()["state"] == "unsure"
            await asyncio.wait_for(say(stage, session, message, send), 20)
            assert stage.status()["piece"]["index"] == 7
            play(stage, now, 2.0, 4.0)
            status = stage.status()
            assert (status["piece"]["index"], status["state"]) == (7, "following")

    asyncio.run(run())
