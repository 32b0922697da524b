"""The prompt sent as OSC: what turns, and the next bar ahead of its time."""

import asyncio
from dataclasses import replace
from types import SimpleNamespace

import pytest

from liveaid.stage import prompt_sender
from liveaid.stage.address import Address
from liveaid.stage.prompt_sender import PromptSender


class Socket:
    def __init__(self, fails=0):
        self.sent, self.fails, self.closed = [], fails, False

    def send(self, data):
        if self.fails:
            self.fails -= 1
            raise OSError("nobody there")
        self.sent.append(data)

    def close(self):
        self.closed = True


@pytest.fixture
def sender(monkeypatch):
    """A sender to two receivers, in a routine of four beats a bar."""
    sockets = [Socket(), Socket()]
    made = iter(sockets)
    monkeypatch.setattr(prompt_sender, "_connected", lambda address: next(made))
    monkeypatch.setattr(prompt_sender, "prompt_bundle", lambda prompt: f"beat {prompt.beat}")
    monkeypatch.setattr(
        prompt_sender, "next_bar_bundle",
        lambda prompt, metre, now: f"next of {metre}" if prompt.tempo else None,
    )  # fmt: skip
    out = PromptSender([Address("127.0.0.1", 9001), Address("127.0.0.1", 9002)])
    return out, sockets


def test_only_what_turns_is_sent_to_everybody(sender, make_prompt):
    out, sockets = sender
    prompt = make_prompt(beat=1)
    piece = replace(prompt.piece, index=prompt.piece.index + 1)
    for told in (
        prompt, replace(prompt, confidence=0.5), replace(prompt, beat=2),
        replace(prompt, beat=2, bar=9), replace(prompt, beat=2, bar=9, state="unsure"),
        replace(prompt, beat=2, bar=9, state="unsure", piece=piece),
        replace(prompt, beat=2, bar=9, state="unsure", piece=piece, elapsed_s=1.0),
    ):  # fmt: skip
        out.prompted(told, 0.0)
    for each in sockets:
        assert each.sent == ["beat 1", "beat 2", "beat 2", "beat 2", "beat 2"]
    assert out.status() == {
        "sent_osc": {"to": ["127.0.0.1:9001", "127.0.0.1:9002"], "sent": 10, "failed": 0}
    }


@pytest.mark.parametrize(
    ("changes", "ahead"),
    [
        ({"beat": 4, "beats_left": 9.0}, True), ({"beat": 3, "beats_left": 9.0}, False),
        ({"beat": 3, "beats_left": 1.0}, True), ({"beat": 3, "beats_left": 1.25}, False),
        ({"beat": 3, "beats_left": None}, False), ({"beat": 4, "beats_left": None}, True),
        ({"beat": 4, "tempo": None}, False),
    ],
)  # fmt: skip
def test_on_a_bar_s_last_beat_the_next_bar_is_dated(sender, make_prompt, changes, ahead):
    """And on the last beat of a set piece, whatever beat that is; not before the stage is set."""
    out, (one, _) = sender
    out.prompted(make_prompt(**changes), 0.0)
    assert one.sent == [f"beat {changes['beat']}"]
    out.started(SimpleNamespace(routine=SimpleNamespace(metre=4)))
    out.prompted(make_prompt(**changes, bar=9), 0.0)
    assert one.sent[2:] == (["next of 4"] if ahead else [])


@pytest.mark.parametrize(("fails", "arrives"), [(1, 1), (2, 0)])
def test_a_failure_is_counted_and_tried_once_more(sender, make_prompt, fails, arrives):
    out, (one, other) = sender
    one.fails = fails
    out.prompted(make_prompt(), 0.0)
    assert (len(one.sent), len(other.sent)) == (arrives, 1)
    assert (out.sent, out.failed) == (1, 1)
    asyncio.run(out.stopped())
    assert one.closed
    assert other.closed
