"""What each fault makes of the order, and where it can happen, by hand.

Three set pieces of two bars of four at 120 BPM, half a second a beat, from their own cues.
"""

from dataclasses import asdict, replace

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.simulate import STEADY, Fault, FaultError, Hands, Network, draw_fault
from liveaid.simulate.faults import runs_on, settle
from liveaid.simulate.human_hands import PERSON
from liveaid.simulate.steps import Halt, Mark, Step, WrongCue, pause, plain_steps, with_fault


def routine_of(*pieces, **more):
    whole = [
        {"name": f"P{n}", "bars": 2, "tempo": 120, "count": "left"} | piece
        for n, piece in enumerate(pieces)
    ]
    return Routine.model_validate({"title": "T", "pieces": whole} | more)


def runs(at):
    return {"left": {"hand": "runs", "at": at}}


THREE = routine_of(runs(10.0), runs(30.0), runs(50.0))
PLAIN = [Step(0, to_beat=8.0), Step(1, to_beat=8.0), Step(2, to_beat=8.0)]


def test_the_plain_way_is_every_set_piece_from_one_on():
    assert plain_steps(THREE) == PLAIN
    assert plain_steps(THREE, first=2) == PLAIN[2:]


@pytest.mark.parametrize(
    ("fault", "steps"),
    [
        ({"kind": "skip", "piece": 1}, lambda m: [PLAIN[0], replace(PLAIN[2], marks=(m(),))]),
        ({"kind": "repeat", "piece": 1},
         lambda m: [*PLAIN[:2], replace(PLAIN[1], marks=(m(),)), PLAIN[2]]),
        ({"kind": "early", "piece": 1, "beat": 5.0},
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=5.0), replace(PLAIN[2], marks=(m(),))]),
        ({"kind": "late", "piece": 1, "by": 3.0},
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=11.0, marks=(m(8.0, 11.0),)), PLAIN[2]]),
        ({"kind": "needle-jump", "piece": 1, "beat": 4.0, "by": 1.8},  # 3.6 beats on
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=4.0),
                    Step(1, 7.6, 8.0, how="needle", marks=(m(),)), PLAIN[2]]),
        ({"kind": "needle-jump", "piece": 1, "beat": 4.0, "by": 3.6},  # no later than a quarter
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=4.0),
                    Step(1, 7.75, 8.0, how="needle", marks=(m(),)), PLAIN[2]]),
        ({"kind": "needle-jump", "piece": 1, "beat": 4.0, "by": -3.6},  # nor before the start
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=4.0),
                    Step(1, 0.0, 8.0, how="needle", marks=(m(),)), PLAIN[2]]),
        ({"kind": "wrong-cue", "piece": 1, "to_piece": 2, "beat": 3.0},
         lambda m: [PLAIN[0], replace(PLAIN[1], wrong=WrongCue("left", 50.0, 3.0),
                                      marks=(m(0.0, 3.0),)), PLAIN[2]]),
        ({"kind": "restart", "piece": 1, "beat": 3.0, "by": 2.5},
         lambda m: [PLAIN[0], replace(PLAIN[1], to_beat=3.0), pause(2.5, m()), *PLAIN, PLAIN[2]]),
        ({"kind": "platter-stop", "piece": 1, "beat": 3.0, "by": 2.5},
         lambda m: [PLAIN[0], replace(PLAIN[1], halt=Halt(3.0, 2.5)), PLAIN[2]]),
        ({"kind": "drop-out", "piece": 1, "beat": 3.0, "by": 2.5, "side": "left"},
         lambda m: [PLAIN[0], replace(PLAIN[1], marks=(m(3.0),)), PLAIN[2]]),
        ({"kind": "middle", "piece": 1, "beat": 3.0}, lambda m: PLAIN),
        ({"kind": "skip", "piece": 7}, lambda m: PLAIN),
    ],
)  # fmt: skip
def test_what_each_fault_makes_of_the_order(fault, steps):
    made = Fault(**fault)
    found = with_fault(list(PLAIN), made, THREE)
    expected = steps(lambda *beats: Mark(made, *beats))
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert one.from_beat == pytest.approx(other.from_beat)
        assert replace(one, from_beat=other.from_beat) == other


def where(kind, routine, **more):
    """The set pieces in which a fault can happen."""
    found = []
    for index in range(len(routine.pieces)):
        try:
            settle(Fault(kind=kind, piece=index, **more), routine, np.random.default_rng(1))
            found.append(index)
        except FaultError:
            pass
    return found


