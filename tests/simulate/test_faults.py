"""Each fault does what it says, at the time it says."""

import numpy as np
import pytest

from liveaid.routine import SIDES, Routine
from liveaid.simulate import (
    FAULT_KINDS,
    STEADY,
    Fault,
    FaultError,
    Hands,
    Network,
    draw_fault,
    perform,
)


def _with(routine, seed=3, hands=STEADY, **fault):
    performance = perform(routine, seed=seed, hands=hands, faults=[Fault(**fault)])
    (happened,) = performance.faults
    return performance, happened


def _order(truth):
    """The set pieces as they were played, one after another; -1 a pause."""
    piece = truth.piece
    return [int(p) for p in piece[np.concatenate([[True], np.diff(piece) != 0])]]


def _places(performance, t_s):
    return performance.truth.at(t_s - 0.001), performance.truth.at(t_s + 0.001)


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_fault_drawn_has_all_it_needs_and_happens(routine, kind):
    fault = draw_fault(kind, routine, np.random.default_rng(8))
    performance = perform(routine, seed=8, faults=[fault])
    (happened,) = performance.faults
    assert happened.fault.kind == kind
    assert happened.fault.piece == fault.piece
    assert 0.0 <= happened.at_s <= happened.until_s <= performance.duration_s + 10.0


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_course_is_whole_but_where_the_fault_says(routine, kind):
    """Outside [at, until] the place moves on by itself: no leap but from piece to next piece."""
    performance = perform(routine, seed=4, faults=[Fault(kind=kind)])
    (happened,) = performance.faults
    times, piece, beat = (
        performance.truth.times_s,
        performance.truth.piece,
        performance.truth.beat,
    )
    beats = np.array([routine.beats(i) for i in range(len(routine.pieces))])
    total = np.concatenate([[0], np.cumsum(beats)])
    whole = np.where(piece >= 0, total[piece] + beat, np.nan)
    leaps = np.flatnonzero(np.abs(np.diff(whole)) > 0.3)
    for t in times[leaps]:
        assert happened.at_s - 0.01 <= t <= happened.until_s + 0.01


def test_skipped_set_piece_is_not_played(four):
    performance, happened = _with(four, kind="skip", piece=4)
    assert _order(performance.truth) == [-1, 0, 1, 2, 3, 5, 6, 7, 8, 9, -1]
    before, after = _places(performance, happened.at_s)
    assert before == (3, pytest.approx(16, abs=0.01))
    assert after == (5, pytest.approx(0, abs=0.01))


def test_repeated_set_piece_is_played_twice_in_full(four):
    performance, happened = _with(four, kind="repeat", piece=2)
    before, after = _places(performance, happened.at_s)
    assert before == (2, pytest.approx(32, abs=0.01))
    assert after == (2, pytest.approx(0, abs=0.01))
    assert performance.duration_s == pytest.approx(perform(four, seed=3, hands=STEADY).duration_s
                                                   + 32 * 60 / 92, abs=1e-3)  # fmt: skip


def test_left_early_at_the_beat(four):
    performance, happened = _with(four, kind="early", piece=0, beat=13.0)
    before, after = _places(performance, happened.at_s)
    assert before == (0, pytest.approx(13.0, abs=0.01))
    assert after == (1, pytest.approx(0.0, abs=0.01))


def test_left_late_by_the_beats(four):
    performance, happened = _with(four, kind="late", piece=1, by=3.0)
    assert happened.until_s - happened.at_s == pytest.approx(3 * 60 / 92, abs=1e-4)
    before, after = _places(performance, happened.until_s)
    assert before == (1, pytest.approx(35.0, abs=0.01))
    assert after == (2, pytest.approx(0.0, abs=0.01))


# IEC 60098: 33 1/3 and 45 turns a minute, so 1.8 s and 4/3 s of record in a groove's turn.
@pytest.mark.parametrize(("name", "turn_s"), [("four", 1.8), ("fortyfive", 4 / 3)])
def test_needle_jumps_whole_grooves_unless_told_otherwise(load, name, turn_s):
    for seed in range(12):
        fault = perform(load(name), seed=seed, faults=[Fault(kind="needle-jump")]).faults[0].fault
        assert abs(fault.by / turn_s) == pytest.approx(round(abs(fault.by / turn_s)))


@pytest.mark.parametrize("by", [-3.6, 1.8, 5.0])
def test_needle_jump_moves_record_and_place_together(four, by):
    performance, happened = _with(four, kind="needle-jump", piece=4, beat=16.0, by=by)
    t = happened.at_s
    before, after = performance.truth.position_s("left", np.array([t - 1e-6, t + 1e-6]))
    assert after - before == pytest.approx(by, abs=1e-4)
    assert performance.truth.at(t + 1e-6) == (4, pytest.approx(16.0 + by * 96 / 60, abs=1e-3))


def test_wrong_cue_is_heard_until_it_is_put_right(four):
    performance, happened = _with(four, kind="wrong-cue", piece=4, to_piece=7, beat=3.0)
    during = happened.at_s + 1.0
    heard = performance.truth.position_s("left", np.array([during]))[0]
    assert heard == pytest.approx(81.0 + 1.0, abs=0.01)  # set piece 7's cue is 81.0
    assert performance.truth.at(during) == (4, pytest.approx(1.0 * 96 / 60, abs=0.01))
    right = performance.truth.position_s("left", np.array([happened.until_s + 0.01]))[0]
    assert right == pytest.approx(54.0 + 3 * 60 / 96 + 0.01, abs=0.01)
    starts = [e for e in performance.events if e.kind == "start" and e.piece == 4]
    assert [e.missed for e in starts] == [True]


