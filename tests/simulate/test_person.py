"""Hands that are a person's: errors that follow one another, tire, hurry; decks with own delays."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from liveaid.routine import Routine, load_routine
from liveaid.routine.load import read_routine
from liveaid.routine.model import Performer
from liveaid.simulate import PERSON, STEADY, Hands, Network, perform
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.turntable import Record


@pytest.fixture(scope="module")
def spice_row():
    return load_routine(Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml")


def late(hands, *, count=4000, at_s=0.0):
    hand = DeckHand("left", Record(t_s=0.0, x_s=0.0, turn_s=1.8), hands, Performer(),
                    np.random.default_rng(3))  # fmt: skip
    return np.array([hand.timing_s(at_s) for _ in range(count)])


def test_errors_follow_one_another_and_keep_their_spread():
    """First-order: correlation r from one to the next, r^2 over two; spread s whatever r is."""
    found = late(Hands(timing_error_s=0.020, correlation=0.6))
    assert found.std() == pytest.approx(0.020, abs=0.001)
    assert np.corrcoef(found[1:], found[:-1])[0, 1] == pytest.approx(0.6, abs=0.04)
    assert np.corrcoef(found[2:], found[:-2])[0, 1] == pytest.approx(0.36, abs=0.05)


def test_a_hand_tires_and_drifts_by_the_minute():
    """After 3 minutes at 10 % and -4 ms each: spread 1.3 times, 12 ms earlier."""
    hands = Hands(timing_error_s=0.020, correlation=0.0, fatigue_per_min=0.1,
                  drift_s_per_min=-0.004)  # fmt: skip
    fresh, tired = late(hands), late(hands, at_s=180.0)
    assert tired.std() == pytest.approx(0.026, abs=0.001)
    assert tired.mean() - fresh.mean() == pytest.approx(-0.012, abs=0.001)


def test_a_bias_reaches_strokes_as_it_reaches_releases(spice_row):
    hands = Hands(timing_bias_s=0.030, stroke_bias_s=0.030)
    played = [perform(spice_row, seed=seed, hands=hands) for seed in range(3)]
    for kind in ("release", "stroke"):
        errors = [e.error_s for p in played for e in p.events if e.kind == kind and e.error_s]
        assert np.mean(errors) == pytest.approx(0.030, abs=0.006)


def test_acts_written_out_drift_by_the_minute_too():
    """3 minutes of one push every four bars at 120 BPM, 40 ms later a minute and else exact: the
    push on beat b, b / 2 s in, is late by b / 120 x 40 ms."""
    acts = {str(beat): "push for 1/2 over 1/4 turn" for beat in range(16, 360, 16)}
    acts |= {str(beat): "pull for 1/2 over 1/4 turn" for beat in range(24, 368, 16)}
    left = {"hand": "works", "from": 1.0, "to": 2.0, "acts": acts}
    piece = {"name": "Row", "bars": 90, "tempo": 120, "left": left}
    exact = replace(STEADY, drift_s_per_min=0.040, correlation=0.0)
    played = perform(Routine.model_validate({"title": "T", "pieces": [piece]}), seed=1, hands=exact)
    late_s = {e.beat: e.error_s for e in played.events if e.kind == "stroke"}
    begun_s = played.truth.legs[1].start_s
    assert len(late_s) == 22
    for beat, found_s in late_s.items():
        assert found_s == pytest.approx(0.040 * (begun_s + beat / 2.0) / 60.0, abs=1e-6)


def test_each_deck_is_late_by_its_own_delay(spice_row):
    plain = perform(spice_row, seed=2)
    late_right = perform(
        spice_row, seed=2, network=Network(left_delay_s=0.010, right_delay_s=0.040)
    )
    for side, delay in (("left", 0.010), ("right", 0.040)):
        gap = late_right.messages.of(side).now_s - plain.messages.of(side).now_s
        assert gap == pytest.approx(delay, abs=1e-9)


def test_an_off_centre_record_swings_once_a_turn_by_its_part_of_the_radius(spice_row):
    """0.2 mm of 100 mm: speed swings by 0.2 % either way, over 1.8 s."""
    played = perform(spice_row, seed=2, network=Network(off_centre_mm=0.2, resolution_s=0.0))
    plain = perform(spice_row, seed=2, network=Network(resolution_s=0.0))
    there, here = played.messages.of("left"), plain.messages.of("left")
    inside = (here.sent_s > 3.0) & (here.sent_s < 7.0)
    part = there.speed[inside] / here.speed[inside] - 1.0
    assert part.max() == pytest.approx(0.002, abs=1e-4)
    assert part.min() == pytest.approx(-0.002, abs=1e-4)


def test_a_person_is_within_what_the_cited_studies_leave_open():
    at_92 = 60.0 / 92.0
    assert 0.02 < PERSON.timing_error_s / at_92 < 0.04
    assert -0.050 < PERSON.timing_bias_s < 0.0


WRITTEN = b"""
title: Row
sounds:
  call: {file: call.wav, kind: a cappella, parts: {hey: {from: 0.1, to: 0.4}}}
pieces:
  - name: Lids
    bars: 4
    tempo: 100
    count: left
    left: {hand: runs, at: 1.8}
    right: {hand: works, sound: call, from: 5.4, to: 5.7, places: {hey: {from: 5.4, to: 5.7}},
            acts: {1: baby hey for 1 x4, 8: push hey for 1/2, 9: pull for 1/2,
                   10: let go hey for 1/2}}
  - name: Lids down
    bars: 2
    tempo: 100
    count: left
    left: {hand: runs, at: 36.0}
    right: {hand: rests}
"""


def test_drift_and_fatigue_reach_strokes_pulls_releases_and_starts_of_written_acts_too():
    """60 ms a minute are 1 ms a second of the performance, whatever is done then."""
    routine = read_routine(WRITTEN)
    drifts = replace(STEADY, drift_s_per_min=0.060)
    done = [e for e in perform(routine, seed=1, lead_s=3.0, hands=drifts).events if e.planned_s]
    assert {e.kind for e in done} >= {"start", "stroke", "pull", "release"}
    assert [e.error_s for e in done] == pytest.approx([0.001 * e.planned_s for e in done], abs=1e-6)
    # Twice as wide after a minute, and the same chance: 1 + t / 60 of the error without fatigue.
    spreads = replace(STEADY, stroke_error_s=0.010)
    tires = replace(spreads, fatigue_per_min=1.0)
    fresh, tired = (
        [e for e in perform(routine, seed=1, lead_s=3.0, hands=hands).events if e.kind == "stroke"]
        for hands in (spreads, tires)
    )
    assert [e.error_s for e in tired] == pytest.approx(
        [e.error_s * (1.0 + e.planned_s / 60.0) for e in fresh], abs=1e-6
    )
