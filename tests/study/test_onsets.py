"""Onsets: found where they are, without lag, and where there is something to find.

Measure: mir_eval's onset F-measure, whose 50 ms window is the MIREX onset task's.
"""

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.study.onsets import _bands, find_onsets, split_point
from liveaid.study.spectrum import GROUP_EDGES_HZ, RATE_HZ, analyse

RATE = 44100


def onsets(samples: np.ndarray, rate: int = RATE) -> np.ndarray:
    mono = soxr.resample(samples, rate, RATE_HZ).astype(np.float32)
    return find_onsets(mono, analyse(mono)).times_s


def lags(found: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Seconds from each true onset to its find, where there is one within 50 ms."""
    import mir_eval  # three quarters of a second to load

    matched = mir_eval.util.match_events(truth, found, 0.05)
    return np.array([found[j] - truth[i] for i, j in matched])


def test_drum_onsets_are_found_within_25_ms_and_without_lag(play):
    import mir_eval  # three quarters of a second to load

    samples, truth = play(0.3 + np.arange(33) * 60 / 97)
    found = onsets(samples)
    assert mir_eval.onset.f_measure(truth, found, window=0.025)[0] >= 0.95
    assert abs(np.median(lags(found, truth))) < 0.003


@pytest.mark.parametrize("background", ["hum", "noise"])
def test_onsets_over_a_steady_background_have_no_lag(play, background):
    import mir_eval  # three quarters of a second to load

    samples, truth = play(0.5 + np.arange(17) * 60 / 88)
    t = np.arange(len(samples)) / RATE
    noise = np.random.default_rng(1).normal(0, 0.01, len(t))
    samples = samples + (0.05 * np.sin(2 * np.pi * 220 * t) if background == "hum" else noise)
    found = onsets(samples)
    found = found[found > 0.2]  # the background begins at 0
    assert mir_eval.onset.f_measure(truth, found, window=0.05)[0] >= 0.9
    assert abs(np.median(lags(found, truth))) < 0.003


def test_notes_that_swell_from_each_other_are_found(note):
    import mir_eval  # three quarters of a second to load

    pitches = [60, 64, 67, 72, 65, 69]
    samples = np.concatenate([np.zeros(4410), *(note(p, 0.5) for p in pitches)]) * 0.2
    truth = 0.1 + 0.5 * np.arange(len(pitches))
    assert mir_eval.onset.f_measure(truth, onsets(samples), window=0.05)[0] >= 0.9


def test_a_sound_that_starts_with_the_file_begins_at_zero(play):
    samples, _ = play(np.arange(9) * 0.5)
    assert onsets(samples)[0] == pytest.approx(0.0, abs=0.003)


def test_silence_and_a_steady_tone_have_next_to_no_onsets():
    t = np.arange(5 * RATE) / RATE
    assert len(onsets(np.zeros(5 * RATE))) == 0
    assert len(onsets(0.3 * np.sin(2 * np.pi * 300 * t))) <= 2  # its two ends may be heard


@settings(max_examples=10, deadline=None)
@given(delay=st.floats(0.0, 1.5))
def test_a_delay_moves_every_onset_by_as_much(play, delay):
    samples, _ = play(0.2 + np.arange(9) * 0.47)
    late = np.concatenate([np.zeros(round(delay * RATE)), samples])
    before, after = onsets(samples), onsets(late)
    moved = lags(after, before + round(delay * RATE) / RATE)
    assert len(moved) >= 0.9 * len(before)
    assert np.abs(moved).max() < 0.006
    assert abs(np.median(moved)) < 0.001


@pytest.mark.parametrize(
    ("octaves", "left"), [(-0.6, 0.0), (-0.25, 0.5), (0.1, 1.0)], ids=["far", "near", "inside"]
)
def test_a_group_of_bands_is_cut_out_with_slopes_of_half_an_octave(octaves, left):
    """A sine so far inside the edge between the lowest group and the next, a straight slope:
    half an octave outside nothing is left of it, a quarter half. 2.048 s hold whole turns."""
    turns = round(GROUP_EDGES_HZ[0] * 2**octaves * 2.048)
    t = np.arange(round(2.048 * RATE_HZ)) / RATE_HZ
    sine = np.sin(2 * np.pi * turns / 2.048 * t, dtype=np.float32)
    upper = _bands(sine[None, :], np.array([1]))[0]
    assert np.abs(upper).max() == pytest.approx(left, abs=0.02)
    lower = _bands(sine[None, :], np.array([0]))[0]
    assert np.abs(lower).max() == pytest.approx(1.0 if octaves < 0 else 0.8, abs=0.02)


def test_variance_splits_where_the_noise_begins():
    # Maeda's picker on white noise 20 dB louder from sample 500 on.
    rng = np.random.default_rng(2)
    rows = rng.normal(0, 1, (20, 1280)).astype(np.float32)
    rows[:, :500] *= 0.1
    place, gain = split_point(rows)
    assert np.abs(place - 500).max() <= 6
    assert gain.min() > 0.5
