"""A set piece as it was tried, its count and its acts, from releases written out by hand.

Half a second a beat. The pictures of what a hand did are made up whole: no position is read.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice import assess as held
from liveaid.practice import attempt as attempts
from liveaid.practice import counting
from liveaid.practice.act_score import ActScore, Played
from liveaid.practice.attempt import Attempt, DeckActs, Due, Start
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import FaderScore
from liveaid.practice.hear import Release, Stroke
from liveaid.practice.motion import Motion, SpeedLine
from liveaid.practice.planned_acts import Planned, planned_events
from liveaid.practice.visits import Visit
from liveaid.routine.load import read_routine

MAP = """
title: Stalls
metre: 4
pieces:
  - name: One
    bars: 2
    tempo: 120
    count: left
    left: {hand: runs, at: 2.0}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3.5]}
  - name: Twins
    bars: 2
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0, strokes: [0, 2, 4, 6]}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3, 5, 7]}
  - name: Free
    bars: 2
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0}
    right: {hand: works, from: 40.0, to: 41.0}
  - {name: Last, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 50.0}}
"""
ROUTINE = read_routine(MAP.encode())
STILL = Motion(np.zeros(0), np.zeros(0), np.zeros(0), 0.01, 0.001, ())
TURN_S = 1.8
"""33 1/3 a minute."""


def release(at_s, cue_s, *, off_s=0.0, speed=1.0, lasts_s=0.4):
    """Let go `off_s` beside its cue; its line passes the cue at `at_s`."""
    return Release(SpeedLine(at_s, cue_s, speed), cue_s + off_s, at_s, at_s + lasts_s)


def tried(piece, *, left=(), right=(), taken=(), due=None, start_s=10.0, end_s=14.0, **visit):
    decks = {
        side: DeckActs(list(found), list(taken), STILL)
        for side, found in (("left", left), ("right", right))
    }
    plan = tuple(act for act in planned_events(ROUTINE) if act.piece == piece)
    gone = {"from_beat": 0.0, "to_beat": 8.0, **visit}
    return Attempt(ROUTINE, Visit(piece, start_s=start_s, end_s=end_s, **gone), decks, plan, due)


def count(first_s=10.0, beat_s=0.5, by="left"):
    beats = np.arange(9.0)
    return BeatTimes(beats, first_s + beat_s * beats, by)


@pytest.mark.parametrize(
    ("found", "start"),
    [
        # Within a beat and a half of the visit's start, and .3 s of record of the cue.
        ([release(10.74, 2.0)], Start(10.74)), ([release(10.76, 2.0)], None),
        ([release(9.26, 2.0)], Start(9.26)), ([release(9.24, 2.0)], None),
        ([release(10.0, 2.0, off_s=0.29)], Start(10.0)), ([release(10.0, 2.0, off_s=0.31)], None),
        # The nearest in time; whole turns beside its cue, none first, back before on.
        ([release(10.5, 2.0), release(9.8, 2.0)], Start(9.8)),
        ([release(10.1, 2.0 + TURN_S)], Start(10.1, 1)),
        ([release(10.1, 2.0 - TURN_S)], Start(10.1, -1)),
        ([release(10.1, 2.0 + 2 * TURN_S), release(10.2, 2.0 - TURN_S)], Start(10.2, -1)),
        ([release(10.1, 2.0 + TURN_S), release(10.2, 2.0 - TURN_S)], Start(10.2, -1)),
        ([release(10.1, 2.0 + 2 * TURN_S)], Start(10.1, 2)),
        ([release(10.1, 2.0 + 3 * TURN_S)], None),
        ([release(10.1, 2.0 + TURN_S), release(10.2, 2.0)], Start(10.2)),
    ],
)  # fmt: skip
def test_when_a_record_was_started(found, start):
    assert tried(0, left=found).start("left") == (
        start and replace(start, at_s=pytest.approx(start.at_s))
    )


def test_what_is_no_start():
    here = [release(10.1, 2.0)]
    assert tried(0, left=here).start("right") is None  # worked, not started
    assert tried(0, left=here, from_beat=1.0).start("left") == Start(10.1)
    assert tried(0, left=here, from_beat=1.1).start("left") is None
    late = Due(9.3, "right")
    assert tried(0, left=here, due=late).start("left") is None
    assert tried(0, left=[*here, release(9.9, 2.0)], due=late).start("left") == Start(9.9)


@pytest.mark.parametrize(("to_beat", "whole"), [(8.0, True), (7.1, True), (7.0, False)])
def test_what_was_played_to_its_end(to_beat, whole):
    assert tried(1, to_beat=to_beat).whole is whole


@pytest.mark.parametrize(
    ("one", "counts"),
    [
        # From half a beat before the visit to a fifth of one before its end, near the cue.
        (release(9.76, 30.0), True), (release(9.74, 30.0), False), (release(13.89, 30.0), True),
        (release(13.91, 30.0), False), (release(11.0, 30.0, off_s=0.29), True),
        (release(11.0, 30.0, off_s=-0.31), False), (release(11.0, 40.0), False),
    ],
)  # fmt: skip
def test_which_releases_of_a_worked_record_count(one, counts):
    attempt = tried(1, left=[one])
    assert attempt.let_go("left") == ([one] if counts else [])
    assert attempt.let_go_s("left") == ([one.line.t0_s] if counts else [])
    assert attempt.let_go_s("right") == []


@pytest.mark.parametrize(
    ("places", "turns"),
    [
        # Four are asked: half of them beside the cue, and none at it.
        ((1, 1, 1, 1), 1), ((1, 1), 1), ((1,), 0), ((-1, -1), -1), ((2, 2), 2), ((-2, -2, 1), -2),
        ((0, 1, 1, 1), 0), ((), 0), ((3, 3, 3), 0),
    ],
)  # fmt: skip
def test_by_how_many_turns_a_worked_record_was_beside_its_place(places, turns):
    found = [release(13.0 - k, 30.0 + TURN_S * off) for k, off in enumerate(places)]
    attempt = tried(1, left=found)
    assert attempt.turns_off("left") == turns
    there = sorted(13.0 - k for k, off in enumerate(places) if off == turns)
    assert attempt.let_go_s("left") == pytest.approx(there)


def test_a_record_is_taken_about_the_visit():
    """Half a beat before its start at 10 s, a beat and a half after its end at 14."""
    times = [9.74, 9.76, 12.0, 14.74, 14.76]
    assert tried(1, taken=times).taken_s("left") == times[1:4]


# --- the count ------------------------------------------------------------------------------------


def test_the_first_release_lies_on_a_beat():
    """Let go at 10.62 s, the visit at 10: .62 is 1.24 beats, so beat 1, and beat 0 at 10.12 s."""
    attempt = tried(1)
    assert counting._first_act_s(attempt, []) == 10.0
    found = [release(11.7, 30.0), release(10.62, 40.0)]
    assert counting._first_act_s(attempt, found) == pytest.approx(10.12)
    assert counting._first_act_s(attempt, [release(9.9, 30.0)]) == pytest.approx(9.9)


def juggled(late_s, *, speed=1.0, lasts_s=0.4, beat_s=0.5):
    sides = {"left": (30.0, (0, 2, 4, 6)), "right": (40.0, (1, 3, 5, 7))}
    return {
        side: [release(10.0 + beat_s * beat + late_s, cue, speed=speed, lasts_s=lasts_s)
               for beat in beats]
        for side, (cue, beats) in sides.items()
    }  # fmt: skip


def test_hands_late_all_through_do_not_shift_a_count_that_was_told():
    told = counting.counted_by_hands(tried(1, **juggled(0.03), due=Due(10.0, "left")))
    assert told.by == "left"
    assert [told.when(beat) for beat in range(9)] == pytest.approx(
        [10.0 + 0.5 * b for b in range(9)]
    )


def test_where_nothing_told_the_count_lies_on_the_hands_own_acts():
    found = counting.counted_by_hands(tried(1, **juggled(0.03)))
    assert found.by is None
    assert [found.when(beat) for beat in range(9)] == pytest.approx(
        [10.03 + 0.5 * b for b in range(9)]
    )


def test_records_let_run_for_a_quarter_second_tell_the_tempo():
    """At 1.25 times the speed a beat is .4 s; a record let run for less tells none, so that with
    it the acts alone bend the count."""
    fast = juggled(0.0, speed=1.25, beat_s=0.4, lasts_s=0.26)
    told = counting.counted_by_hands(tried(1, **fast, due=Due(10.0, "left")))
    assert told.when(8) == pytest.approx(13.2, abs=1e-6)
    short = juggled(0.0, speed=1.25, lasts_s=0.24)
    told = counting.counted_by_hands(tried(1, **short, due=Due(10.0, "left")))
    assert told.when(8) == pytest.approx(14.0, abs=1e-6)


def test_releases_answer_to_their_beats_within_a_beat():
    """The third release of left, .49 s late, is still its; .51 s late it is none."""
    for late_s, pairs in ((0.49, 8), (0.51, 7)):
        decks = juggled(0.0)
        decks["left"][2] = release(12.0 + late_s, 30.0)
        found = counting._on_their_beats(tried(1, **decks), count())
        assert len(found) == pairs
        assert (4.0, pytest.approx(12.0 + late_s)) in found or pairs == 7


def test_a_juggle_that_is_not_written_lies_on_the_nearest_beats():
    decks = {"left": [release(10.1, 30.0), release(11.2, 30.0)], "right": [release(10.6, 40.0)]}
    assert counting._on_their_beats(tried(2, **decks), count()) == [
        (0.0, 10.1), (2.0, 11.2), (1.0, 10.6),
    ]  # fmt: skip
    early = {"left": [release(9.76, 30.0)], "right": [release(13.85, 40.0)]}
    assert counting._on_their_beats(tried(2, **early), count()) == [(0.0, 9.76)]  # beat 8 is over


@pytest.mark.parametrize(
    ("turns", "left_out"),
    [
        # Left twice, four beats apart: right's turn between.
        ([(0, "left"), (1, "right"), (2, "left"), (6, "left"), (7, "right")], [(4.0, "right")]),
        ([(0, "left"), (1, "right"), (2, "left"), (4, "left"), (5, "right")], [(3.0, "right")]),
        ([(0, "left"), (1, "right"), (2, "left"), (3, "left"), (4, "right")], []),
        # Too few, or too seldom by turns: two of four, where two of five are let pass.
        ([(0, "left"), (2, "left"), (3, "right")], []),
        ([(0, "left"), (2, "left"), (3, "right"), (5, "right"), (6, "left")], []),
        ([(0, "left"), (2, "left"), (3, "right"), (5, "right"), (6, "left"), (7, "right")],
         [(1.0, "right"), (4.0, "left")]),
    ],
)  # fmt: skip
def test_which_turns_were_left_out(turns, left_out):
    assert counting._alternating(turns) == sorted([*turns, *left_out])


def test_what_hands_meant_is_their_turns_on_the_nearest_beats():
    decks = {"left": [release(10.05, 30.0), release(11.0, 30.0)], "right": [release(10.45, 40.0)]}
    meant = counting.own_turns(tried(2, **decks), count())
    assert [(act.kind, act.side, act.beat) for act in meant] == [
        ("start", "left", 0.0), ("return", "left", 1.0), ("release", "right", 1.0),
        ("return", "right", 2.0), ("release", "left", 2.0),
    ]  # fmt: skip


# --- held against the count -----------------------------------------------------------------------


def played(piece=0, to_beat=8.0, by="left", beat_s=0.5):
    return Played(Visit(piece, 0.0, to_beat, 10.0, 14.0), (), count(beat_s=beat_s, by=by))


def test_the_next_set_piece_is_due_where_the_last_one_ends():
    """8 beats of .4 s from 10 s: 13.2 s, a quarter faster than the map."""
    after = Visit(1, 0.0, 8.0, 14.0, 18.0)
    due = Due(pytest.approx(13.2), "left", pytest.approx(1.25))
    assert held._due(ROUTINE, played(beat_s=0.4), after) == due
    assert held._due(ROUTINE, played(beat_s=0.4), replace(after, from_beat=1.0)) == due
    assert held._due(ROUTINE, played(beat_s=0.4, to_beat=7.1), after) == due
    for before, visit in (
        (played(), replace(after, from_beat=1.1)), (played(to_beat=7.0), after),
        (played(by=None), after), (played(), replace(after, piece=2)),
        (played(piece=1), after), (replace(played(), count=None), after),
    ):  # fmt: skip
        assert held._due(ROUTINE, before, visit) is None


def test_eight_beats_tell_how_fast_the_next_is_counted():
    """Ten beats of half a second, then six of .4: of the last eight two are slow, 8 in 3.4 s."""
    long = read_routine(MAP.replace("name: One\n    bars: 2", "name: One\n    bars: 4").encode())
    beats = np.arange(17.0)
    times = np.concatenate([0.5 * beats[:11], 5.0 + 0.4 * np.arange(1, 7)])
    before = Played(Visit(0, 0.0, 16.0, 0.0, 7.4), (), BeatTimes(beats, times, "left"))
    assert held._speed_at_end(long, before, 16.0) == pytest.approx(60 * 8 / 3.4 / 120)


def act(kind, side, beat, outcome="heard", **more):
    return ActScore(kind=kind, side=side, beat=float(beat), outcome=outcome, by="left",
                    beat_s=pytest.approx(0.5), **more)  # fmt: skip


def scored(attempt, starts=None):
    found = held._Held(attempt, count(), starts or {"left": None, "right": None})
    return sorted(found.acts(), key=lambda one: (one.beat, one.side, one.kind))


def test_a_juggle_is_held_act_by_act():
    """Left's release on 4 left out, one of right on 6 too many; left is taken on 1.04 and 6.9."""
    decks = juggled(0.02)
    del decks["left"][2]
    decks["right"].insert(3, release(13.1, 40.0))
    attempt = tried(1, **decks)
    left = replace(attempt.decks["left"], taken_s=[10.52, 13.45])
    attempt = replace(attempt, decks={**attempt.decks, "left": left})

    def due(beat):
        return pytest.approx(10.0 + 0.5 * beat)

    def heard(kind, side, beat, late_s=0.02):
        return act(
            kind, side, beat, heard_s=pytest.approx(10.0 + 0.5 * beat + late_s), due_s=due(beat)
        )

    def missed(kind, side, beat):
        return act(kind, side, beat, "missed", due_s=due(beat))

    assert scored(attempt) == [
        heard("start", "left", 0), heard("return", "left", 1), heard("release", "right", 1),
        heard("release", "left", 2), missed("return", "right", 2), missed("return", "left", 3),
        heard("release", "right", 3), missed("release", "left", 4), missed("return", "right", 4),
        missed("return", "left", 5), heard("release", "right", 5), heard("release", "left", 6),
        missed("return", "right", 6),
        replace(act("release", "right", 0, "added", heard_s=13.1), beat=pytest.approx(6.2)),
        heard("return", "left", 7, -0.05), heard("release", "right", 7),
    ]  # fmt: skip


