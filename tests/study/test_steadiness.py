"""Steps, ramps and give: what the tempo does when it is not one."""

import numpy as np
import pytest
import soxr

from liveaid.study import study
from liveaid.study.steadiness import find_change, in_words, tempo_curve

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
    assert find_change(beats_of([0.5] * 40 + [0.5025] * 40)) is None


def test_the_curve_is_each_windows_own_tempo():
    curve = tempo_curve(beats_of([0.6] * 32 + [0.48] * 40))
    assert curve[0] == (0.25 + 4 * 0.6, pytest.approx(100.0))
    assert curve[-1][1] == pytest.approx(125.0)
    assert max(bpm for _, bpm in curve) <= 125.001
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
