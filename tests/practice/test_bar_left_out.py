"""A juggle of four bars from which the performer leaves one out: it is named, the rest is judged.

The simulator plays the same juggle with that bar cut from the map, so what comes after it comes a
bar, four beats of 0.6 s, too soon.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.assess import assess
from liveaid.practice.score import score_take
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine import Routine
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


@pytest.mark.parametrize("gone", [0, 1, 2])
def test_a_bar_left_out_is_named_and_what_comes_after_it_is_on_time(gone):
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


def test_where_all_bars_are_alike_none_is_named():
    alike = juggle((0, 0, 0, 0))
    performance = perform(juggle((0, 0, 0)), seed=3, lead_s=3.0, hands=STEADY)
    trace = trace_of((m.now_s, m.side, m.position_s) for m in performance.messages)
    played = assess(alike, trace, [Visit(0, 0.0, 12.0, 3.0, 10.2)], counted_in_s=3.0)
    (piece,) = score_take(alike, played).pieces
    assert piece.why == ("ended 1 bar early",)
