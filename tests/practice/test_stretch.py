"""Stretches cut out of a routine, worked out by hand; plans for the time given."""

from dataclasses import replace
from pathlib import Path

import pytest

from liveaid.practice.aim import aim_of
from liveaid.practice.ladder import Ladder
from liveaid.practice.next import outlook
from liveaid.practice.stretch import cut, stretch
from liveaid.practice.weeks_plan import plan_of
from liveaid.routine import load_routine
from liveaid.routine.acts import BROUGHT, acts_faults, acts_of
from liveaid.routine.load import read_routine

ALLEY = Path(__file__).parents[2] / "scenes" / "spice-alley" / "routine.yaml"


@pytest.mark.parametrize(
    ("text", "name", "parts"),
    [
        ("pestle", "Pestle", [(1, 0, 4)]),
        ("bars 2 to 3 of Mortar twins", "bars 2 to 3 of Mortar twins", [(2, 1, 3)]),
        ("Bar 4 of pestle", "bar 4 of Pestle", [(1, 3, 4)]),
        ("from Pestle into Mortar twins", "from Pestle into Mortar twins", [(1, 2, 4), (2, 0, 2)]),
        ("", "", [(0, 0, 3), (1, 0, 4), (2, 0, 4), (3, 0, 3)]),
    ],
)
def test_a_stretch_is_asked_for_in_words(spice_row, text, name, parts):
    found = stretch(spice_row, text)
    assert found.name == name
    assert [(p.piece, p.from_bar, p.to_bar) for p in found.parts] == parts


@pytest.mark.parametrize(
    "text",
    ["Lantern", "bars 3 to 9 of Pestle", "bars 3 to 2 of Pestle", "from Lids into Lids down"],
)
def test_what_the_routine_does_not_have_is_none(spice_row, text):
    assert stretch(spice_row, text) is None


def test_some_bars_begin_so_much_further_on_the_running_record(spice_row):
    """Bars 3 to 4 of Pestle: 8 beats of 0.6 s further on; strokes from beat 8 on, less 8."""
    (piece,) = cut(spice_row, stretch(spice_row, "bars 3 to 4 of Pestle")).pieces
    assert piece.bars == 2
    assert piece.left.at_s == pytest.approx(9.0 + 8 * 0.6)
    assert piece.right.strokes == (0.0, 0.75, 1.5, 2.0, 3.0, 3.5, 4.0)
    assert (piece.right.from_s, piece.right.to_s) == (5.4, 6.6)


def test_a_transition_is_the_last_two_bars_and_the_first_two(spice_row):
    before, after = cut(spice_row, stretch(spice_row, "from Pestle into Mortar twins")).pieces
    assert (before.name, before.bars, after.name, after.bars) == ("Pestle", 2, "Mortar twins", 2)
    assert after.left.strokes == (0.0, 2.0, 4.0, 6.0)
    assert after.right.strokes == (1.0, 3.0, 5.0, 7.0)


def test_a_transition_played_is_a_take_with_its_acts_on_the_routines_own_beats(
    spice_row, performed, rehearsed
):
    from liveaid.practice.score import score_of

    aim = aim_of(spice_row, "from Pestle into Mortar twins")
    played = performed(aim.routine, seed=2)
    messages = [(m.now_s, m.side, m.position_s) for m in played.messages]
    (ended,) = rehearsed(aim, messages, count_in_bars=0)
    found = score_of(aim, replace(ended, counted_in_s=3.002))
    assert [piece.index for piece in found.pieces] == [1, 2]
    assert [piece.bars_before for piece in found.pieces] == [2, 0]
    strokes = [act.beat for act in found.pieces[0].acts if act.kind == "stroke"]
    assert strokes == [8.0, 8.75, 9.5, 10.0, 11.0, 11.5, 12.0]
    assert found.pieces[1].heard >= 12


def test_acts_written_in_lines_are_held_against_their_beats(spice_row):
    """The same strokes as a line of acts: pushes on beats 0, 1 and 2 of each bar."""
    from liveaid.practice.planned_acts import planned_events
    from liveaid.routine.load import read_routine

    routine = read_routine(
        b"title: Row\npieces:\n"
        b"  - {name: Lids, bars: 1, tempo: 100, count: left, left: {hand: runs, at: 1.8},\n"
        b"     right: {hand: works, from: 5.4, to: 6.6,\n"
        b"             acts: {0: push over 0.2 s, 1: push over 0.2 s, 2: push over 0.2 s}}}\n"
    )
    planned = planned_events(routine, stops=False)
    assert [(a.kind, a.beat) for a in planned if a.side == "right"] == [
        ("stroke", 0.0), ("stroke", 1.0), ("stroke", 2.0),
    ]  # fmt: skip


def test_what_is_left_out_of_some_bars_is_told_by_the_set_pieces_own_bars(
    spice_row, performed, rehearsed
):
    """Bars 3 to 4 of Pestle: the strokes on beats 1 to 2.5 of bar 4 are not made."""
    from liveaid.practice.score import score_of

    aim = aim_of(spice_row, "bars 3 to 4 of Pestle")
    played = performed(aim.routine, seed=2)
    gone_s = (3.0 + 0.6 * 3.7, 3.0 + 0.6 * 6.9)
    still = next(m.position_s for m in played.messages if m.side == "right" and m.now_s > gone_s[0])
    messages = [
        (m.now_s, m.side,
         still if m.side == "right" and gone_s[0] < m.now_s < gone_s[1] else m.position_s)
        for m in played.messages
    ]  # fmt: skip
    (ended,) = rehearsed(aim, messages, count_in_bars=0)
    report = score_of(aim, ended)
    assert "bar 4" in report.advice["right"]


