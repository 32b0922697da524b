"""README's sentence and juggle load as they stand there, and two hands can play them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from liveaid.routine.acts import acts_of
from liveaid.routine.check.act_rules import demands_of
from liveaid.routine.load import read_routine

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
EXAMPLES = [text for text in re.findall(r"```yaml\n(.*?)```", README, re.S) if "figures:" in text]
HEAD = "title: T\nsounds:\n  stall-break: {file: s.wav, tempo: 92}\n"
TRAM = HEAD + "  tram-groove: {file: t.wav, kind: instrumental, tempo: 92}\n"


@pytest.fixture(scope="module")
def sentence():
    text = EXAMPLES[0].replace("sounds:\n", HEAD, 1)
    before = (
        "pieces:\n  - {name: Before, bars: 1, tempo: 92, left: {hand: runs, sound: stall-break}}\n"
    )
    return read_routine(text.replace("pieces:\n", before, 1).encode())


def test_the_sentence_loads_with_its_pick_up_and_eight_bars(sentence):
    acts = acts_of(sentence, 1, "right")
    assert acts[0].beat == -1.5
    assert acts[-1].end_beat <= 32.0
    words = {act.figure for act in acts}
    assert {"baby", "chirp", "stab", "transform", "flare"} <= words


def test_the_juggle_loads_with_both_patterns():
    routine = read_routine((TRAM + EXAMPLES[1]).encode())
    left = [act.beat for act in acts_of(routine, 0, "left") if act.kind == "let go"]
    assert left == [4.0 * bar for bar in range(8)]
    right = [(act.beat, act.from_s) for act in acts_of(routine, 0, "right") if act.kind == "let go"]
    assert right[3] == (14.0, 0.0)
    assert right[4] == (18.0, pytest.approx(60 / 92))  # from beat 1 of the record


def test_two_hands_can_play_both(sentence):
    juggle = read_routine((TRAM + EXAMPLES[1]).encode())
    for routine, index in ((sentence, 1), (juggle, 0)):
        hard = [d for d in demands_of(routine, index) if d.verdict == "impossible"]
        assert not hard, [(d.says, d.beat, d.needs, d.has) for d in hard]