def test_what_comes_after_a_visit_was_left_is_skipped_and_before_it_asked_for_not_at_all():
    """Left at beat 4.3 of 8, begun at 2.4: from a quarter beat before the end on nothing is
    missed; from half a beat before its beginning."""
    found = scored(tried(1, from_beat=2.4, to_beat=4.3))
    assert {(one.beat, one.outcome) for one in found} == {
        (2.0, "missed"), (3.0, "missed"), (4.0, "missed"), (5.0, "skipped"), (6.0, "skipped"),
        (7.0, "skipped"),
    }  # fmt: skip
    assert min(one.beat for one in scored(tried(1, from_beat=2.6, to_beat=4.3))) == 3.0
    near = scored(tried(1, to_beat=4.2))
    assert {one.outcome for one in near if one.beat == 4.0} == {"skipped"}
    assert {one.outcome for one in scored(tried(1, to_beat=7.1))} == {"missed"}


def test_a_started_record_answers_to_the_count_before_or_gives_the_count():
    """One: left started at 10.03 s, a turn beside its cue."""
    start = {"left": Start(10.03, 1), "right": None}
    (first, *_) = scored(tried(0), start)
    assert first == act("start", "left", 0, heard_s=10.03, turns_off=1)
    (first, *_) = scored(tried(0, due=Due(9.9, "right")), start)
    assert first == replace(
        act("start", "left", 0, heard_s=10.03, due_s=9.9, turns_off=1), by="right"
    )
    (missed, *_) = scored(tried(0))
    assert missed == act("start", "left", 0, "missed", due_s=10.0)


