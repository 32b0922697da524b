"""A performance against its own section map: places, continuity, one seed one performance."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.routine import SIDES, Routine
from liveaid.simulate import (
    FAULT_KINDS,
    STEADY,
    Fault,
    FaultError,
    Hands,
    Network,
    NotPlacedError,
    perform,
)  # fmt: skip
from liveaid.simulate.course import lay_course
from liveaid.simulate.performance import truth_record
from liveaid.simulate.steps import Step
from liveaid.simulate.turntable import MOTOR_START_S, MOTOR_STOP_S

FASTEST_TURNS_PER_S = 6.0 * 1.5
"""A hand winds at up to 6 turns a second on the whole, half as fast again in its best moments."""


def _same(a, b):
    columns = ("now_s", "sent_s", "side", "position_s", "speed")
    return (
        all(np.array_equal(getattr(a.messages, c), getattr(b.messages, c)) for c in columns)
        and a.events == b.events
        and a.mixer == b.mixer
        and a.faults == b.faults
        and np.array_equal(a.truth.beat, b.truth.beat, equal_nan=True)
    )


def test_one_seed_is_one_performance(routine):
    faults = [Fault(kind="skip"), Fault(kind="drop-out")]
    assert _same(perform(routine, seed=5, faults=faults), perform(routine, seed=5, faults=faults))
    assert not _same(perform(routine, seed=5), perform(routine, seed=6))


def test_routine_that_is_not_placed_is_refused_with_what_would_do():
    routine = Routine.model_validate(
        {
            "title": "Idea",
            "pieces": [{"name": "a", "bars": 1, "tempo": 90, "left": {"hand": "runs"}}],
        }
    )
    with pytest.raises(NotPlacedError, match="liveaid render"):
        perform(routine, seed=1)


def test_every_set_piece_is_played_in_order_for_its_length(routine):
    """At pitch 0 and without error a routine lasts what its bars, metre and tempi say."""
    truth = perform(routine, seed=1, hands=STEADY).truth
    start = 1.0
    for index, piece in enumerate(routine.pieces):
        lasts = piece.bars * routine.metre * 60.0 / piece.tempo_bpm
        # The maps write seconds to a tenth of a millisecond.
        assert truth.at(start + 1e-3) == (index, pytest.approx(0.0, abs=5e-3))
        middle = (index, pytest.approx(piece.bars * routine.metre / 2, abs=1e-3))
        assert truth.at(start + lasts / 2) == middle
        start += lasts
    assert truth.at(start + 1e-3) is None
    assert truth.at(0.5) is None


def _running(routine, index):
    count = routine.pieces[index].count
    return None if count == "clock" else count


@pytest.mark.parametrize("seed", range(4))
def test_beat_is_the_counting_records_own(routine, seed):
    """position = at + beats * 60 / tempo, exact once the record is at speed, 40 ms at most off
    where it is caught and where the hand takes it away."""
    truth = perform(routine, seed=seed).truth
    for index, piece in enumerate(routine.pieces):
        side = _running(routine, index)
        if side is None:
            continue
        here = truth.piece == index
        position = truth.left_s if side == "left" else truth.right_s
        should = piece.plan(side).at_s + truth.beat[here] * 60.0 / piece.tempo_bpm
        off = np.abs(position[here] - should)
        inside = (truth.beat[here] > 0.2) & (truth.beat[here] < routine.beats(index) - 0.2)
        assert off[inside].max() < 1e-6
        assert off.max() < 0.15


def test_arrays_and_single_questions_agree(routine):
    truth = perform(routine, seed=2).truth
    for i in range(0, len(truth.times_s), 997):
        place = truth.at(truth.times_s[i])
        if place is None:
            assert truth.piece[i] == -1
            assert np.isnan(truth.beat[i])
        else:
            assert place == (truth.piece[i], truth.beat[i])


def _check_motion(performance, routine):
    """Between the times at which the needle jumped no record is faster than a hand can make it."""
    bound = FASTEST_TURNS_PER_S * routine.turntable.turn_s
    for side in SIDES:
        track = performance.truth.tracks[side]
        times = np.arange(0.0, performance.duration_s, 0.001)
        steps = np.abs(np.diff(track.position_s(times)))
        jumps = track.jumps_s()
        across = np.searchsorted(jumps, times[1:], side="right") != np.searchsorted(
            jumps, times[:-1], side="right"
        )
        assert steps[~across].max(initial=0.0) <= 0.001 * bound


@pytest.mark.parametrize("seed", range(3))
def test_records_move_as_hands_and_platters_move_them(routine, seed):
    performance = perform(routine, seed=seed)
    _check_motion(performance, routine)
    for side in SIDES:
        assert len(performance.truth.tracks[side].jumps_s()) <= len(routine.pieces)


def test_resting_record_stands_at_its_next_cue_in_time(four):
    """Half a second before each fresh start after a rest of three bars or more."""
    checked = 0
    for seed in range(5):
        truth = perform(four, seed=seed).truth
        for before, leg in zip(truth.legs, truth.legs[1:], strict=False):
            for side in leg.anew:
                if before.piece and before.plan(side).hand == "rests":
                    at = truth.position_s(side, np.array([leg.start_s - 0.1]))[0]
                    assert at == pytest.approx(leg.wants_s(side), abs=0.05)
                    checked += 1
    assert checked >= 5


def test_hands_wind_at_two_and_a_half_to_six_turns_a_second(load):
    """Measured over the quickest half second of each winding, the hand's waver included."""
    speeds = []
    for seed in range(20):
        performance = perform(load("three"), seed=seed)
        for side in SIDES:
            track = performance.truth.tracks[side]
            times = np.arange(0.0, performance.duration_s, 0.01)
            turns = track.position_s(times) / 1.8  # IEC 60098: 33 1/3 turns a minute
            jumps = np.searchsorted(track.jumps_s(), times)
            half = np.abs(turns[50:] - turns[:-50]) / 0.5
            half[jumps[50:] != jumps[:-50]] = 0.0
            best = half.max()
            if best > 2.0:
                speeds.append(best)
    assert len(speeds) > 10
    assert min(speeds) > 2.4
    assert max(speeds) < 6.0 * 1.2