def test_drop_out_silences_the_deck_with_the_count_and_no_other(four):
    performance, happened = _with(four, kind="drop-out", piece=6, beat=4.0, by=5.0)
    for side, heard in (("left", True), ("right", False)):
        sent = performance.messages.of(side).sent_s
        inside = (sent >= happened.at_s) & (sent < happened.until_s)
        assert bool(inside.any()) is heard
        assert (sent < happened.at_s).any()
        assert (sent > happened.until_s).any()
    assert happened.until_s - happened.at_s == pytest.approx(5.0)


def test_drop_out_of_a_named_deck(four):
    performance, happened = _with(four, kind="drop-out", piece=5, beat=0.0, by=2.0, side="left")
    sent = performance.messages.of("left").sent_s
    assert not ((sent >= happened.at_s) & (sent < happened.until_s)).any()


def test_restart_begins_anew_from_the_first_beat(four):
    performance, happened = _with(four, kind="restart", piece=3, beat=6.0, by=4.0)
    assert _order(performance.truth) == [-1, 0, 1, 2, 3, -1, *range(10), -1]
    assert performance.truth.at(happened.at_s - 0.001) == (3, pytest.approx(6.0, abs=0.01))
    assert happened.until_s - happened.at_s == pytest.approx(4.0)
    assert performance.truth.at(happened.until_s + 0.001) == (0, pytest.approx(0.0, abs=0.01))


def test_restart_after_a_start_in_the_middle_plays_the_whole_routine(four):
    performance = perform(
        four, seed=1, start_piece=5, faults=[Fault(kind="restart", piece=6, beat=2.0)]
    )
    assert _order(performance.truth) == [5, 6, -1, *range(10), -1]


def test_middle_begins_where_it_says(four):
    performance, _ = _with(four, kind="middle", piece=5, beat=9.5)
    assert performance.truth.at(0.0) == (5, pytest.approx(9.5, abs=1e-6))
    assert performance.messages.now_s.min() < 0.02


def test_stopped_platter_stands_and_goes_on_from_there(four):
    performance, happened = _with(four, kind="platter-stop", piece=4, beat=10.0, by=2.0)
    times = np.arange(happened.at_s, happened.until_s + 1.0, 0.01)
    speed = performance.truth.tracks["left"].speed_at(times)
    assert np.count_nonzero(np.abs(speed) < 1e-9) == pytest.approx(200, abs=2)
    assert speed[-1] == pytest.approx(1.0)
    assert (np.diff(performance.truth.position_s("left", times)) >= -1e-9).all()
    piece, _beat = performance.truth.places(times)
    assert set(piece.tolist()) == {4}
    # Braked and started evenly: half the way of even speed in the same time (textbook).
    ramps_s = happened.until_s - happened.at_s - 2.0
    ends = performance.truth.at(happened.until_s)
    assert ends == (4, pytest.approx(10.0 + 0.5 * ramps_s * 96 / 60, abs=1e-6))
    jumps = performance.truth.tracks["left"].jumps_s()
    assert not ((jumps > happened.at_s - 0.1) & (jumps < happened.until_s + 0.1)).any()


def test_record_across_a_stopped_platter_goes_on():
    routine = Routine.model_validate({"title": "Blend", "pieces": [{
        "name": "both", "bars": 8, "tempo": 90, "count": "left",
        "left": {"hand": "runs", "at": 1.0}, "right": {"hand": "runs", "at": 30.0},
    }]})  # fmt: skip
    performance, happened = _with(routine, kind="platter-stop", piece=0, beat=8.0, by=1.0)
    at = np.array([happened.at_s, happened.until_s])
    right = performance.truth.position_s("right", at)
    assert right[1] - right[0] == pytest.approx(at[1] - at[0])


@pytest.mark.parametrize(
    "fault",
    [
        Fault(kind="skip", piece=0),
        Fault(kind="early", piece=9),
        Fault(kind="late", piece=0),  # its record runs on into the next
        Fault(kind="needle-jump", piece=5),  # counted by the clock
        Fault(kind="drop-out", piece=5),
        Fault(kind="platter-stop", piece=5),
        Fault(kind="wrong-cue", piece=1),
        Fault(kind="repeat", piece=10),
    ],
    ids=lambda fault: f"{fault.kind} {fault.piece}",
)
def test_fault_that_cannot_happen_there_says_what_would_do(four, fault):
    with pytest.raises(FaultError, match="would do"):
        perform(four, seed=1, faults=[fault])


def test_place_not_played_cannot_be_started_from(four):
    with pytest.raises(FaultError, match="not played"):
        perform(four, seed=1, start_piece=4, start_beat=20.0,
                faults=[Fault(kind="early", piece=4, beat=9.0)])  # fmt: skip


def test_network_leaves_the_hands_alone(four):
    """What the hands do depends on the seed alone, not on who listens."""
    a = perform(four, seed=9, network=Network(rate_hz=50.0, loss=0.3))
    b = perform(four, seed=9, network=Network(rate_hz=1000.0, sends="on_change"))
    assert a.events == b.events
    assert np.array_equal(a.truth.left_s, b.truth.left_s)


def test_several_faults_in_one_performance(four):
    performance = perform(
        four, seed=2, hands=Hands(),
        faults=[Fault(kind="repeat", piece=1), Fault(kind="skip", piece=6),
                Fault(kind="needle-jump", piece=2)],
    )  # fmt: skip
    assert [happened.fault.kind for happened in performance.faults] == [
        "repeat", "skip", "needle-jump",
    ]  # fmt: skip
    assert 6 not in _order(performance.truth)
    assert all(side in performance.truth.tracks for side in SIDES)