def test_without_a_count_nothing_is_heard():
    found = list(held._unheard(tried(1, from_beat=2.0, to_beat=4.0)))
    assert {one.beat for one in found if one.outcome == "missed"} == {2.0, 3.0, 4.0}
    assert {one.outcome for one in found if one.beat in (0.0, 1.0, 5.0, 6.0, 7.0)} == {"skipped"}
    assert {(one.by, one.beat_s, one.heard_s) for one in found} == {(None, 0.5, None)}


def test_a_missed_release_takes_its_return_along():
    """The return of left on 3 belongs to its release on 2, not to right's, nor to one on 4."""
    acts = [act("release", "left", 2, "missed"), act("return", "left", 3, "missed"),
            act("release", "right", 3), act("return", "right", 4, "missed"),
            act("release", "left", 4), act("return", "left", 5, "missed")]  # fmt: skip
    assert [one.outcome for one in held._once(acts)] == [
        "missed", "skipped", "heard", "missed", "heard", "missed",
    ]  # fmt: skip
    heard = [act("release", "left", 2, "missed"), act("return", "left", 3)]
    assert [one.outcome for one in held._once(heard)] == ["missed", "heard"]


def test_a_bar_that_was_left_out_is_missed_as_a_whole():
    stroke = Planned(kind="stroke", side="right", piece=0, beat=1.0)
    one = held._Held(tried(0), replace(count(), left_out=(1.0, 5.0)), {"left": None, "right": None})
    assert one.left_out(stroke) == act("stroke", "right", 1, "missed")
    plans = [replace(stroke, beat=beat) for beat in (0.9, 1.0, 4.9, 5.0)]
    assert [one._in_what_was_played(each) for each in plans] == [True, False, False, True]


