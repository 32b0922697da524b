"""What each picture of kept takes draws, held against `pictures.txt`: there it is in words, read
over by eye, and worked out by hand in the figures named here.

Whoever means to change a picture writes the words anew and reads them over.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from liveaid.practice import bars_picture as bars_pictures
from liveaid.practice import history_picture as history_pictures
from liveaid.practice import losses
from liveaid.practice import take_picture as take_pictures
from liveaid.practice.act_score import ActScore
from liveaid.practice.bars_picture import bars_picture
from liveaid.practice.history_picture import history_picture
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.records import Kept, PieceRow
from liveaid.practice.take_picture import take_picture
from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine.load import read_routine

IN_WORDS = Path(__file__).resolve().parent / "pictures.txt"
MAP = """
title: Wicks
metre: 4
pieces:
  - {name: Oil, bars: 3, tempo: 120, count: left, left: {hand: runs, at: 2.0}}
  - name: Wicks
    bars: 3
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0, strokes: [0, 2, 4, 6, 8, 10]}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3, 5, 7, 9, 11]}
  - {name: Down, bars: 13, tempo: 120, count: left, left: {hand: runs, at: 60.0}}
"""


def written(name: str) -> str:
    parts = IN_WORDS.read_text().split("\n\n")
    return next(rest for title, _, rest in (part.partition("\n") for part in parts)
                if title == name).strip()  # fmt: skip


@pytest.fixture(scope="module")
def wicks():
    return read_routine(MAP.encode())


def act(beat, outcome="heard", side="left", **times):
    return ActScore(kind="release", side=side, beat=beat, outcome=outcome, by="click", beat_s=0.5,
                    **times)  # fmt: skip


def piece(*acts, name="Wicks", **how):
    none = dict.fromkeys(("bias_ms", "spread_ms", "tempo_percent", "drift_percent"))
    return PieceScore(index=1, name=name, verdict="not clean", whole=True, heard=0, missed=0,
                      added=0, skipped=0, acts=acts, **none, **how)  # fmt: skip


def take(visits, messages, **how):
    plain = {"title": "x", "aim": "", "ended": "complete", "duration_s": 12.5, "tempo_part": 0.9,
             "at": datetime(2024, 5, 3, 20, 15).timestamp(), "start_s": 3.0}  # fmt: skip
    return Kept(counted_in_s=None, visits=visits, trace=trace_of(messages), **plain | how)


def test_a_juggle_bar_by_bar(wicks, drawn):
    """Acts were due on beats 1, 5 and 7, a bar of the set piece before them, at 9.5, 11.5 and
    12.5 s: beat 0 is 9 s, beat 8 is 13 s, beat 12 is 15 s.

    Left plays from 30 to 31: its band is 1.3 s high, so that 30.0 lies .5 / 1.3 below .56, at
    .175, and 30.5 in its middle. It was at 30.5 at 10 s, beat 2, and back at 30.0 at beat 4.
    """
    kept = take(
        (Visit(1, 0.0, 12.0, 9.0, 15.0),),
        [(9.0, "left", 30.0), (10.0, "left", 30.5), (11.0, "left", 30.0), (13.0, "left", 31.0),
         (9.0, "right", 40.0), (13.0, "right", 44.0)],
    )  # fmt: skip
    score = piece(
        act(5.0, due_s=9.5, heard_s=9.512), act(9.0, "missed", due_s=11.5),
        act(11.0, "heard", "right", due_s=12.5, heard_s=12.48),
        act(12.0, "added", "right", heard_s=12.9), act(15.9, "missed"),
        act(16.0, "missed", "right"), act(20.0, "missed"), bars_before=1,
    )  # fmt: skip
    said = drawn(bars_pictures, lambda: bars_picture(wicks, kept, 0, score))
    assert said == written("a juggle bar by bar")


def test_a_running_record_bar_by_bar_where_one_act_tells_no_count(wicks, drawn):
    """By the visit 10 beats are 5.5 s, so that beat 12 is at 15.6 s; nothing heard of right.

    Twelve beats are 6 s of record: its band is 6 s high, and 2.0 lies .5 below .56."""
    kept = take((Visit(0, 0.0, 10.0, 9.0, 14.5),), [(9.0, "left", 2.1), (15.0, "left", 8.1)])
    score = piece(act(0.0, due_s=9.0, heard_s=9.0), name="Oil")
    said = drawn(bars_pictures, lambda: bars_picture(wicks, kept, 0, score))
    assert said == written("a running record bar by bar")


def test_no_more_than_24_bars_are_drawn(drawn, monkeypatch):
    """Twelve rows of 2.2 inches and 0.9 more: 27.3. What stands in them takes long to draw."""
    monkeypatch.setattr(bars_pictures, "_row", lambda *_: None)
    long = read_routine(MAP.replace("bars: 13", "bars: 27").encode())
    kept = take((Visit(2, 0.0, 108.0, 9.0, 63.0),), [])
    said = drawn(bars_pictures, lambda: bars_picture(long, kept, 0, piece(name="Down")))
    assert said.startswith("size [12 27.3]")
    assert said.count("axis") == 12


def test_a_take_of_two_set_pieces(wicks, drawn):
    """Seconds from the first beat at 3 s. Left begins on beat 1, at 2.5 in its file, of the first;
    a jump of more than .25 s leaves a gap. At 9.03 s it was 3 tenths from 8.5 to 30.0."""
    kept = take(
        (Visit(0, 1.0, 12.0, 3.0, 9.0), Visit(1, 0.0, 12.0, 9.0, 15.0)),
        [(1.9, "left", 1.0), (2.0, "left", 1.5), (9.0, "left", 8.5), (9.1, "left", 30.0),
         (9.2, "left", 30.26), (9.3, "left", 30.5), (16.0, "left", 30.5), (16.2, "left", 30.9),
         (2.0, "right", 40.0), (14.0, "right", 40.6)],
    )  # fmt: skip
    first = piece(
        act(0.0, due_s=9.0, heard_s=9.03), act(1.0, side="right", due_s=9.5, heard_s=9.44),
        act(2.0, "missed", due_s=10.0), act(4.2, "added", "right", heard_s=11.1),
        act(6.0, "skipped", due_s=12.0), act(3.0, "unheard", "right"),
        name="Oil", why=("1 missed", "late"),
    )  # fmt: skip
    score = TakeScore(
        verdict="not clean", run_through=True, heard=1, missed=1, added=1, skipped=0,
        bias_ms=None, spread_ms=None,
        pieces=(first, piece(why=("uneven",)), piece(name="Down", why=("early",))),
    )  # fmt: skip
    said = drawn(take_pictures, lambda: take_picture(wicks, kept, score))
    assert said == written("a take of two set pieces")


def test_a_clean_take_of_one_set_piece(wicks, drawn):
    kept = take((Visit(0, 0.0, 12.0, 3.0, 9.0),), [(3.0, "left", 2.0), (9.0, "left", 8.0)],
                aim="Oil", duration_s=6.0)  # fmt: skip
    score = TakeScore(
        verdict="clean", run_through=False, heard=1, missed=0, added=0, skipped=0, bias_ms=None,
        spread_ms=None, pieces=(replace(piece(name="Oil"), verdict="clean"),),
    )  # fmt: skip
    said = drawn(take_pictures, lambda: take_picture(wicks, kept, score))
    assert said == written("a clean take of one set piece")


def test_where_the_fader_was_to_be_open_and_was(drawn):
    """Beneath the record: a quarter of a beat of .5 s from 3 s on and from 3.25 s on;
    it was from 3.1 to 3.4 s and from 3.9 s on."""
    asked = read_routine(b"""
