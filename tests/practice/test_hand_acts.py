"""Round trip: written acts, played by the simulator with errors it knows, scored from what it sent.

The simulator's own account of when each act was begun is what the scores are held against; it
shares no code with what finds them.
"""

# ruff: noqa: E501
from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from liveaid.practice import hand_acts
from liveaid.practice.attempt import DeckActs, deck_acts
from liveaid.practice.fader_cuts import FaderMove, cut_scores, fader_moves
from liveaid.practice.hand_acts import HandScore, held_acts
from liveaid.practice.hear import Release, releases, takes_of_hand
from liveaid.practice.motion import SpeedLine, motion
from liveaid.practice.strokes_heard import StrokeHeard, strokes_heard
from liveaid.practice.trace import DeckTrace, trace_of
from liveaid.routine import Routine
from liveaid.routine.acts import Act, acts_of
from liveaid.simulate import Hands, Network, Performance, perform

PLACES = {
    "yes": {"from": 10.0, "to": 10.3},
    "no": {"from": 10.6, "to": 10.85},
    "hey": {"from": 11.1, "to": 11.4},
}
ACTS = {
    "bar 1": "baby yes", "bar 1 beat 3": "chirp yes", "bar 2 beat 1": "forward no",
    "bar 2 beat 3": "tear no", "bar 3 beat 1": "transform hey for 2", "bar 4 beat 1": "drag yes",
    "bar 5 beat 1": "stab no x2", "bar 5 beat 3": "flare no", "bar 6 beat 1": "baby yes x2",
    "bar 7 beat 1": "let go hey for 1/2", "bar 7 beat 3": "forward yes", "bar 8 beat 1": "baby no x3",
}  # fmt: skip
HANDS = Hands(stroke_error_s=0.015, timing_error_s=0.015, cue_error_s=0.003, reach_error_s=0.004)


def scratch() -> Routine:
    right = {"hand": "works", "from": 10.0, "to": 11.4, "acts": ACTS, "places": PLACES}
    piece = {
        "name": "P", "bars": 8, "tempo": 92, "count": "left", "right": right,
        "left": {"hand": "runs", "at": 2.0},
    }  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": [piece]})


def juggle() -> Routine:
    lines = {
        0: "left 0 to 2",
        2: "right 0 to 2",
        4: "left 1 to 2",
        5: "right 0 to 1",
        6: "left 0 to 2",
    }
    lines |= {
        8: "right 0 to 2",
        10: "left 0 to 2",
        12: "right 1 to 2",
        13: "left 0 to 1",
        14: "right 0 to 2",
    }
    sides = {
        s: {"hand": "works", "from": at, "to": at + 4.0}
        for s, at in (("left", 10.0), ("right", 20.0))
    }
    piece = {"name": "J", "bars": 4, "tempo": 92, "juggle": lines, **sides}
    return Routine.model_validate({"title": "T", "pieces": [piece]})


def deck_of(performance: Performance, side: str) -> DeckActs:
    messages = [(m.now_s, m.side, m.position_s) for m in performance.messages]
    return deck_acts(trace_of(messages), performance.routine)[side]


def scores_of(performance: Performance, side: str = "right") -> list[HandScore]:
    """Held against the beats as the simulator's own count has them."""
    leg = next(leg for leg in performance.truth.legs if leg.piece is not None)
    acts = acts_of(performance.routine, 0, side)
    return held_acts(
        acts, deck_of(performance, side), leg.count.when, start_s=leg.start_s, end_s=leg.end_s
    )


@pytest.fixture(scope="module")
def scratches() -> list[Performance]:
    return [perform(scratch(), seed=seed, hands=HANDS) for seed in range(3)]


def begun(performance: Performance, side: str) -> dict[tuple[str, float], float | None]:
    """What the simulator says of each written act: when it began, None where it was left out."""
    words = {"stroke": "push", "pull": "pull", "release": "let go", "return": "catch"}
    return {
        (words[event.kind], round(event.beat, 4)): event.actual_s
        for event in performance.events
        if event.side == side and event.kind in words and event.planned_s is not None
    }


