"""Who may ask for a page, and how many words a second are taken: from bytes, by hand."""

import pytest

from liveaid.stage import spoken as spoken_module
from liveaid.stage.guard import BadHead, Guard, Head, own_names, read_head
from liveaid.stage.pads import Pad, Presses
from liveaid.stage.spoken import Spoken
from liveaid.stage.words import WordError

HEAD = b'GET /x?token=night&a=b HTTP/1.1\r\nHost: here:8080\r\nCookie: a=1; liveaid_token="kept"'


def test_a_head_as_a_browser_sends_it():
    """RFC 9112: request line, then field lines; names are the same in small letters."""
    head = read_head(HEAD)
    assert (head.target, head.path) == ("/x?token=night&a=b", "/x")
    assert head.fields == {"host": "here:8080", "cookie": 'a=1; liveaid_token="kept"'}


@pytest.mark.parametrize(
    "data",
    [
        b"GET x HTTP/1.1", b"get / HTTP/1.1", b"GET / HTTP/2.0", b"GET /", b"",
        b"GET / HTTP/1.1\r\nHost here", b"GET / HTTP/1.1\r\n Host: a",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b", b"GET / HTTP/1.1\r\nOrigin: a\r\norigin: a",
        b"GET /" + b"a" * 4001 + b" HTTP/1.1",
    ],
)  # fmt: skip
def test_what_is_no_head_is_refused(data):
    with pytest.raises(BadHead):
        read_head(data)


def test_a_field_that_may_come_twice_counts_by_its_last():
    data = b"GET /" + b"a" * 4000 + b" HTTP/1.0\r\nAccept: a\r\nAccept: b"
    assert read_head(data).fields == {"accept": "b"}


@pytest.mark.parametrize(
    ("target", "fields", "token"),
    [
        ("/?token=a", {"cookie": "liveaid_token=b", "authorization": "Bearer c"}, "a"),
        ("/", {"cookie": "x=1; liveaid_token=b", "authorization": "Bearer c"}, "b"),
        ("/", {"cookie": 'liveaid_token="b"'}, "b"),
        ("/", {"cookie": "other=b", "authorization": "Bearer c"}, "c"),
        ("/", {}, ""),
    ],
)
def test_where_a_token_comes_along(target, fields, token):
    assert Head(target, fields).token == token


def asked(guard, host, **fields):
    found = guard.why_not(Head("/", {"host": host} | fields))
    return found and found[0]


@pytest.mark.parametrize(
    ("host", "here", "nearby"),
    [
        ("127.0.0.1:8080", None, None), ("localhost", None, None), ("[::1]:80", None, None),
        ("192.0.2.7:8080", 403, None), ("stage.local", 403, None), ("evil.example", 403, 403),
        ("", 403, 403), ("[::1", 403, 403),
    ],
)  # fmt: skip
def test_by_which_names_this_machine_is_asked(host, here, nearby):
    """A name bound anew to this machine is none of its own (DNS rebinding)."""
    assert asked(Guard(only_here=True, names=frozenset({"stage.local"})), host) == here
    assert asked(Guard(only_here=False, names=frozenset({"stage.local"})), host) == nearby


@pytest.mark.parametrize(
    ("origin", "status"),
    [("http://localhost:8080", None), ("https://localhost:8080", None),
     ("http://localhost", 403), ("http://evil.example", 403), ("null", 403),
     ("file://localhost:8080", 403)],
)  # fmt: skip
def test_a_page_from_elsewhere_is_not_served(origin, status):
    assert asked(Guard(only_here=True), "localhost:8080", origin=origin) == status


def test_without_the_token_it_is_asked_for():
    guard = Guard(only_here=True, token="night")
    assert asked(guard, "localhost") == 401
    assert asked(guard, "localhost", authorization="Bearer night") is None
    assert asked(guard, "localhost", authorization="Bearer nights") == 401


def test_a_machine_s_own_names(monkeypatch):
    monkeypatch.setattr("liveaid.stage.guard.socket.gethostname", lambda: "Booth.example")
    assert own_names(("Stage",)) == {
        "booth.example", "booth.example.local", "booth.local", "stage",
    }  # fmt: skip


@pytest.fixture
def words(monkeypatch):
    now = [100.0]
    monkeypatch.setattr(spoken_module.time, "monotonic", lambda: now[0])
    heard = []
    return Spoken(lambda said: heard.append(said) or said.word != "hold", lambda: 3), now, heard


def test_twenty_words_a_second_and_no_more(words):
    """The 21st within a second of the first is refused; a second after it, taken."""
    spoken, now, heard = words
    for n in range(20):
        now[0] = 100.0 + n / 64
        assert spoken.say("mark", None, "pad")
    now[0] = 100.9375
    with pytest.raises(WordError, match="more than 20 words a second"):
        spoken.say("mark", None, "pad")
    now[0] = 101.0
    assert spoken.say("mark", None, "pad")
    assert len(heard) == 21


def test_the_last_word_and_whether_anybody_was_there_for_it(words):
    spoken, now, _ = words
    assert spoken.status() is None
    assert spoken.say("hold", None, "osc") is False
    now[0] = 101.23456
    assert spoken.status() == {
        "word": "hold", "piece": None, "by": "osc", "age_s": 1.235, "taken": False,
    }  # fmt: skip
    spoken.say_live('{"word": "here", "piece": 2}')
    assert (spoken.status()["piece"], spoken.status()["by"]) == (2, "page")
    for wrong in ("", "[]", "7", '{"word": "nothing"}', '{"word": "here", "piece": 3}'):
        spoken.say_live(wrong)
    assert spoken.refused == 5


def test_a_pad_that_chatters_within_three_hundredths_was_pressed_once():
    presses = Presses()
    on = bytes([0x90, 36, 100])
    found = [presses.hear(on, now) is not None for now in (1.0, 1.029, 1.058, 1.09)]
    assert found == [True, False, False, True]
    assert presses.hear(bytes([0xBF, 127, 1]), 1.09) == Pad("control", 16, 127)
    assert presses.hear(bytes([0x90, 36, 0]), 2.0) is None
