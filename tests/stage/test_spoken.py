"""Words on their way in: how many in a second, and what is told of the last."""

import pytest

from liveaid.stage import spoken
from liveaid.stage.spoken import Spoken
from liveaid.stage.words import Said, WordError


@pytest.fixture
def said(monkeypatch):
    """A clock that stands at 10 s, and words that are heard where `there` says so."""
    now, heard, there = [10.0], [], [True]
    monkeypatch.setattr(spoken.time, "monotonic", lambda: now[0])
    words = Spoken(lambda word: heard.append(word) or there[0], lambda: 3)
    return words, now, heard, there


def test_twenty_words_in_a_second_and_no_more(said):
    words, now, heard, _ = said
    for _ in range(20):
        assert words.say("next", None, "pad") is True
    for now[0], taken in ((10.5, False), (10.9375, False), (11.0, True), (11.0, True)):
        if taken:
            words.say("next", None, "pad")
        else:
            with pytest.raises(WordError, match="more than 20 words a second"):
                words.say("next", None, "pad")
    assert len(heard) == 22


def test_the_last_word_is_told_with_its_age_and_whether_anybody_was_there(said):
    words, now, heard, there = said
    assert words.status() is None
    words.say("here", 2, "osc")
    now[0] = 11.23456
    assert words.status() == {"word": "here", "piece": 2, "by": "osc", "age_s": 1.235,
                              "taken": True}  # fmt: skip
    there[0] = False
    assert words.say("Count-in", None, "pad") is False
    assert words.status()["taken"] is False
    assert heard == [Said("here", 2, "osc", 10.0), Said("count in", None, "pad", 11.23456)]


def test_what_a_page_sends_that_is_no_word_is_counted(said):
    words, _, heard, _ = said
    words.say_live('{"word": "here", "piece": 1}')
    for text in ("{", "[]", '"here"', '{"word": "hop"}', '{"word": "here", "piece": 3}',
                 "[" * 100_000):  # fmt: skip
        words.say_live(text)
    assert words.refused == 6
    assert [(one.word, one.piece, one.by) for one in heard] == [("here", 1, "page")]