def test_every_written_act_is_found_within_5_ms(scratches):
    off = []
    for performance in scratches:
        told = begun(performance, "right")
        scores = scores_of(performance)
        assert {one.outcome for one in scores} == {"heard"}
        assert len(scores) == len(told)
        off += [one.at_s - told[one.act.kind, round(one.act.beat, 4)] for one in scores]
    off = np.array(off) - np.median(off)  # the network's own delay
    assert np.percentile(np.abs(off), 95) < 0.005


def test_turns_and_ways_are_told(scratches):
    """A stroke's turn is where the next one begins; ways are held against the record's true place."""
    performance = scratches[0]
    told = begun(performance, "right")
    scores = scores_of(performance)
    for one, after in pairwise(scores):
        if (
            one.act.kind == "push"
            and after.act.beat - one.act.end_beat < 1e-6
            and one.turn_ms is not None
        ):
            turned = one.turn_ms / 1000 + after.due_s
            assert turned == pytest.approx(told["pull", round(after.act.beat, 4)], abs=0.012)
    ways = [
        one.longer_percent / 100 * abs(one.act.way_s)
        for one in scores
        if one.longer_percent is not None
    ]
    assert np.abs(ways).max() < 0.03


def test_missed_and_added_acts_are_all_found():
    hands = replace(HANDS, miss_rate=0.2, added_rate=0.3)
    missed = added = 0
    for seed in range(5):
        performance = perform(scratch(), seed=seed, hands=hands)
        told = begun(performance, "right")
        scores = scores_of(performance)
        gone = {key for key, at in told.items() if at is None and key[0] in ("push", "let go")}
        found = {
            (one.act.kind, round(one.act.beat, 4))
            for one in scores
            if one.outcome == "missed" and one.act.kind in ("push", "let go")
        }
        assert found == gone, seed
        extra = [e.actual_s for e in performance.events if e.planned_s is None]
        heard = [one.at_s for one in scores if one.outcome == "added"]
        assert len(heard) == len(extra), seed
        assert heard == pytest.approx(extra, abs=0.01)
        missed, added = missed + len(gone), added + len(extra)
    assert missed >= 5
    assert added >= 3


def test_a_juggles_releases_and_returns_are_found_within_5_ms():
    performance = perform(juggle(), seed=4, hands=HANDS)
    off = []
    for side in ("left", "right"):
        told = begun(performance, side)
        for one in scores_of(performance, side):
            assert one.outcome == "heard", one
            off.append(one.at_s - told[one.act.kind, round(one.act.beat, 4)])
    off = np.array(off) - np.median(off)
    assert np.percentile(np.abs(off), 95) < 0.005


def test_errors_of_the_simulator_follow_one_another():
    """First-order correlation 0.5 as asked for, against 0 when asked for none."""

    def lag_one(correlation: float) -> float:
        pairs = []
        for seed in range(12):
            hands = replace(HANDS, correlation=correlation)
            events = perform(scratch(), seed=seed, hands=hands, network=Network(rate_hz=20)).events
            late = [e.error_s for e in events if e.side == "right" and e.kind in ("stroke", "pull")]
            pairs += list(pairwise(late))
        first, second = np.array(pairs).T
        return float(np.corrcoef(first, second)[0, 1])

    assert lag_one(0.5) == pytest.approx(0.5, abs=0.15)
    assert abs(lag_one(0.0)) < 0.15


# --- the fader -----------------------------------------------------------------------------------


def cuts_of(performance: Performance, late_s: float = 0.0, messages=None):
    leg = next(leg for leg in performance.truth.legs if leg.piece is not None)
    sent = messages or [(m.now_s, m.value) for m in performance.mixer if m.control == "crossfader"]
    moves = fader_moves([(at + late_s, place) for at, place in sent])
    return cut_scores(acts_of(performance.routine, 0, "right"), "right", moves, leg.count.when)


@pytest.fixture(scope="module")
def exact() -> Performance:
    return perform(scratch(), seed=1, hands=replace(HANDS, fader_error_s=0.0))


def test_cuts_are_found_within_5_ms(exact):
    for late_s in (0.0, 0.018, -0.012):
        scores = cuts_of(exact, late_s)
        assert all(one.at_s is not None and one.beat is not None for one in scores)
        bound = [
            one.off_ms / 1000 for one in scores if one.off_ms
        ]  # 0: within a standing record's room
        assert len(scores) > 30
        assert len(bound) > 10 or late_s == 0.0
        assert np.abs(np.array(bound) - late_s).max(initial=0.0) < 0.005