def test_juggling_hands_take_turns_of_one_or_two_beats(load):
    routine = load("juggles")
    turns = set()
    for seed in range(8):
        releases = [
            event
            for event in perform(routine, seed=seed).events
            if event.kind in ("start", "release") and routine.pieces[event.piece].count == "clock"
        ]
        for a, b in itertools.pairwise(releases):
            if a.piece == b.piece:
                assert a.side != b.side
                turns.add(b.beat - a.beat)
    assert turns == {1.0, 2.0}


def _two(first, second, rest_bars=2):
    """Two plans on the left deck, a rest between; the right deck's record carries the count."""
    right = {"hand": "runs", "at": 0.0}
    pieces = [
        {"name": "a", "bars": 4, "tempo": 100, "count": "right", "left": first, "right": right}
    ]
    if rest_bars:
        on = {"hand": "runs", "at": 4 * 4 * 0.6}
        pieces.append({"name": "b", "bars": rest_bars, "tempo": 100, "count": "right", "right": on})
    on = {"hand": "runs", "at": (4 + rest_bars) * 4 * 0.6}
    pieces.append(
        {"name": "c", "bars": 4, "tempo": 100, "count": "right", "left": second, "right": on}
    )
    return Routine.model_validate({"title": "Two", "pieces": pieces})


@pytest.mark.parametrize("seed", range(6))
def test_record_no_longer_heard_runs_for_a_moment_and_is_held_before_it_is_wound(seed):
    """Starting from the end of its set piece: it goes on at speed, then stands, then is wound."""
    routine = _two({"hand": "runs", "at": 9.0}, {"hand": "runs", "at": 60.0}, rest_bars=8)
    performance = perform(routine, seed=seed)
    track = performance.truth.tracks["left"]
    leg = next(leg for leg in performance.truth.legs if leg.index == 1)
    speed = track.speed_at(np.arange(leg.start_s, leg.end_s, 0.001))
    runs_s = 0.001 * np.argmax(speed < 0.9)
    stands = np.flatnonzero(speed == 0.0)
    winds = np.argmax(speed > 2.5)
    assert 0.15 < runs_s < 1.3
    assert runs_s < 0.001 * stands[0] < 0.001 * winds
    assert np.count_nonzero(speed[:winds] == 0.0) > 100