WRITTEN = read_routine(b"""
title: Stalls
metre: 4
pieces:
  - name: Written
    bars: 2
    tempo: 120
    count: left
    left: {hand: runs, at: 2.0}
    right:
      hand: works
      from: 30.0
      to: 33.0
      places: {wax: {from: 30.0, to: 30.5}, seal: {from: 32.0, to: 32.5}}
      acts: {0: let go wax for 1, 2: let go seal for 1}
  - name: Pushed
    bars: 2
    tempo: 120
    count: left
    left: {hand: runs, at: 20.0}
    right: {hand: works, from: 30.0, to: 33.0, acts: {0: push for 1, 2: push for 1}}
""")


def written(piece, *found):
    decks = {"left": DeckActs([], [], STILL), "right": DeckActs(list(found), [], STILL)}
    plan = tuple(act for act in planned_events(WRITTEN) if act.piece == piece)
    return Attempt(WRITTEN, Visit(piece, 0.0, 8.0, 10.0, 14.0), decks, plan, None)


def test_acts_that_are_written_out_are_let_go_from_their_own_places():
    """From 30.0, from 32.0, and a turn beside that; each is told by the nearest place."""
    attempt = written(0)
    places = [act.cue_s for act in attempt.plan if act.side == "right"]
    assert places[0] == pytest.approx(30.0)
    assert places[-1] == pytest.approx(32.0)
    for from_s, turns, place_s in (
        (30.1, 0, 30.0), (30.9, 0, 30.0), (31.1, 0, 32.0), (32.2, 0, 32.0), (33.9, 1, 33.8),
        (31.7, 1, 31.8),
    ):  # fmt: skip
        one = release(11.0, from_s)
        assert attempt._place_s(one, "right", turns) == pytest.approx(place_s)
    assert written(1)._place_s(release(11.0, 31.0), "right", 1) == pytest.approx(
        written(1).cue_s("right") + TURN_S
    )
    assert tried(1)._place_s(release(11.0, 31.0), "left", -1) == pytest.approx(30.0 - TURN_S)