def test_a_cut_left_out_and_one_too_many_are_told(exact):
    sent = [(m.now_s, m.value) for m in exact.mixer if m.control == "crossfader"]
    leg = next(leg for leg in exact.truth.legs if leg.piece is not None)
    # The transform's second tap left out: from just before it opens to just after it shuts.
    opens, shuts = (leg.count.when(8.0 + share) for share in (0.5, 0.75))
    without = [m for m in sent if not opens - 0.03 < m[0] < shuts + 0.03]
    missed = [one for one in cuts_of(exact, messages=without) if one.at_s is None]
    assert [(one.opens, one.beat) for one in missed] == [(True, 8.5), (False, 8.75)]
    # The fader shut and opened again in the middle of the drag.
    middle = leg.count.when(12.5)
    more = sorted(
        [
            *sent,
            *((middle + 0.002 * n, 0.5 - 0.1 * n) for n in range(6)),
            *((middle + 0.1 + 0.002 * n, 0.1 * n) for n in range(6)),
        ]
    )
    added = [one for one in cuts_of(exact, messages=more) if one.beat is None]
    assert [one.opens for one in added] == [False, True]
    assert added[0].at_s == pytest.approx(middle + 0.005, abs=0.004)


def test_a_fader_that_trembles_makes_no_cut():
    assert fader_moves([(0.0, 0.5), (0.1, 0.52), (0.2, 0.49), (0.21, 0.5)]) == []
    assert fader_moves([]) == []
    (move,) = fader_moves([(0.0, 0.0), (1.0, 0.25), (1.01, 0.5), (1.02, 1.0)])
    assert move == FaderMove(pytest.approx(1.01), 0.0, 1.0)


# --- strokes read off a curve worked out here ----------------------------------------------------


def test_strokes_both_ways_are_read_off_a_curve():
    """Out over 0.3 s in 0.4 s from 1.0 s on, back at once in 0.5 s: x(u) = 3 u^2 - 2 u^3."""
    t = np.arange(0.0, 3.0, 0.005)

    def rise(at, lasts):
        u = np.clip((t - at) / lasts, 0.0, 1.0)
        return 3 * u**2 - 2 * u**3

    x = 5.0 + 0.3 * rise(1.0, 0.4) - 0.3 * rise(1.4, 0.5)
    made = motion(DeckTrace(t, x))
    deck = DeckActs(releases(made), takes_of_hand(made), made)
    out, back = strokes_heard(deck.motion, start_s=0.0, end_s=3.0)
    assert (out.forward, back.forward) == (True, False)
    assert (out.at_s, back.at_s) == (pytest.approx(1.0, abs=0.003), pytest.approx(1.4, abs=0.003))
    assert (out.ends_s, back.ends_s) == (
        pytest.approx(1.4, abs=0.003),
        pytest.approx(1.9, abs=0.003),
    )
    assert (out.from_s, out.to_s) == (pytest.approx(5.0, abs=0.002), pytest.approx(5.3, abs=0.002))


def test_a_stroke_left_out_counts_once():
    """A record that never moved: every push and release is missed, and the pull back that would
    have followed goes with it; but the second half of a tear is a move of its own."""
    routine = scratch()
    still = deck_acts(trace_of([(k / 100, "right", 10.0) for k in range(2500)]), routine)["right"]
    scores = held_acts(
        acts_of(routine, 0, "right"), still, lambda beat: beat * 60 / 92, start_s=0.0, end_s=25.0
    )
    told = {(one.act.kind, one.outcome) for one in scores if one.act and one.act.beat != 6.75}
    assert told == {("push", "missed"), ("pull", "skipped"), ("let go", "missed")}
    assert [one.outcome for one in scores if one.act and one.act.beat == 6.75] == ["missed"]


# --- written acts beside movements made by hand ---------------------------------------------------


