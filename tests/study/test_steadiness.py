"""Steps, ramps and give: what the tempo does when it is not one."""

import numpy as np
import pytest
import soxr

from liveaid.study import study
from liveaid.study.steadiness import TempoChange, find_change, in_words, tempo_curve

RATE = 44100


def beats_of(periods):
    return 0.25 + np.concatenate([[0.0], np.cumsum(periods)])


def test_a_step_is_told_with_its_place_and_both_tempi():
    # 32 beats of 0.6 s (100 BPM) end at 0.25 + 19.2 = 19.45 s; then 0.48 s (125 BPM), 25 % up.
    change = find_change(beats_of([0.6] * 32 + [0.48] * 40))
    assert change.kind == "step"
    assert change.at_s == pytest.approx(19.45, abs=0.6)
    assert (change.before_bpm, change.after_bpm) == (pytest.approx(100), pytest.approx(125))
    assert in_words(change) == "steps from 100.0 to 125.0 BPM (+25.0 %) at 0:19"


def test_a_ramp_is_told_by_its_ends():
    # Log tempo rises evenly from 100 to 110 BPM over 80 beats: +10 %.
    tempo = 100 * 1.1 ** (np.arange(80) / 79)
    change = find_change(beats_of(60 / tempo))
    assert change.kind == "ramp"
    assert change.percent == pytest.approx(10.0, abs=0.1)
    assert in_words(change) == "goes evenly from 100.0 to 110.0 BPM (+10.0 %)"


def test_hands_that_give_and_take_make_neither_step_nor_ramp():
    wave = 0.5 * (1 + 0.06 * np.sin(np.arange(96) * 2 * np.pi / 16))
    assert find_change(beats_of(wave)) is None
    assert in_words(None) == ""


def test_half_a_per_cent_is_no_change():
    """From .8 % on it is: 120 BPM and 120 / 1.009 or 120 * 1.009."""
    for periods in (0.5025, 0.5035, 0.4965):
        assert find_change(beats_of([0.5] * 40 + [periods] * 40)) is None
    for periods, percent in ((0.5045, -0.892), (0.4955, 0.908)):
        change = find_change(beats_of([0.5] * 40 + [periods] * 40))
        assert change.percent == pytest.approx(percent, abs=1e-3)


@pytest.mark.parametrize(
    ("before", "after", "at_s"),
    [
        (8, 8, 5.05),  # 8 x .6 s behind .25 s
        (4, 12, 2.65),
        (12, 4, 7.45),
        (9, 6, None),  # sixteen beats are wanted at least
        (9, 7, 5.65),
    ],
)
def test_a_step_is_told_from_sixteen_beats_on_and_a_bar_from_either_end(before, after, at_s):
    change = find_change(
        beats_of([0.6] * before + [0.5] * after)[: before + after + (at_s is not None)]
    )
    if at_s is None:
        assert change is None
    else:
        assert (change.kind, change.at_s) == ("step", pytest.approx(at_s))
        assert (change.before_bpm, change.after_bpm) == (pytest.approx(100), pytest.approx(120))


def test_one_tempo_neither_steps_nor_ramps():
    assert find_change(beats_of([0.5] * 64)) is None


def test_a_ramp_begins_with_the_first_beat():
    change = find_change(beats_of(60 / (120 * 0.9 ** (np.arange(40) / 39))))
    assert (change.kind, change.at_s) == ("ramp", 0.25)
    assert (change.before_bpm, change.after_bpm) == (pytest.approx(120), pytest.approx(108))
    assert in_words(TempoChange("step", 59.6, 100.0, 90.0)) == (
        "steps from 100.0 to 90.0 BPM (-10.0 %) at 1:00"
    )


def test_the_curve_is_each_windows_own_tempo():
    """Windows of eight beats begin four apart; one lies across the step, and its line is worked out
    as the sum of (n - 4) times the second of each beat, over 60."""
    curve = tempo_curve(beats_of([0.6] * 12 + [0.48] * 8))
    across = np.concatenate([0.6 * np.arange(5), 2.4 + 0.48 * np.arange(1, 5)])
    bent = 60.0 / (sum((n - 4) * second for n, second in enumerate(across)) / 60.0)
    assert curve == (
        (2.65, 100.0), (5.05, 100.0), (pytest.approx(7.45 - 10 * 0.12 / 9, abs=1e-3),
                                       pytest.approx(bent, abs=1e-3)),
        (9.37, 125.0),
    )  # fmt: skip
    assert tempo_curve(np.array([0.0, 0.5, 1.0])) == ((0.5, 120.0),)
    assert tempo_curve(np.array([0.0, 0.5])) == ()
    assert tempo_curve(np.zeros(0)) == ()


@pytest.mark.parametrize("ratio", [1.04, 0.94, 1.25])
def test_a_record_that_speeds_up_in_its_middle_is_never_called_steady(play, file, ratio):
    samples, _ = play(0.1 + np.arange(81) * 60 / 100)
    middle = round((0.1 + 40 * 0.6) * RATE)
    faster = soxr.resample(samples[middle:], RATE * ratio, RATE)
    found = study(file(np.concatenate([samples[:middle], faster])))
    assert not found.steady
    assert found.tempo_change.startswith("steps from 100.")
    assert found.tempo_curve[-2][1] == pytest.approx(100 * ratio, rel=0.005)
    # The beats go on where the faster part has them: 0.6 s / ratio apart from the step on.
    later = np.array(found.beats_s)[-8:]
    assert np.diff(later) == pytest.approx(0.6 / ratio, abs=0.012)


def test_one_tempo_has_no_curve(play, file):
    found = study(file(play(0.1 + np.arange(65) * 60 / 100)[0]))
    assert found.steady
    assert (found.tempo_curve, found.tempo_change, found.beats_s) == ((), "", ())