CLOCK = {"count": "clock", **runs(50.0)}
ON = runs(14.0)
"""Two bars of four at 120 BPM are 4 s: from 10.0 the record runs on into this."""


@pytest.mark.parametrize(
    ("kind", "pieces", "can"),
    [
        ("skip", (runs(10.0), runs(30.0), runs(50.0)), [1]),
        ("repeat", (runs(10.0), runs(30.0)), [0, 1]),
        ("early", (runs(10.0), runs(30.0)), [0]),
        ("early", (runs(10.0) | {"bars": "1/2"}, runs(30.0) | {"bars": "3/4"}, runs(50.0)), [1]),
        ("late", (runs(10.0), ON, runs(50.0)), [1]),
        ("late", (runs(10.0), ON | {"count": "clock"}, runs(50.0)), [0, 1]),
        # Four turns at 33 1/3 are 7.2 s: 14 beats are 7, 15 are 7.5.
        ("needle-jump", (runs(10.0) | {"bars": "7/2"}, runs(30.0) | {"bars": "15/4"},
                         CLOCK | {"bars": 8}), [1]),
        ("wrong-cue", (runs(10.0), ON, runs(50.0), CLOCK), [0, 2]),
        ("wrong-cue", (runs(10.0), runs(10.9)), []),  # within a second: the same cue
        ("wrong-cue", (runs(10.0), runs(11.1)), [0, 1]),
        ("wrong-cue", (runs(11.1), runs(10.0)), [0, 1]),
        ("drop-out", (runs(10.0), CLOCK), [0]),
        ("restart", (runs(10.0), CLOCK), [0, 1]),
        ("middle", (runs(10.0), CLOCK), [0, 1]),
        ("platter-stop", (runs(10.0), runs(30.0) | {"bars": "9/4"}, CLOCK | {"bars": 8}), [1]),
    ],
)  # fmt: skip
def test_where_a_fault_can_happen(kind, pieces, can):
    assert where(kind, routine_of(*pieces)) == can


def test_a_deck_that_is_named_may_drop_out_anywhere():
    assert where("drop-out", routine_of(runs(10.0), CLOCK), side="right") == [0, 1]


def test_what_cannot_happen_says_what_would_do():
    with pytest.raises(FaultError, match="skip: cannot happen in this routine; a set piece with"):
        draw_fault("skip", routine_of(runs(10.0)), np.random.default_rng(1))
    with pytest.raises(FaultError, match="skip: cannot happen in set piece 0;"):
        settle(Fault(kind="skip", piece=0), THREE, np.random.default_rng(1))


def test_a_record_runs_on_where_the_next_cue_is_where_it_gets_to():
    routine = routine_of(runs(10.0), ON, runs(50.0), {"count": "clock", **runs(54.0)})
    assert [runs_on(routine, index) for index in range(3)] == [True, False, False]


LONG = routine_of(*({**runs(10.0 + 40 * n), "bars": 10} for n in range(3)))


@pytest.mark.parametrize(
    ("kind", "beats", "bys"),
    [
        ("early", (1, 36), None),  # 40 beats, a bar before the end at the latest
        ("late", None, (1, 4)),
        ("needle-jump", (18.0, 22.0), (-3.6, 3.6)),  # about the middle, one turn or two
        ("wrong-cue", (1, 4), None),
        ("drop-out", (0.0, 30.0), (2.0, 8.0)),
        ("restart", (4.0, 36.0), (2.0, 5.0)),
        ("middle", (0.0, 36.0), None),
        ("platter-stop", (2, 35), (0.5, 3.0)),
    ],
)
def test_the_figures_a_fault_is_drawn_with(kind, beats, bys):
    """Of 300 draws all are within, and the outermost near the ends; whole beats are whole."""
    rng = np.random.default_rng(3)
    drawn = [settle(Fault(kind=kind, piece=1), LONG, rng) for _ in range(300)]
    for bounds, values in ((beats, [f.beat for f in drawn]), (bys, [f.by for f in drawn])):
        if bounds is None:
            assert set(values) == {None}
            continue
        low, high = bounds
        room = 0.1 * (high - low)
        assert low - 1e-9 <= min(values) <= low + room
        assert high - room <= max(values) <= high + 1e-9
        if isinstance(low, int):
            assert all(value == int(value) for value in values)
    if kind == "needle-jump":
        assert sorted({round(f.by, 6) for f in drawn}) == [-3.6, -1.8, 1.8, 3.6]