def written_act(kind, beat, from_s, to_s, *, beats=1.0, written=True):
    return Act(kind=kind, side="right", piece=0, beat=beat, beats=beats, from_s=from_s, to_s=to_s,
               written=written)  # fmt: skip


def moved(at_s, from_s, to_s, ends_s=None):
    return StrokeHeard(to_s > from_s, at_s, ends_s, from_s, to_s)


def beside(monkeypatch, acts, *moves, releases=(), taken=(), start_s=10.0, end_s=14.0, brought=()):
    """(kind, outcome, when, due, how late it turned, how much longer) of each act; a beat is .5 s."""
    asked = []
    monkeypatch.setattr(
        hand_acts, "strokes_heard", lambda _, **span: asked.append(span) or list(moves)
    )
    deck = DeckActs(list(releases), list(taken), None)
    found = held_acts(acts, deck, lambda beat: 10.0 + 0.5 * beat, start_s=start_s, end_s=end_s,
                      brought=brought)  # fmt: skip
    assert asked == [{"start_s": start_s - 0.125, "end_s": end_s}]
    return [
        (one.act and one.act.kind, one.outcome, *(x if x is None else round(x, 3) for x in (
            one.at_s, one.due_s, one.turn_ms, one.longer_percent)))
        for one in found
    ]  # fmt: skip


PUSH, PULL = written_act("push", 0.0, 1.0, 1.3), written_act("pull", 1.0, 1.3, 1.0)


def test_a_stroke_has_its_begin_its_turn_and_its_way(monkeypatch):
    """Pushed 20 ms late, turned 30 late, .33 s instead of .3; pulled 10 early, .24 s, its end not
    heard. .175 s about its beat, 35 hundredths of a beat, a movement is that stroke."""
    heard = beside(
        monkeypatch, [PUSH, PULL], moved(10.02, 1.0, 1.33, 10.53), moved(10.49, 1.33, 1.09)
    )
    assert heard == [
        ("push", "heard", 10.02, 10.0, 30.0, 10.0), ("pull", "heard", 10.49, 10.5, None, -20.0),
    ]  # fmt: skip
    for at_s, outcome in (
        (10.174, "heard"),
        (10.176, "missed"),
        (9.826, "heard"),
        (9.824, "missed"),
    ):
        told = beside(monkeypatch, [PUSH], moved(at_s, 1.0, 1.3))
        assert [each[1] for each in told if each[0]] == [outcome], at_s


def test_a_pull_after_a_push_that_was_left_out_goes_with_it(monkeypatch):
    """Where it begins as the push ends, to a fiftieth of a beat; a push of its own is missed."""
    assert [each[:2] for each in beside(monkeypatch, [PUSH, PULL])] == [
        ("push", "missed"), ("pull", "skipped"),
    ]  # fmt: skip
    for beat, outcome in (
        (1.019, "skipped"),
        (1.021, "missed"),
        (0.981, "skipped"),
        (2.0, "missed"),
    ):
        late = written_act("pull", beat, 1.3, 1.0)
        assert [each[1] for each in beside(monkeypatch, [PUSH, late])] == ["missed", outcome]
    again = written_act("push", 1.0, 1.3, 1.6)
    assert [each[1] for each in beside(monkeypatch, [PUSH, again])] == ["missed", "missed"]
    catch = written_act("catch", 1.0, 1.3, 1.3, beats=0.0)
    go = written_act("let go", 0.0, 1.0, 1.3)
    assert [each[:2] for each in beside(monkeypatch, [go, catch])] == [
        ("let go", "missed"), ("catch", "skipped"),
    ]  # fmt: skip


def test_a_push_nobody_asked_for_is_one_too_many_from_a_third_of_the_usual_way(monkeypatch):
    """Pushes of .2, .3 and .4 s: from .105 s on. A pull too many is its push's way back."""
    pushes = [written_act("push", beat, 1.0, to_s) for beat, to_s in ((0, 1.2), (2, 1.3), (4, 1.4))]
    done = [moved(10.0 + 0.5 * act.beat, 1.0, act.to_s) for act in pushes]
    for extra, told in (
        (moved(11.5, 1.0, 1.106), True), (moved(11.5, 1.0, 1.104), False),
        (moved(11.5, 1.4, 1.0), False),
    ):  # fmt: skip
        heard = beside(monkeypatch, pushes, *done, extra)
        assert [each for each in heard if each[0] is None] == (
            [(None, "added", 11.5, None, None, None)] if told else []
        )
    # Where no stroke is asked for nothing tells how far one goes.
    hold = written_act("hold", 0.0, 1.0, 1.0)
    assert beside(monkeypatch, [hold], moved(11.5, 1.0, 1.9)) == []