FIGURES = b"""
title: Row
sounds:
  call: {file: call.wav, kind: a cappella, parts: {hey: {from: 0.1, to: 0.4}}}
pieces:
  - name: Lids
    bars: 3
    tempo: 100
    count: left
    left: {hand: runs, at: 1.8}
    right: {hand: works, sound: call, from: 5.4, to: 5.7, places: {hey: {from: 5.4, to: 5.7}},
            acts: {2: baby hey for 1 x4, 8: push hey for 1 closed, 9: pull for 1 clicks 1}}
"""


def test_a_figure_that_runs_over_the_bar_line_is_cut_at_it():
    """Baby: a push and a pull, half of its beat each, here on beats 2 to 6; bar 2 begins with the
    third of four. 0.3 s of the part lie from 5.4 to 5.7. One click shuts an open fader for a
    quarter of the half beat that each of its two soundings lasts, about the middle: from 7/16 to
    9/16 of the beat."""
    routine = read_routine(FIGURES)
    bar = cut(routine, stretch(routine, "bar 2 of Lids"))
    told = [
        (act.kind, act.beat, act.beats, act.from_s, act.to_s) for act in acts_of(bar, 0, "right")
    ]
    assert told == [
        (kind, pytest.approx(beat), 0.5, pytest.approx(start), pytest.approx(end))
        for kind, beat, start, end in (
            ("push", 0, 5.4, 5.7), ("pull", 0.5, 5.7, 5.4), ("push", 1, 5.4, 5.7),
            ("pull", 1.5, 5.7, 5.4),
        )
    ]  # fmt: skip
    last = acts_of(cut(routine, stretch(routine, "bar 3 of Lids")), 0, "right")
    assert [act.kind for act in last] == ["push", "pull"]
    assert last[0].open == ()
    assert [pytest.approx(span) for span in last[1].open] == [(1.0, 1.4375), (1.5625, 2.0)]


def test_a_figure_within_the_bars_keeps_its_name_and_one_cut_at_the_bar_line_has_none():
    """Babies on beats 2, 3, 4 and 5; a tear of 3 beats from beat 6 runs into bar 3."""
    routine = read_routine(
        FIGURES.replace(b"8: push hey for 1 closed, 9: pull for 1 clicks 1", b"6: tear hey for 3")
    )

    def names(text):
        acts = acts_of(cut(routine, stretch(routine, text)), 0, "right")
        return [(act.beat, act.figure) for act in acts if act.kind == "push"]

    assert names("bar 1 of Lids") == [(2.0, "baby"), (3.0, "baby")]
    assert names("bars 2 to 3 of Lids")[:3] == [(0.0, "baby"), (1.0, "baby"), (2.0, "tear")]
    assert names("bar 2 of Lids") == [(0.0, "baby"), (1.0, "baby"), (2.0, "")]


def test_every_stretch_of_bars_keeps_the_acts_that_begin_in_it():
    """The demo's alley: words, a tune, a juggle, all of its figures, in all stretches of bars."""
    routine = load_routine(ALLEY)
    for index, piece in enumerate(routine.pieces):
        for first in range(1, routine.bar_count(index) + 1):
            last = min(first + 1, routine.bar_count(index))
            gone, beats = 4 * (first - 1), 4 * (last - first + 1)
            bars = cut(routine, stretch(routine, f"bars {first} to {last} of {piece.name}"))
            assert list(acts_faults(bars)) == []
            for side in ("left", "right"):
                asked = _done(acts_of(routine, index, side), gone, gone + beats)
                assert _done(acts_of(bars, 0, side), 0, beats) == asked


def _done(acts, low, high):
    """What is done, when, how far and with which openings, to a millionth."""
    return [
        (act.kind, round(act.beat - low, 6), round(act.way_s, 6),
         [(round(a - low, 6), round(b - low, 6)) for a, b in act.open])
        for act in acts
        if low <= act.beat < high - 1e-9 and act.written and act.kind not in BROUGHT
    ]  # fmt: skip


def test_a_plan_fills_the_time_in_turns_with_a_break(spice_row):
    """40 minutes: five turns of 5 make 25 hands on, 5 of break, two turns more: 25 + 5 + 10."""
    found = outlook(spice_row, [], [], now=0.0)
    plan = plan_of(spice_row, found, [], 40)
    assert [turn.lasts_s / 60 for turn in plan.turns] == [5, 5, 5, 5, 5, 5, 5, 5]
    assert [turn.is_break for turn in plan.turns] == [False] * 5 + [True] + [False] * 2
    names = [turn.what for turn in plan.turns if not turn.is_break]
    assert names[0] == names[3] != names[1]
    assert all(turn.why for turn in plan.turns)


def test_a_plan_moves_on_when_a_turns_time_is_up(spice_row):
    plan = plan_of(spice_row, outlook(spice_row, [], [], now=0.0), [], 10).begun(100.0)
    assert not plan.over(399.0)
    assert plan.over(400.0)
    last = plan.moved_on(400.0)
    assert last.turn is not None
    assert last.moved_on(700.0).turn is None


def test_the_ladder_goes_a_rung_by_word_and_stays_on_it():
    ladder = Ladder(full_tempo_bpm=100, pitch_range_percent=8, start_part=0.96, step_part=0.02)
    assert [ladder.stepped(k).part for k in (-1, 1, 2, 9)] == [0.96, 0.98, 1.0, 1.0]
