"""The sentences after a take said aloud: what the synthesiser is given, and what it makes of it."""

from __future__ import annotations

import stat
import subprocess
import time

import numpy as np
import pytest
import soundfile

from liveaid.commands import speaking
from liveaid.commands.speaking import SYNTHESISER, Speaker
from liveaid.errors import UsageError
from liveaid.practice.take_line import spoken, spoken_lines
from liveaid.practice.take_score import PieceScore, TakeScore

SENTENCES = ["right hand, beats 2 and 4, 20 ms late: let go sooner.", "left hand, on time."]


@pytest.fixture
def recorder(tmp_path, monkeypatch):
    """A program under the synthesiser's name that writes down what it is told."""
    program = tmp_path / SYNTHESISER
    program.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/how\ncat > {tmp_path}/said\n')
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    return tmp_path


def test_all_sentences_are_said_quietly_and_nothing_is_waited_for(recorder):
    speaker = Speaker()
    speaker.say(SENTENCES)
    said = recorder / "said"
    for _ in range(400):
        if said.is_file() and said.read_text() == " ".join(SENTENCES):
            break
        time.sleep(0.05)
    assert said.read_text() == " ".join(SENTENCES)
    assert "-a 60" in (recorder / "how").read_text()


def test_a_verdict_why_and_each_hand_are_said_in_words():
    take = TakeScore(
        verdict="not clean", heard=4, missed=0, added=0, skipped=0, bias_ms=20.0, spread_ms=5.0,
        run_through=False, advice={"right": "right hand, beats 2 and 4, 20 ms late: let go sooner"},
        pieces=(PieceScore(
            verdict="not clean", heard=4, missed=0, added=0, skipped=0, bias_ms=20.0, spread_ms=5.0,
            index=0, name="Lids", why=("releases late",), whole=True, tempo_percent=None,
            drift_percent=None),),
    )  # fmt: skip
    assert spoken_lines(take) == [
        "not clean: releases late.",
        "right hand, beats 2 and 4, 20 milliseconds late: let go sooner.",
    ]


@pytest.fixture
def slow(recorder):
    """A program that writes down what it is told, and says it until it is let."""
    program = recorder / SYNTHESISER
    program.write_text(
        f'#!/bin/sh\nwords=$(cat); echo "$words" >> {recorder}/said\n'
        f"while [ ! -e {recorder}/let ]; do sleep 0.05; done\n"
    )
    return recorder


def said_by(folder, words):
    for _ in range(400):
        if (folder / "said").is_file() and words in (folder / "said").read_text():
            return (folder / "said").read_text().splitlines()
        time.sleep(0.05)
    raise AssertionError(f"{words!r} is not said")


def test_a_takes_sentences_cut_off_those_of_the_take_before(slow):
    speaker = Speaker()
    speaker.say(["take one."])
    said_by(slow, "take one.")
    speaker.say(["take two."])  # the first is still being said, and would be for ever
    assert said_by(slow, "take two.") == ["take one.", "take two."]
    speaker.stop()


def test_a_notice_is_said_to_its_end_and_then_the_latest_take_alone(slow):
    speaker = Speaker()
    speaker.say(["Time for a break."], notice=True)
    said_by(slow, "break")
    speaker.say(["take one."])
    speaker.say(["take two."])
    time.sleep(0.2)
    assert (slow / "said").read_text().splitlines() == ["Time for a break."]
    (slow / "let").touch()
    assert said_by(slow, "take two.") == ["Time for a break.", "take two."]
    speaker.stop()


def test_signs_and_units_are_said_as_words():
    assert spoken("Pitch -4.0 %: 96.0 BPM, 96%.") == (
        "Pitch minus 4.0 per cent: 96.0 beats a minute, 96 per cent."
    )


def test_without_a_synthesiser_it_says_what_would_do(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(UsageError, match="no espeak-ng on this machine; installed, or without"):
        Speaker()


def test_the_synthesiser_takes_what_it_is_given_here(needs, tmp_path):
    """The real program, to a file: a sentence lasts some seconds and is heard."""
    program = needs("espeak-ng", "espeak-ng")
    out = tmp_path / "said.wav"
    subprocess.run([program, "-s", "160", "-a", "60", "--stdin", "-w", str(out)],
                   input=SENTENCES[0].encode(), check=True, timeout=30)  # fmt: skip
    sound, rate = soundfile.read(out)
    assert 2.0 < len(sound) / rate < 12.0
    assert 0.02 < np.abs(sound).max() < 0.9


@pytest.fixture
def speaker(monkeypatch):
    """A speaker whose thread is run by hand, and what its program is told."""
    told, made = [], []

    class Process:
        def __init__(self, asked, **how):
            self.asked, self.ended = asked, False

        def communicate(self, said):
            told.append((self.asked, said.decode()))

        def terminate(self):
            self.ended = True

    class Thread:
        def __init__(self, *, target, name, daemon):
            made.append((name, daemon))

        def start(self):
            made.append("started")

        def join(self):
            made.append("joined")

    monkeypatch.setattr(speaking.shutil, "which", lambda program: f"/bin/{program}")
    monkeypatch.setattr(speaking.subprocess, "Popen", Process)
    monkeypatch.setattr(speaking.threading, "Thread", Thread)
    found = Speaker()
    return found, told, made, Process


def test_of_takes_that_wait_only_the_last_is_said_and_every_notice(speaker):
    """160 words a minute, at 60 of 200: it starts quiet. Nothing to say is nothing begun."""
    found, told, made, _ = speaker
    found.say(["take one."])
    found.say(["A break", "is due."], notice=True)
    found.say(["take two.", "left hand, on time."])
    found.say([], notice=True)
    found._waiting.put(None)
    found._say_all()
    how = [f"/bin/{SYNTHESISER}", "-s", "160", "-a", "60", "--stdin"]
    assert told == [(how, "A break is due."), (how, "take two. left hand, on time.")]
    assert made == [("speaking", True), "started"]
    assert found._saying is None


def test_a_take_cuts_off_a_take_and_no_notice_and_the_end_cuts_off_all(speaker):
    found, told, made, process = speaker
    for take, cut_off in ((1, True), (0, False)):
        found._saying = (process([]), take)
        found.say(["again."], notice=True)
        assert not found._saying[0].ended
        found.say(["take two."])
        assert found._saying[0].ended is cut_off
    found._saying = (process([]), 0)
    found.say(["never said."], notice=True)
    found.stop()
    assert found._saying[0].ended
    assert made[-1] == "joined"
    found._say_all()
    assert told == []
