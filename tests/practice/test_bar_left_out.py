"""A juggle of four bars from which the performer leaves one out: it is named, the rest is judged.

The simulator plays the same juggle with that bar cut from the map, so what comes after it comes a
bar, four beats of 0.6 s, too soon.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liveaid.practice import bar_left_out
from liveaid.practice.assess import assess
from liveaid.practice.attempt import Attempt
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.planned_acts import Planned
from liveaid.practice.score import score_take
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine import Routine
from liveaid.routine.load import read_routine
from liveaid.simulate import STEADY, perform

LEFT = ((0, 2), (0, 1, 2.5), (0, 3), (0, 1.5))
"""Beats of each bar on which the left record is let go."""
RIGHT = ((1, 3), (0.5, 2, 3), (1, 2), (1, 3))


def juggle(bars, metre=4):
    lines = {
        side: [beat + metre * k for k, bar in enumerate(bars) for beat in of[bar]]
        for side, of in (("left", LEFT), ("right", RIGHT))
    }
    decks = {
        side: {"hand": "works", "from": at, "to": at + 1.2, "strokes": lines[side]}
        for side, at in (("left", 25.2), ("right", 5.4))
    }
    return Routine.model_validate(
        {"title": "Stalls", "pieces": [{"name": "Twins", "bars": len(bars), "tempo": 100, **decks}]}
    )


def scored(played_bars, hands=STEADY):
    performance = perform(juggle(played_bars), seed=3, lead_s=3.0, hands=hands)
    trace = trace_of((m.now_s, m.side, m.position_s) for m in performance.messages)
    beats = 4.0 * len(played_bars)
    visit = Visit(0, 0.0, beats, 3.0, 3.0 + 0.6 * beats)
    played = assess(juggle((0, 1, 2, 3)), trace, [visit], counted_in_s=3.0)
    (piece,) = score_take(juggle((0, 1, 2, 3)), played).pieces
    return piece


def test_all_four_bars_are_taken_as_they_are():
    piece = scored((0, 1, 2, 3))
    assert piece.missed == piece.added == 0
    assert piece.tempo_bpm == pytest.approx(100, abs=2)


def test_a_bar_left_out_is_named_and_what_comes_after_it_is_on_time():
    gone = 1
    bars = tuple(bar for bar in range(4) if bar != gone)
    piece = scored(bars)
    assert piece.why == (f"bar {gone + 1} left out",)
    asked = len(LEFT[gone]) + len(RIGHT[gone])
    let_go = [act for act in piece.acts if act.kind in ("start", "release")]
    assert sum(act.outcome == "missed" for act in let_go) == asked
    after = [act for act in let_go if act.beat >= 4 * (gone + 1)]
    assert after
    assert {act.outcome for act in after} == {"heard"}
    # Steady hands are not off: late by the network's 2 ms and its jitter at most.
    assert np.abs([act.error_s for act in after]).max() < 0.012
    assert piece.tempo_bpm == pytest.approx(100, abs=2)
    assert piece.added == 0


# --- by hand: four bars of both records in the hands, half a second a beat ---

FOUR = read_routine(b"""
title: Stalls
metre: 4
pieces:
  - name: Twins
    bars: 4
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0, strokes: [0, 2, 4, 4.5, 6, 8, 9.5, 12, 14]}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3, 5, 7, 10, 11, 13, 15]}
""")
LET_GO_LEFT, LET_GO_RIGHT = [0, 2, 4, 4.5, 6, 8, 9.5, 12, 14], [1, 3, 5, 7, 10, 11, 13, 15]
EVENLY = BeatTimes(np.arange(17.0), 10.0 + 0.5 * np.arange(17.0), "left")


def attempted(to_beat=16.0):
    plan = tuple(
        Planned(kind="release", side=side, piece=0, beat=float(beat))
        for side, beats in (("left", LET_GO_LEFT), ("right", LET_GO_RIGHT))
        for beat in beats
    )
    return Attempt(FOUR, Visit(0, 0.0, to_beat, 10.0, 18.0), {}, plan, None)


def left_out(monkeypatch, left, right, *, to_beat=16.0, count_by=lambda _: EVENLY):
    """What is made of hands that let go on these beats, told evenly."""
    begun = {"left": left, "right": right}
    monkeypatch.setattr(
        bar_left_out, "_begun_s", lambda _, side: [10.0 + 0.5 * beat for beat in begun[side]]
    )
    return bar_left_out.bar_left_out(attempted(to_beat), EVENLY, count_by)


def without(beats, bar):
    """Beats with a bar left out, all after it a bar sooner."""
    first = 4 * bar
    return [b if b < first else b - 4 for b in beats if not first <= b < first + 4]


@pytest.mark.parametrize("bar", [1, 2])
def test_the_bar_without_which_all_fits_was_left_out(monkeypatch, bar):
    first = 4.0 * bar
    found = left_out(
        monkeypatch, without(LET_GO_LEFT, bar), without(LET_GO_RIGHT, bar), to_beat=12.0
    )
    acts = attempted().plan
    assert found.gone == tuple(act for act in acts if first <= act.beat < first + 4)
    assert found.attempt.plan == tuple(act for act in acts if not first <= act.beat < first + 4)
    assert (found.attempt.visit.to_beat, found.unexplained) == (16.0, 0.0)
    assert found.count.left_out == (first, first + 4)
    assert (found.count.when(first - 1), found.count.when(first + 4)) == pytest.approx(
        (10.0 + 0.5 * (first - 1), 10.0 + 0.5 * first), abs=2e-6
    )


def test_what_fits_as_it_is_or_no_better_without_any_bar_is_left_as_written(monkeypatch):
    """Two acts missed are no bar; three all over are none either; nothing draws a count, none."""
    assert left_out(monkeypatch, LET_GO_LEFT, LET_GO_RIGHT) is None
    assert left_out(monkeypatch, LET_GO_LEFT[:-2], LET_GO_RIGHT) is None
    assert left_out(monkeypatch, LET_GO_LEFT[1::2], LET_GO_RIGHT[::2]) is None
    gone = without(LET_GO_LEFT, 1), without(LET_GO_RIGHT, 1)
    assert left_out(monkeypatch, *gone, to_beat=12.0, count_by=lambda _: None) is None
    running = read_routine(
        b"title: S\npieces:\n  - {name: O, bars: 4, tempo: 120, left: {hand: runs, at: 2}}\n"
    )
    assert bar_left_out.bar_left_out(replace(attempted(), routine=running), EVENLY, None) is None


def test_of_bars_that_are_alike_none_is_named(monkeypatch):
    """Every bar the same, and one of them left out: it may be any."""
    even = [0, 2, 4, 6, 8, 10, 12, 14]
    plan = tuple(Planned(kind="release", side="left", piece=0, beat=float(beat)) for beat in even)
    monkeypatch.setattr(bar_left_out, "_begun_s", lambda _, side: (
        [10.0 + 0.5 * beat for beat in even[:6]] if side == "left" else []))  # fmt: skip
    assert (
        bar_left_out.bar_left_out(replace(attempted(), plan=plan), EVENLY, lambda _: EVENLY) is None
    )


def test_what_a_reading_leaves_unexplained(monkeypatch):
    """Left 20 ms late on 0 and nothing on 2; right on 1, and once more: two acts, and half of 20 of
    the 175 ms that .35 beats are. What lies beyond the visit is not asked for."""
    begun = {"left": [10.02], "right": [10.5, 11.25]}
    monkeypatch.setattr(bar_left_out, "_begun_s", lambda _, side: begun[side])
    for to_beat, acts in ((2.0, 2.0), (1.9, 1.0), (3.0, 3.0), (0.5, 2.0)):
        assert bar_left_out._unexplained(attempted(), EVENLY, to_beat) == pytest.approx(
            acts + 0.5 * 20 / 175
        )


def test_a_bar_needs_two_acts_and_to_lie_within_what_was_played(monkeypatch):
    monkeypatch.setattr(bar_left_out, "_begun_s", lambda *_: [])
    few = replace(attempted(), plan=tuple(act for act in attempted().plan if act.beat in (0, 4, 5)))
    told = [bar_left_out._without(few, beat, lambda _: EVENLY) for beat in (0.0, 4.0, 8.0)]
    assert [one and len(one.gone) for one in told] == [None, 2, None]
    for to_beat, told_ in ((11.5, True), (11.4, False)):
        one = bar_left_out._without(attempted(to_beat), 12.0, lambda _: EVENLY)
        assert (one is not None) is told_
    short = bar_left_out._without(attempted(9.0), 4.0, lambda _: EVENLY)
    assert short.attempt.visit.to_beat == 13.0


def test_a_count_with_a_gap_has_all_of_the_bar_in_one_moment():
    count = BeatTimes(np.array([0.0, 3.0, 4.0, 6.0]), np.array([10.0, 11.5, 12.0, 13.0]), "right")
    found = bar_left_out._with_gap(count, 4.0, 4)
    assert found.beats.tolist() == [0.0, 3.0, 4.0, 8.0, 10.0]
    assert found.times_s == pytest.approx([10.0, 11.5, 12.0, 12.000001, 13.0], abs=1e-9)
    assert (found.by, found.left_out) == ("right", (4.0, 8.0))
    between = bar_left_out._with_gap(count, 5.0, 4)
    assert between.beats.tolist() == [0.0, 3.0, 4.0, 5.0, 9.0, 10.0]
    assert between.times_s == pytest.approx([10.0, 11.5, 12.0, 12.5, 12.500001, 13.0], abs=1e-9)