def test_a_figure_that_is_given_is_kept():
    found = settle(Fault(kind="restart", piece=1, beat=7.25), LONG, np.random.default_rng(1))
    assert found.beat == 7.25
    assert 2.0 <= found.by <= 5.0


@pytest.mark.parametrize(
    "wrong",
    [{"timing_error_s": -0.1}, {"miss_rate": 1.01}, {"miss_rate": -0.01}, {"correlation": 1.0},
     {"correlation": -0.1}, {"wind_slow_turns_per_s": 0.0},
     {"wind_slow_turns_per_s": 3.0, "wind_fast_turns_per_s": 2.9}],
)  # fmt: skip
def test_impossible_hands_cannot_be_built(wrong):
    with pytest.raises(ValueError, match="would do"):
        Hands(**wrong)


def test_hands_at_their_bounds_can():
    Hands(timing_bias_s=-0.05, drift_s_per_min=-0.01, miss_rate=1.0, correlation=0.0,
          pitch_error_percent=2.0, wind_slow_turns_per_s=3.0,
          wind_fast_turns_per_s=3.0)  # fmt: skip


@pytest.mark.parametrize(
    ("at_s", "late_s"), [(0.0, 0.05), (-5.0, 0.05), (60.0, 0.064), (120.0, 0.078)]
)
def test_a_hand_tires_and_drifts_by_the_minute(at_s, late_s):
    """Bias 10 ms, spread 20 ms, two spreads off: 50 ms. Each minute the spread is .1 of itself
    wider, 4 ms at two spreads, and all comes 10 ms later."""
    hands = replace(STEADY, fatigue_per_min=0.1, drift_s_per_min=0.01)
    assert hands.late_s(0.01, 0.02, 2.0, at_s) == pytest.approx(late_s)


def test_winding_is_evenly_between_slow_and_fast():
    rng = np.random.default_rng(1)
    drawn = [STEADY.wind_turns_per_s(rng) for _ in range(300)]
    assert 2.5 <= min(drawn) < 2.6
    assert 5.9 < max(drawn) <= 6.0


def test_hands_that_nothing_is_said_of():
    """As the docstrings and `simulate --help` tell them; common practice, no source."""
    assert asdict(Hands()) == {
        "timing_error_s": 0.020, "timing_bias_s": 0.0, "stroke_error_s": 0.015,
        "stroke_bias_s": 0.0, "pitch_error_percent": 1.2, "pitch_drift_percent": 0.3,
        "match_error_percent": 0.1, "cue_error_s": 0.008, "reach_error_s": 0.015,
        "fader_error_s": 0.010, "correlation": 0.5, "fatigue_per_min": 0.0,
        "drift_s_per_min": 0.0, "miss_rate": 0.0, "added_rate": 0.0, "rock_rate": 0.25,
        "wind_slow_turns_per_s": 2.5, "wind_fast_turns_per_s": 6.0,
    }  # fmt: skip


def test_a_person_and_a_network_that_nothing_is_said_of():
    """A trained person by Repp 2005 (from memory), where it is another than steady defaults; the
    network's figures as their docstrings tell them."""
    told = {name: value for name, value in asdict(PERSON).items()
            if value != getattr(Hands(), name)}  # fmt: skip
    assert told == {
        "timing_error_s": 0.018, "timing_bias_s": -0.010, "stroke_error_s": 0.018,
        "stroke_bias_s": -0.010, "correlation": 0.4, "fatigue_per_min": 0.05,
        "drift_s_per_min": -0.002, "miss_rate": 0.01, "cue_error_s": 0.012,
    }  # fmt: skip
    assert asdict(Network()) == {
        "rate_hz": 200.0, "sends": "always", "delay_s": 0.001, "left_delay_s": 0.0,
        "right_delay_s": 0.0, "jitter_s": 0.001, "loss": 0.0, "duplicates": 0.0, "reorder": 0.0,
        "off_centre_mm": 0.0, "resolution_s": 0.0005, "dead": (),
    }  # fmt: skip
    silent = [getattr(STEADY, name) for name in asdict(STEADY) if name.endswith(("_error_s",
              "_error_percent", "_drift_percent"))]  # fmt: skip
    assert set(silent) == {0.0}
