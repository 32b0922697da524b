"""What hands are asked to do they do: spread, bias, misses, over many seeds.

Reference for the distributions: scipy.stats.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from liveaid.routine import Routine
from liveaid.simulate import Fault, Hands, Network, perform

SLOW = Network(rate_hz=20.0)


@pytest.fixture(scope="module")
def drilled():
    """A record that starts anew every 4 bars, a juggle with mapped releases, mapped strokes."""
    strokes = [b / 2.0 for b in range(2, 32)]
    pieces = []
    for i in range(8):
        pieces.append(
            {
                "name": f"left {i}",
                "bars": 4,
                "tempo": 92,
                "count": "left",
                "left": {"hand": "runs", "at": 2.0 + 30.0 * i},
                "right": {"hand": "works", "from": 4.0, "to": 5.3, "strokes": strokes},
            }
        )
        pieces.append(
            {
                "name": f"right {i}",
                "bars": 4,
                "tempo": 92,
                "count": "right",
                "right": {"hand": "runs", "at": 20.0 + 30.0 * i},
            }
        )
        pieces.append({"name": f"juggle {i}", "bars": 8, "tempo": 92, "count": "clock",
                       "left": {"hand": "works", "from": 1.8, "to": 3.2},
                       "right": {"hand": "works", "from": 1.8, "to": 3.2}})  # fmt: skip
    return Routine.model_validate({"title": "Drill", "pieces": pieces})


def _events(routine, hands, seeds, kinds):
    events = [
        event
        for seed in seeds
        for event in perform(routine, seed=seed, hands=hands, network=SLOW).events
    ]
    return [event for event in events if event.kind in kinds]


def _errors(events):
    return np.array([event.error_s for event in events if not event.missed and not event.added])


@pytest.mark.parametrize("sigma", [0.005, 0.020, 0.060])
@pytest.mark.parametrize("bias", [-0.015, 0.0, 0.030])
def test_releases_have_the_spread_and_bias_asked_for(drilled, sigma, bias):
    hands = Hands(timing_error_s=sigma, timing_bias_s=bias)
    errors = _errors(_events(drilled, hands, range(6), {"start", "release", "return"}))
    n = len(errors)
    assert n > 1000
    # Standard error of a mean s/sqrt(n), of a standard deviation s/sqrt(2n); four of each.
    assert errors.mean() == pytest.approx(bias, abs=4 * sigma / n**0.5)
    assert errors.std() == pytest.approx(sigma, abs=4 * sigma / (2 * n) ** 0.5)


def test_starts_are_as_exact_as_asked(drilled):
    errors = _errors(_events(drilled, Hands(), range(40), {"start"}))
    assert stats.kstest(errors, stats.norm(0.0, 0.020).cdf).pvalue > 1e-3


def test_strokes_are_as_exact_as_asked(drilled):
    errors = _errors(_events(drilled, Hands(), range(4), {"stroke"}))
    assert len(errors) > 900
    assert stats.kstest(errors, stats.norm(0.0, 0.015).cdf).pvalue > 1e-3


def test_hands_without_error_are_on_the_beat(drilled):
    hands = Hands(timing_error_s=0.0, stroke_error_s=0.0, cue_error_s=0.0)
    errors = _errors(_events(drilled, hands, [3], {"start", "release", "return", "stroke", "stop"}))
    assert np.abs(errors).max() < 1e-9


@pytest.mark.parametrize("rate", [0.05, 0.3])
def test_misses_come_at_the_rate_asked_for(drilled, rate):
    acts = _events(drilled, Hands(miss_rate=rate), range(6), {"release", "stroke"})
    missed = sum(event.missed for event in acts)
    assert stats.binomtest(missed, len(acts), rate).pvalue > 1e-3


def test_added_strokes_come_at_the_rate_asked_for(drilled):
    """The last stroke of a set piece has no next one to be added before."""
    acts = _events(drilled, Hands(added_rate=0.2), range(6), {"stroke"})
    added = sum(event.added for event in acts)
    offered = sum(not event.added and event.beat < 15.5 for event in acts)
    assert stats.binomtest(added, offered, 0.2).pvalue > 1e-3


def test_nothing_is_missed_or_added_by_hands_that_do_not(drilled):
    events = _events(drilled, Hands(), [0], {"start", "release", "return", "stroke", "stop"})
    assert not any(event.missed or event.added for event in events)


def test_every_mapped_stroke_is_an_event(drilled):
    strokes = _events(drilled, Hands(miss_rate=0.2), [5], {"stroke"})
    first = sorted(event.beat for event in strokes if event.piece == 0)
    assert first == [b / 2.0 for b in range(2, 32)]


def test_every_mapped_release_of_a_juggle_is_an_event():
    """On one deck, on both at once, close together or far apart; none is left out."""
    left, right = [0.0, 4.0, 4.5, 8.0, 12.0, 15.0], [2.0, 6.0, 8.0, 8.25, 13.0]
    routine = Routine.model_validate({"title": "Mapped", "pieces": [
        {"name": "j", "bars": 4, "tempo": 90,
         "left": {"hand": "works", "from": 2.0, "to": 4.0, "strokes": left},
         "right": {"hand": "works", "from": 2.0, "to": 4.0, "strokes": right}},
        {"name": "k", "bars": 1, "tempo": 90, "left": {"hand": "runs", "at": 30.0}},
    ]})  # fmt: skip
    events = [
        event
        for event in perform(routine, seed=1).events
        if event.kind in ("start", "release") and event.piece == 0
    ]
    assert [event.beat for event in events if event.side == "left"] == left
    assert [event.beat for event in events if event.side == "right"] == right


def test_pitch_is_set_and_drifts_as_asked(drilled):
    """Speeds of freshly started records spread by 1.2 % around nominal, and drift by 0.3 %."""
    set_, drift = [], []
    for seed in range(60):
        for leg in perform(drilled, seed=seed, network=SLOW).truth.legs:
            if leg.piece and leg.piece.count != "clock":
                line = leg.runs[leg.piece.count]
                set_.append(100.0 * (line.rate - 1.0))
                drift.append(100.0 * line.gain * 16.0 * 60.0 / 92.0)
    assert stats.kstest(set_, stats.norm(0.0, 1.2).cdf).pvalue > 1e-3
    assert stats.kstest(drift, stats.norm(0.0, 0.3).cdf).pvalue > 1e-3


def test_pitch_stays_within_the_faders_reach(load):
    routine = load("four")
    for seed in range(20):
        performance = perform(
            routine, seed=seed, hands=Hands(pitch_error_percent=6.0, pitch_drift_percent=4.0)
        )
        for leg in performance.truth.legs:
            for line in leg.runs.values():
                for t in (leg.start_s, leg.end_s):
                    assert abs(line.rate_at(t) - 1.0) < 0.08 + 1e-3


def test_what_the_events_say_is_what_the_records_did(routine):
    """A start or release: the record runs on the line through its cue at that time."""
    performance = perform(routine, seed=11)
    checked = 0
    for event in performance.events:
        if event.kind not in ("start", "release"):
            continue
        after = event.actual_s + np.array([0.10, 0.20])
        a, b = performance.truth.position_s(event.side, after)
        at_cue = after[0] - (a - event.cue_s) / ((b - a) / 0.10)
        assert at_cue == pytest.approx(event.actual_s, abs=5e-4)
        checked += 1
    assert checked > 5


def test_stroke_begins_when_its_event_says(four):
    performance = perform(four, seed=4)
    strokes = [event for event in performance.events if event.kind == "stroke"]
    assert len(strokes) == 36  # as many as the map lists
    for event in strokes:
        around = event.actual_s + np.array([-0.0005, 0.003, 0.006])
        x = performance.truth.position_s(event.side, around)
        assert abs(x[1] - x[0]) < 0.004
        assert x[2] > x[1] > x[0] - 1e-9


def test_return_slows_the_record_when_its_event_says(load):
    performance = perform(load("juggles"), seed=2)
    returns = [event for event in performance.events if event.kind == "return"]
    assert len(returns) > 20
    for event in returns:
        speed = performance.truth.tracks[event.side].speed_at(
            event.actual_s + np.array([-0.004, 0.02, 0.2])
        )
        assert speed[0] > 0.9
        assert 0.05 < speed[1] < 0.9
        assert speed[2] <= 0.0


def test_performance_ends_with_a_stop_on_the_last_beat(four):
    performance = perform(four, seed=1)
    last = [event for event in performance.events if event.kind == "stop"]
    assert [(event.piece, event.beat) for event in last] == [(9, 32.0)]
    still = performance.truth.tracks["right"].speed_at(np.array([last[0].actual_s + 0.1]))
    assert still[0] == 0.0


@pytest.mark.parametrize(
    "wrong",
    [{"timing_error_s": -0.1}, {"miss_rate": 1.5}, {"wind_slow_turns_per_s": 7.0}],
)
def test_impossible_hands_cannot_be_built(wrong):
    with pytest.raises(ValueError, match="would do"):
        Hands(**wrong)


def test_fault_of_an_unknown_kind_cannot_be_built():
    with pytest.raises(ValueError, match="no fault"):
        Fault(kind="stage dive")


def test_however_wide_the_errors_a_hand_makes_its_strokes_one_after_another(drilled):
    """60 ms at least from one to the next, though each is up to half a second off."""
    strokes = _events(drilled, Hands(stroke_error_s=0.2), [4], {"stroke"})
    made = [e.actual_s for e in strokes if e.piece == 0 and e.actual_s is not None]
    assert len(made) > 20
    assert min(b - a for a, b in pairwise(made)) >= 0.06 - 1e-9


def test_a_hand_that_lets_go_far_too_early_still_does_so_within_its_set_piece(drilled):
    """Twelve seconds, more than a set piece: what went before has still lasted 50 ms."""
    played = perform(drilled, seed=2, hands=Hands(timing_bias_s=-12.0), network=SLOW)
    legs = [leg for leg in played.truth.legs if leg.piece is not None]
    for before, leg in pairwise(legs):
        for line in leg.runs.values():
            assert line.t0_s >= before.start_s + 0.05 - 1e-9


def test_the_last_set_piece_can_be_played_twice(load):
    """Its worked record has nowhere to be brought to but its own cue again."""
    routine = load("four")
    last = len(routine.pieces) - 1
    played = perform(routine, seed=1, faults=[Fault(kind="repeat", piece=last)], network=SLOW)
    assert [leg.index for leg in played.truth.legs if leg.piece][-2:] == [last, last]