def test_whether_a_record_is_let_go_at_all():
    """Where acts are written out only what they let go; else anything may be."""
    assert written(0).is_let_go("right")
    assert not written(1).is_let_go("right")
    assert tried(0).is_let_go("right")


def test_acts_that_are_written_out_are_told_by_their_time_and_not_by_turns():
    beside = [release(11.0, 30.0 + TURN_S), release(12.0, 30.0 + TURN_S)]
    assert written(1, *beside).turns_off("right") == 0


def held_to_its_lines(monkeypatch, found, *, from_beat=0.0, to_beat=8.0, start_s=10.2, at=None):
    """What becomes of what was heard of each written act of Written: (place, outcome)."""
    asked = []
    lines = held.acts_of(WRITTEN, 0, "right")

    def heard(acts, deck, when, **how):
        asked.append((len(acts), how["start_s"], how["end_s"]))
        return [
            SimpleNamespace(act=None if place is None else lines[place], outcome=outcome,
                            at_s=10.7, due_s=10.6, turn_ms=3.0, longer_percent=4.0)
            for place, outcome in found
        ]  # fmt: skip

    monkeypatch.setattr(held, "held_acts", heard)
    attempt = written(0)
    attempt = replace(attempt, visit=Visit(0, from_beat, to_beat, start_s, 14.0))
    one = held._Held(attempt, count(), {"left": None, "right": None})
    return list(one._written("right")), asked


def test_a_written_act_is_scored_by_what_it_is(monkeypatch):
    """The first release is the start; what is heard beside them is a stroke too many."""
    lines = held.acts_of(WRITTEN, 0, "right")
    last = next(k for k in range(len(lines) - 1, -1, -1) if lines[k].kind == "let go")
    told, ((_, start_s, end_s),) = held_to_its_lines(
        monkeypatch, [(0, "heard"), (last, "heard"), (None, "added")]
    )
    assert (start_s, end_s) == (10.0, 14.0)  # noticed a little late, it has its first acts too
    more = {"heard_s": 10.7, "due_s": 10.6, "turn_ms": 3.0, "longer_percent": 4.0}
    assert told == [
        act("start", "right", 0, open=lines[0].open, **more),
        act("release", "right", 2, open=lines[last].open, **more),
        replace(act("stroke", "right", 0, "added", heard_s=10.7), beat=pytest.approx(1.4)),
    ]