title: Wicks
pieces:
  - name: Wicks
    bars: 1
    tempo: 120
    left:
      hand: works
      from: 30.0
      to: 31.0
      places: {wax: {from: 30.0, to: 30.3}}
      acts: {bar 1: push wax for 1 open 0 to 1/4 and 1/2 to 3/4}
""")
    told = [(2.0, 0.0), (3.1, 1.0), (3.4, 0.0), (3.9, 1.0)]
    mixer = tuple(FaderHeard(s, "left", at) for s, at in told)
    kept = take((Visit(0, 0.0, 4.0, 3.0, 5.0),), [(3.0, "left", 30.0), (5.0, "left", 30.0)],
                duration_s=2.0, mixer=mixer)  # fmt: skip
    score = TakeScore(
        verdict="not judged", run_through=False, heard=0, missed=0, added=0, skipped=0,
        bias_ms=None, spread_ms=None, pieces=(replace(piece(), verdict="not judged"),),
    )  # fmt: skip
    said = drawn(take_pictures, lambda: take_picture(asked, kept, score))
    assert said == written("where the fader was to be open and was")
    unheard = drawn(take_pictures, lambda: take_picture(asked, replace(kept, mixer=()), score))
    assert "'fader open: plan' at" in unheard
    assert "[0.085 0.02 0.385 0.075]" not in unheard


def test_a_set_pieces_history(drawn):
    """Oldest first: 30 ms early, give or take 20; then not known; then 12.5 late, no spread."""
    rows = [
        PieceRow(take, float(take), "", 1.0, name, clean, missed, added, bias_ms, spread_ms)
        for take, name, clean, missed, added, bias_ms, spread_ms in (
            (4, "Oil", True, 0, 0, 12.5, None), (3, "Oil", False, 2, 1, None, 9.0),
            (2, "Wicks", True, 0, 0, 1.0, 1.0), (1, "Oil", False, 1, 3, -30.0, 20.0),
        )
    ]  # fmt: skip
    said = drawn(history_pictures, lambda: history_picture(rows, "Oil"))
    assert said == written("a set piece's history")


def test_where_time_is_lost(wicks, drawn):
    """Bar 1 of Wicks, the fourth of all: 30 late, 60 early and a pick-up 15 late, 35 on average;
    bar 2: its one act missed; bar 3: 90 late, and what lies beyond it. 60 ms and more are darkest.
    Set pieces that the map has not, or not there, are left out."""
    acts = (
        act(0.0, due_s=9.0, heard_s=9.03), act(1.0, side="right", due_s=9.5, heard_s=9.44),
        act(-0.5, due_s=8.75, heard_s=8.765), act(5.0, "missed", due_s=11.5),
        act(12.5, due_s=15.25, heard_s=15.34), act(8.0, "added", heard_s=13.0),
    )  # fmt: skip
    pieces = (piece(*acts), piece(*acts, name="Oil"), replace(piece(*acts), index=3))
    score = TakeScore(
        verdict="not clean", run_through=False, heard=1, missed=1, added=1, skipped=0,
        bias_ms=None, spread_ms=None, pieces=pieces,
    )  # fmt: skip
    said = drawn(losses, lambda: losses.losses_picture(wicks, [score]))
    assert said == written("where time is lost")
    assert "no acts heard yet" in drawn(losses, lambda: losses.losses_picture(wicks, []))