@pytest.mark.parametrize("seed", range(6))
def test_cue_too_far_to_wind_to_is_called_up_before_its_beat(seed):
    far = {"hand": "works", "from": 500.0, "to": 501.0}
    busy = {"hand": "works", "from": 5.0, "to": 6.0, "strokes": list(range(16))}
    routine = _two(busy, far, rest_bars=0)
    performance = perform(routine, seed=seed)
    track = performance.truth.tracks["left"]
    start = performance.truth.legs[2].start_s
    (jump,) = track.jumps_s()
    assert start - 0.6 < jump < start - 0.1
    assert track.position_s(np.array([start - 0.05]))[0] == pytest.approx(500.0, abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_cue_too_far_to_wind_to_is_found_by_the_needle_when_there_is_time(seed):
    """The needle comes down within a turn of the cue, and the hand moves the record to it."""
    far = {"hand": "works", "from": 500.0, "to": 501.0}
    routine = _two({"hand": "works", "from": 5.0, "to": 6.0}, far, rest_bars=4)
    performance = perform(routine, seed=seed)
    track = performance.truth.tracks["left"]
    start = performance.truth.legs[3].start_s
    (jump,) = track.jumps_s()
    assert jump < start - 2.0
    assert abs(track.position_s(np.array([jump]))[0] - 500.0) < 1.8
    assert track.position_s(np.array([start - 0.05]))[0] == pytest.approx(500.0, abs=0.05)


def test_slow_performer_winds_slower(four):
    """`wind_speed` of the section map scales the hand."""
    slow = four.model_copy(
        update={"performer": four.performer.model_copy(update={"wind_turns_per_s": 1.0})}
    )

    def fastest(routine):
        truth = perform(routine, seed=3).truth
        at = np.arange(0.0, 60.0, 0.001)
        return np.abs(truth.tracks["right"].speed_at(at)).max()

    assert fastest(slow) < fastest(four)


def test_mixer_is_open_for_every_deck_that_sounds(routine):
    performance = perform(routine, seed=1)
    now = {}
    for move in performance.mixer:
        assert 0.0 <= move.value <= 1.0
        now[move.control] = move.value
        place = performance.truth.at(move.now_s + 0.2)
        later = [m for m in performance.mixer if 0 < m.now_s - move.now_s < 0.2]
        if place is None or later or place[1] < 1.0:
            continue
        for side in SIDES:
            sounds = routine.pieces[place[0]].plan(side).hand != "rests"
            assert now[side] == float(sounds)


@pytest.mark.parametrize("place", [(-1, 0.0), (99, 0.0), (0, 999.0)])
def test_no_such_place_to_start_from(four, place):
    with pytest.raises(ValueError, match="no place"):
        perform(four, seed=1, start_piece=place[0], start_beat=place[1])


def test_start_in_the_middle_is_heard_from_there_on(routine):
    for index in range(len(routine.pieces)):
        performance = perform(routine, seed=index, start_piece=index, start_beat=3.25)
        assert performance.truth.at(0.0) == (index, pytest.approx(3.25, abs=0.01))
        assert all((event.planned_s or 0.0) >= 0.0 for event in performance.events)


@st.composite
def _plans(draw, beats):
    hand = draw(st.sampled_from(["runs", "works", "rests"]))
    at = draw(st.floats(0, 60))
    if hand == "runs":
        return {"hand": "runs", "at": at}
    if hand == "rests":
        return {"hand": "rests"}
    plan = {"hand": "works", "from": at, "to": at + draw(st.floats(0.02, 5))}
    if draw(st.booleans()):
        plan["cue"] = draw(st.floats(plan["from"], plan["to"]))
    if draw(st.booleans()):
        strokes = draw(st.sets(st.integers(0, 4 * beats - 1), max_size=12))
        plan["strokes"] = [stroke / 4 for stroke in sorted(strokes)]
    return plan


@st.composite
def _routines(draw):
    metre = draw(st.integers(1, 7))
    pieces = []
    for index in range(draw(st.integers(1, 4))):
        beats = draw(st.integers(1, 4).map(lambda bars: metre * bars) | st.integers(1, 20))
        left, right = draw(_plans(beats)), draw(_plans(beats))
        counts = [s for s, p in (("left", left), ("right", right)) if p["hand"] == "runs"]
        pieces.append({
            "name": f"p{index}", "bars": beats / metre, "tempo": draw(st.floats(40, 220)),
            "count": draw(st.sampled_from(["clock", *counts])), "left": left, "right": right,
        })  # fmt: skip
    rpm = draw(st.sampled_from([33.333, 45, 78]))
    return Routine.model_validate(
        {"title": "Any", "metre": metre, "turntable": {"rpm": rpm}, "pieces": pieces}
    )


@settings(max_examples=40)
@given(_routines(), st.integers(0, 2**32), st.lists(st.sampled_from(FAULT_KINDS), max_size=2))
def test_any_routine_can_be_performed(routine, seed, kinds):
    hands = Hands(miss_rate=0.1, added_rate=0.1)
    try:
        performance = perform(
            routine, seed=seed, hands=hands, faults=[Fault(kind=k) for k in kinds]
        )
    except FaultError:
        return  # no place in this routine for that fault
    messages, truth = performance.messages, performance.truth
    assert np.isfinite(messages.position_s).all()
    assert messages.position_s.min(initial=0.0) >= -routine.turntable.turn_s
    assert (np.diff(messages.now_s) >= 0.0).all()
    assert np.isfinite(messages.speed).all()
    _check_motion(performance, routine)
    played = truth.piece >= 0
    assert played.any()
    assert (truth.beat[played] >= 0.0).all()
    assert np.isnan(truth.beat[~played]).all()
    times = [event.actual_s for event in performance.events if event.actual_s is not None]
    assert np.isfinite(times).all()


def test_crossfader_is_with_the_deck_whose_turn_it_is(load):
    performance = perform(load("juggles"), seed=4)
    moves = [move for move in performance.mixer if move.control == "crossfader"]
    checked = 0
    for event in performance.events:
        if event.kind == "release":
            stands = [move.value for move in moves if move.now_s < event.planned_s + 0.15][-1]
            assert stands == (0.0 if event.side == "left" else 1.0)
            checked += 1
    assert checked > 20


def test_a_deck_is_started_and_stopped_no_sooner_than_a_hand_can(four):
    """Speeds change within the 30 ms or so of a release or a hold, never at once but in a jump."""
    performance = perform(four, seed=6)
    for side in SIDES:
        track = performance.truth.tracks[side]
        times = np.arange(0.0, performance.duration_s, 0.001)
        change = np.abs(np.diff(track.speed_at(times)))
        jumps = np.searchsorted(track.jumps_s(), times)
        assert change[jumps[1:] == jumps[:-1]].max() < 0.5


def test_however_early_a_hand_what_went_before_has_lasted_a_moment():
    """Both records start anew, meant for the second set piece's begin, by a hand 40 s early: the
    first has begun at 0 and lasts 50 ms, and no record is let go before that."""
    pieces = [
        {"name": name, "bars": 4, "tempo": 100, "count": "left",
         "left": {"hand": "runs", "at": at_s}, "right": {"hand": "runs", "at": at_s + 3.0}}
        for name, at_s in (("First", 2.0), ("Second", 90.0))
    ]  # fmt: skip
    routine = Routine.model_validate({"title": "Early", "pieces": pieces})
    hasty = replace(STEADY, timing_bias_s=-40.0)
    steps = [Step(index, 0.0, 16.0) for index in range(2)]
    pause = Step(-1, lasts_s=1.0)
    legs = lay_course(routine, [pause, *steps], hasty, np.random.default_rng(1))
    first, second = legs[1], legs[2]
    assert first.start_s == pytest.approx(0.05)
    assert second.start_s == pytest.approx(0.1)
    assert second.runs["left"].t0_s == pytest.approx(0.1)
    assert second.runs["right"].t0_s == pytest.approx(0.1)


# -- when a fault broke the course, by hand: three set pieces of 8 beats, 4 s each, after a second

RUNS_ON = Network(rate_hz=20.0)


def three(bars=2) -> Routine:
    """The second one of so many bars: some faults need time."""
    pieces = [
        {"name": f"P{n}", "bars": bars if n == 1 else 2, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": 10.0 + 20.0 * n}}
        for n in range(3)
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": pieces})


@pytest.mark.parametrize(
    ("kind", "more", "at_s", "until_s", "lasts_s"),
    [
        ("skip", {}, 5.0, 5.0, 10.0),
        ("repeat", {}, 9.0, 9.0, 18.0),
        ("early", {"beat": 5.0}, 7.5, 7.5, 12.5),
        ("late", {"by": 3.0}, 9.0, 10.5, 15.5),
        ("needle-jump", {"beat": 4.0, "by": 1.8}, 7.0, 7.0, 16.2),
        ("wrong-cue", {"to_piece": 2, "beat": 3.0}, 5.0, 6.5, 14.0),
        ("restart", {"beat": 3.0, "by": 2.5}, 6.5, 9.0, 22.0),
        # Braked and started evenly, it goes half as far as it would have.
        ("platter-stop", {"beat": 1.0, "by": 2.5}, 5.5, 8.0 + MOTOR_STOP_S + MOTOR_START_S,
         20.5 + (MOTOR_STOP_S + MOTOR_START_S) / 2),
        ("drop-out", {"beat": 3.0, "by": 2.5}, 6.5, 9.0, 14.0),
        ("middle", {"beat": 3.0}, 0.0, 0.0, 7.5),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_time(kind, more, at_s, until_s, lasts_s):
    routine = three(4 if kind in ("needle-jump", "platter-stop") else 2)
    fault = Fault(kind=kind, piece=1, **more)
    played = perform(routine, seed=1, faults=[fault], hands=STEADY, network=RUNS_ON, truth_hz=10.0)
    (told,) = played.faults
    assert (told.at_s, told.until_s) == pytest.approx((at_s, until_s))
    assert played.duration_s == pytest.approx(lasts_s)
    assert told.fault == (replace(fault, side="left") if kind == "drop-out" else fault)


def test_what_is_written_of_a_performance_is_the_truth_at_even_times():
    """Ten a second: a second of waiting, then from 10.0 on half a second a beat."""
    played = perform(three(), seed=3, hands=STEADY, network=RUNS_ON, truth_hz=10.0)
    told = truth_record(played, rate_hz=10.0)
    assert (told["title"], told["seed"], told["duration_s"], told["faults"]) == ("T", 3, 14.0, [])
    assert told["times_s"] == pytest.approx([n / 10 for n in range(140)])
    assert [told["piece"][n] for n in (0, 9, 10, 49, 50, 129, 130)] == [-1, -1, 0, 0, 1, 2, -1]
    assert [told["beat"][n] for n in (9, 11, 20, 50, 72)] == [None, 0.2, 2.0, 0.0, 4.4]
    assert [told["left_s"][n] for n in (0, 11, 20, 72)] == [10.0, 10.1, 11.0, 32.2]
    assert set(told["right_s"]) == {0.0}
    first, *_, last = told["events"]
    assert (first["kind"], first["actual_s"], first["error_s"], first["missed"]) == (
        "start", 1.0, 0.0, False,
    )  # fmt: skip
    assert (last["kind"], last["beat"], last["planned_s"]) == ("stop", 8.0, 13.0)
    assert played.truth.at(2.0) == (0, 2.0)
    assert played.truth.at(13.5) is None


def test_the_routine_waits_for_its_lead_and_its_pick_up():
    for lead_s, starts_s in ((1.0, 1.0), (3.0, 3.0), (0.0, 0.2)):
        played = perform(three(), seed=1, hands=STEADY, network=RUNS_ON, lead_s=lead_s)
        assert played.events[0].planned_s == starts_s


def test_a_juggle_begins_with_the_deck_that_did_not_play_last():
    works = {"hand": "works", "from": 10.0, "to": 11.0}
    juggle = {"count": "clock", "left": works, "right": works}
    for side, other in (("left", "right"), ("right", "left")):
        alone = {"count": side, side: {"hand": "runs", "at": 30.0}}
        routine = Routine.model_validate({"title": "T", "pieces": [
            {"name": name, "bars": 1, "tempo": 120, **own}
            for name, own in (("A", alone), ("B", juggle))
        ]})  # fmt: skip
        played = perform(routine, seed=1, hands=STEADY, network=RUNS_ON, truth_hz=10.0)
        begun = next(event.side for event in played.events if event.piece == 1)
        assert begun == other