@pytest.mark.parametrize(
    ("from_beat", "to_beat", "outcome"),
    [
        # Missed at beat 2: not yet come to a quarter beat before, nor with half a beat after.
        (0.0, 8.0, "missed"), (0.0, 2.3, "missed"), (0.0, 2.2, "skipped"), (2.4, 8.0, "missed"),
        (2.6, 8.0, "skipped"), (0.0, 7.1, "missed"),
    ],
)  # fmt: skip
def test_a_written_act_beyond_what_was_played_is_skipped(monkeypatch, from_beat, to_beat, outcome):
    lines = held.acts_of(WRITTEN, 0, "right")
    last = next(k for k in range(len(lines) - 1, -1, -1) if lines[k].kind == "let go")
    told, ((_, start_s, _),) = held_to_its_lines(
        monkeypatch, [(last, "missed")], from_beat=from_beat, to_beat=to_beat
    )
    assert [one.outcome for one in told] == [outcome]
    assert start_s == (10.0 if from_beat <= 0.5 else 10.2)


def asked_of(monkeypatch, name, answer=lambda: None):
    """What a function of the counting is asked, by name, noted."""
    asked = []
    monkeypatch.setattr(counting, name, lambda *_, **how: asked.append(how) or answer())
    return asked


def test_a_record_is_asked_for_its_beats_from_where_it_was_started(monkeypatch):
    """Started at 10.2 s, a turn of 1.8 s beyond 2.0, .03 s later it is at speed; half a beat about
    a visit from 10 to 14 s where that was not heard."""
    asked = asked_of(monkeypatch, "beats_of_record")
    how = {"by": "left", "beat_s": 0.5, "beats": 8.0, "end_s": 14.25}
    for start, at_s, start_s in ((Start(10.2, 1), 3.8, 10.23), (None, 2.0, 9.75)):
        asked.clear()
        assert counting._by_record(tried(0), {"left": start, "right": None}) is None
        assert asked == [how | {"at_s": pytest.approx(at_s), "start_s": pytest.approx(start_s)}]


def test_the_record_that_carries_the_count_is_asked_first(monkeypatch):
    both = read_routine(b"""
title: Stalls
pieces:
  - {name: Both, bars: 2, tempo: 120, count: right, left: {hand: runs, at: 2.0},
     right: {hand: runs, at: 30.0}}
""")
    one, starts = replace(tried(0), routine=both), {"left": None, "right": None}
    asked = asked_of(monkeypatch, "beats_of_record")
    assert counting._by_record(one, starts) is None
    assert [(how["by"], how["at_s"]) for how in asked] == [("right", 30.0), ("left", 2.0)]
    asked = asked_of(monkeypatch, "beats_of_record", lambda: count(by="right"))
    assert counting._by_record(one, starts).by == "right"
    assert len(asked) == 1
    # Where a record tells, the hands are not asked.
    asked = asked_of(monkeypatch, "counted_by_hands")
    assert counting.counted(one, starts).by == "right"
    assert asked == []
    assert counting.counted(tried(1), starts) is None
    assert len(asked) == 1


@pytest.mark.parametrize(
    ("due", "told"),
    [
        # The first release of the visit, at 9.6 s, lies on its nearest beat, so beat 0 at 10.1 s.
        (None, {"by": None, "start_s": None, "about_s": pytest.approx(10.1), "speed": 1.0}),
        (Due(9.9, "click", 0.9), {"by": "click", "start_s": 9.9, "about_s": 9.9, "speed": 0.9}),
    ],
)
def test_hands_are_asked_with_what_was_let_go_from_a_beat_before_on(monkeypatch, due, told):
    """Left let go at 9.4, 9.6 and 14.1 s: from 9.5 to 14 s counts. It tells its speed where it
    ran for more than a quarter second."""
    asked = asked_of(monkeypatch, "beats_of_hands")
    inside = [release(9.6, 30.0, lasts_s=0.4), release(12.0, 30.0, lasts_s=0.25)]
    found = [release(9.4, 30.0), *inside, release(14.1, 30.0)]
    monkeypatch.setattr(Attempt, "let_go", lambda self, side: found if side == "left" else [])
    assert counting.counted_by_hands(tried(1, due=due)) is None
    first = {"beat_s": 0.5, "beats": 8, "lines": [inside[0].line]} | told
    assert asked == [first | {"acts": acts} for acts in ([(0.0, told["about_s"])], [], [])]


def test_what_hands_meant_keeps_what_is_no_release():
    one = tried(1)
    kept = tuple(act for act in one.plan if act.kind not in ("start", "release"))
    assert kept
    assert counting.own_turns(one, count()) == kept


def test_four_turns_are_enough_to_tell_one_left_out():
    turns = [(0.0, "left"), (1.0, "right"), (2.0, "left"), (4.0, "left")]
    assert counting._alternating(turns) == [*turns[:3], (3.0, "right"), turns[3]]
    assert counting._alternating(turns[1:]) == turns[1:]