def test_a_record_on_its_way_is_pushed_as_often_as_the_hand_likes(monkeypatch):
    """Wound from beat 2 to 4, 11 to 12 s, for the map alone: it is matched and not scored. A push
    that ends at 11 s or later and begins before 12 is of it."""
    wind = written_act("wind", 2.0, 1.3, 2.9, beats=2.0, written=False)
    for at_s, ends_s, told in (
        (11.5, 11.6, False), (10.8, 11.0, False), (10.8, 10.99, True), (11.99, 12.4, False),
        (12.0, 12.4, True), (10.8, None, True), (11.0, None, False),
    ):  # fmt: skip
        acts, done = [PUSH, wind], (moved(10.0, 1.0, 1.3), moved(11.1, 1.3, 2.9))
        heard = beside(monkeypatch, acts, *done, moved(at_s, 1.0, 1.3, ends_s))
        assert [each[0] for each in heard] == ["push"] + [None] * told, (at_s, ends_s)
    push_on = moved(13.5, 1.0, 1.3)
    assert len(beside(monkeypatch, [PUSH], moved(10.0, 1.0, 1.3), push_on)) == 2
    assert (
        len(beside(monkeypatch, [PUSH], moved(10.0, 1.0, 1.3), push_on, brought=[(13.4, 14.0)]))
        == 1
    )


def test_a_record_let_go_is_heard_by_its_line_at_its_own_place(monkeypatch):
    """Of releases within .3 s of record and of time the one nearest the movement; else the
    movement's own begin."""
    go = written_act("let go", 4.0, 5.0, 5.5)

    def release(line_s, from_s, start_s):
        return Release(SpeedLine(line_s, 5.0, 1.0), from_s, start_s, start_s + 0.5)

    for found, at_s in (
        ([release(12.03, 5.0, 12.0)], 12.03), ([release(12.03, 5.31, 12.0)], 12.01),
        ([release(12.03, 4.7, 12.0)], 12.03), ([release(12.03, 5.0, 12.32)], 12.01),
        ([release(12.03, 5.0, 11.72)], 12.03), ([], 12.01),
        ([release(11.9, 5.0, 12.0), release(12.05, 5.0, 12.0)], 12.05),
    ):  # fmt: skip
        heard = beside(monkeypatch, [go], moved(12.01, 5.0, 5.5, 12.5), releases=found)
        assert heard == [("let go", "heard", at_s, 12.0, None, None)]


def test_a_record_is_caught_within_half_a_beat_and_about_the_visit(monkeypatch):
    """On beat 2, 11 s, between 10.75 and 11.25 s; a visit from 11.2 to 11.3 hears what a hand took
    from half a beat before to a beat and a half after it. One the map adds is not asked for."""
    catch = written_act("catch", 2.0, 1.3, 1.3, beats=0.0)
    for taken_s, outcome in (
        (11.04, "heard"),
        (11.24, "heard"),
        (11.26, "missed"),
        (10.76, "heard"),
    ):
        ((*told,),) = beside(monkeypatch, [catch], taken=[taken_s])
        assert told[:2] == ["catch", outcome]
        assert told[3] == 11.0
    for visit, taken_s, outcome in (
        ((11.2, 11.3), 10.96, "heard"), ((11.2, 11.3), 10.94, "missed"),
        ((9.0, 10.4), 11.14, "heard"), ((9.0, 10.4), 11.16, "missed"),
    ):  # fmt: skip
        told = beside(monkeypatch, [catch], taken=[taken_s], start_s=visit[0], end_s=visit[1])
        assert [each[1] for each in told] == [outcome], (visit, taken_s)
    own = written_act("catch", 2.0, 1.3, 1.3, beats=0.0, written=False)
    assert beside(monkeypatch, [own], taken=[11.0]) == []