def test_each_visit_is_held_against_its_own_acts_and_where_the_one_before_ended(monkeypatch):
    """The first answers to the count-in, the next to the one before it; winds by their place."""
    plan = [SimpleNamespace(piece=piece) for piece in (0, 1, 1)]
    seen, stops = [], []

    def tell(attempt):
        seen.append((attempt.visit.piece, attempt.plan, attempt.due))
        return Played(attempt.visit, (), None)

    monkeypatch.setattr(held, "deck_acts", lambda *_: {})
    monkeypatch.setattr(held, "planned_events", lambda _, **how: stops.append(how) or plan)
    monkeypatch.setattr(held, "_played", tell)
    monkeypatch.setattr(held, "_due", lambda _, before, visit: (before.visit.piece, visit.piece))
    monkeypatch.setattr(held, "winds_of", lambda *_: {2: ("wound",)})
    gone = [Visit(piece, 0.0, 8.0, 0.0, 4.0) for piece in (0, 1, 1)]
    found = held.assess(ROUTINE, {}, gone, counted_in_s=9.0, tempo_part=0.9)
    assert seen == [
        (0, tuple(plan[:1]), Due(9.0, "click", 0.9)), (1, tuple(plan[1:]), (0, 1)),
        (1, tuple(plan[1:]), (1, 1)),
    ]  # fmt: skip
    assert [one.winds for one in found] == [(), (), ("wound",)]
    held.assess(ROUTINE, {}, gone[:1], stops=False)
    assert (seen[-1][2], stops) == (None, [{"stops": True}, {"stops": False}])


def test_acts_have_the_openings_of_their_own_decks_cuts(monkeypatch):
    cut = CutScore(opens=True, beat=1.0, at_s=10.51, off_ms=10.0)
    fader = FaderScore(side="right", heard=True, cuts=(cut,))
    asked = []
    monkeypatch.setattr(held, "hand_cuts", lambda *how: asked.append(how) or (fader,))
    acts = tuple(replace(act("stroke", side, 1), open=((1.0, 2.0),)) for side in ("left", "right"))
    visit = Visit(0, 0.0, 8.0, 10.0, 14.0)
    uncounted = Played(visit, acts, None)
    assert held._with_cuts(uncounted, ROUTINE, ()) is uncounted
    assert asked == []
    told = held._with_cuts(Played(visit, acts, count()), ROUTINE, ("told",))
    assert (told.faders, told.acts[0]) == ((fader,), acts[0])
    (opening,) = told.acts[1].openings
    assert (opening.from_beat, opening.opens_ms, opening.closes_ms) == (1.0, 10.0, None)
    assert asked[0][3] == ("told",)


def test_a_record_started_turns_beside_its_place_moves_its_visit(monkeypatch):
    monkeypatch.setattr(held, "counted", lambda *_: None)
    for found, start_s in (
        ([release(10.3, 2.0 + TURN_S)], 10.3),
        ([release(10.3, 2.0)], 10.0),
        ([], 10.0),
    ):
        played_ = held._played(tried(0, left=found))
        assert (played_.visit.start_s, played_.count) == (start_s, None)
        assert {one.outcome for one in played_.acts} == {"missed"}


def test_where_a_juggle_is_not_written_the_hands_own_turns_are_its_plan(monkeypatch):
    asked = []
    gone = Planned(kind="release", side="left", piece=0, beat=5.0)
    monkeypatch.setattr(held, "counted", lambda *_: count())
    monkeypatch.setattr(held, "own_turns", lambda *_: asked.append("turns") or (gone,))
    monkeypatch.setattr(held, "bar_left_out", lambda *_: asked.append("bar"))
    loose = read_routine(
        MAP.replace("name: Free", "name: Free\n    technique: beat juggle").encode()
    )
    for one, told in (
        (tried(0), "bar"),
        (tried(1), "bar"),
        (replace(tried(2), routine=loose), "turns"),
    ):
        asked.clear()
        acts = held._played(one).acts
        assert asked == [told]
    assert [(each.beat, each.outcome) for each in acts] == [(5.0, "missed")]
    short = SimpleNamespace(attempt=replace(tried(1), plan=()), count=count(9.0), gone=(gone,))
    monkeypatch.setattr(held, "bar_left_out", lambda *_: short)
    found = held._played(tried(1))
    assert [(each.beat, each.outcome) for each in found.acts] == [(5.0, "missed")]
    assert found.count is short.count


def test_turns_are_named_at_the_first_act_that_was_heard():
    attempt = SimpleNamespace(turns_off={"left": 0, "right": 2}.get)
    acts = [act("release", "right", 0, "missed"), act("release", "left", 1),
            act("release", "right", 2), act("release", "right", 3)]  # fmt: skip
    assert [one.turns_off for one in held._turned(acts, attempt)] == [0, 0, 2, 0]


def test_a_strokes_way_in_turns():
    """.9 s back of 1.8 s a turn is half of one; what is no stroke has none."""
    one = held._Held(tried(0), count(), {"left": None, "right": None})
    pull = SimpleNamespace(kind="pull", way_s=-0.9)
    assert one._turns(pull) == pytest.approx(0.5, rel=1e-6)
    assert one._turns(SimpleNamespace(kind="let go", way_s=0.9)) is None


def test_pushes_are_heard_where_strokes_are_asked_for_and_no_juggle(monkeypatch):
    monkeypatch.setattr(Attempt, "pushed_s", lambda self, side: [1.0])
    none = {"left": None, "right": None}
    assert held._Held(tried(0), count(), none)._pushed_s("right") == [1.0]
    assert held._Held(tried(1), count(), none)._pushed_s("right") == []
    mine = tuple(one for one in tried(0).plan if one.side == "left")
    assert held._Held(replace(tried(0), plan=mine), count(), none)._pushed_s("right") == []


def test_a_group_of_acts_beside_the_times_heard_for_them():
    """A start may be a beat off, a release half a one; what nobody asked for is one too many."""
    none = {"left": None, "right": None}

    def group(times, *planned, added=True, **visit):
        plan = tuple(Planned(kind=kind, side="left", piece=1, beat=beat) for kind, beat in planned)
        one = held._Held(replace(tried(1, **visit), plan=plan), count(), none)
        found = one._group("left", ("start", "release"), times, added=added)
        return [(each.kind, each.beat, each.outcome) for each in found]

    assert group([11.0]) == [("release", 2.0, "added")]
    assert group([11.0], added=False) == group([]) == []
    for kind, off_s, heard in (
        ("release", 0.24, True),
        ("release", 0.26, False),
        ("start", 0.4, True),
    ):
        assert ((kind, 2.0, "heard") in group([11.0 + off_s], (kind, 2.0))) is heard
    # From half a beat before the visit on; what it had not come to when it was left is skipped.
    early = group([], ("release", 2.0), ("release", 1.9), from_beat=2.5)
    assert early == [("release", 2.0, "missed")]
    left = group([], ("release", 6.0), ("release", 6.1), to_beat=6.25)
    assert left == [("release", 6.0, "missed"), ("release", 6.1, "skipped")]
    assert group([], ("release", 7.5), to_beat=7.5) == [("release", 7.5, "missed")]


@pytest.mark.parametrize(("turns", "pushed"), [(0, [10.5, 11.5]), (1, [12.5]), (-1, [])])
def test_pushes_count_within_their_span_or_whole_turns_beside_it(monkeypatch, turns, pushed):
    """From 40 to 41 s and .3 s more either way: from 39.7 on, and up to 41.3; a turn is 1.8 s. They
    begin from a quarter of a beat before the visit to .02 s before its end."""
    asked = []
    pushes = [(10.5, 39.75, 0.5), (11.0, 39.65, 0.5), (11.5, 41.2, 0.09), (12.0, 41.2, 0.11),
              (12.5, 41.6, 0.4)]  # fmt: skip
    monkeypatch.setattr(
        attempts,
        "strokes",
        lambda _, **span: asked.append(span) or [Stroke(*one) for one in pushes],
    )
    assert tried(0)._pushed("right", turns) == pushed
    assert asked == [{"start_s": 9.875, "end_s": 13.98}]
    assert tried(0)._pushed("left", turns) == []


def test_of_several_starts_the_one_nearest_in_time_is_taken():
    """10.3 s is nearer the visit's start at 10 than 9.5 s; just a beat and a half off is one."""
    assert tried(0, left=[release(9.5, 2.0), release(10.3, 2.0)]).start("left") == Start(10.3)
    assert tried(0, left=[release(10.75, 2.0)]).start("left") == Start(10.75)
    assert tried(0, left=[release(10.5, 2.0), release(9.8, 2.0)]).start("left") == Start(9.8)


def test_only_its_own_acts_tell_how_many_a_record_was_asked_for():
    """Of the other deck's four none count: two beside the cue of one that is asked for none."""
    found = [release(13.0, 30.0 + TURN_S), release(12.0, 30.0 + TURN_S)]
    mine = tried(1, left=found)
    other = tuple(one for one in mine.plan if one.side == "right")
    assert (mine.turns_off("left"), replace(mine, plan=other).turns_off("left")) == (1, 0)
