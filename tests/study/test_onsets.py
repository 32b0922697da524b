"""Onsets: found where they are, without lag, and where there is something to find.

Measure: mir_eval's onset F-measure, whose 50 ms window is the MIREX onset task's.
"""

from types import SimpleNamespace

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.study import onsets as onset_study
from liveaid.study.onsets import (
    Onsets,
    _around,
    _bands,
    _near,
    _usual,
    find_onsets,
    pick_peaks,
    split_point,
    strongest_near,
)
from liveaid.study.spectrum import GROUP_EDGES_HZ, GROUPS, RATE_HZ, analyse

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


def strengths(level, frames=400, **at):
    """A level throughout, but at so many frames: _200=1.0 is 1 at frame 200."""
    row = np.full(frames, level, dtype=np.float32)
    for place, value in at.items():
        row[int(place[1:])] = value
    return row


@pytest.mark.parametrize(
    ("strength", "peaks"),
    [
        # 200 frames a second. One peak of h makes a mean of h / 35 of the 100 ms before to 70 ms
        # after it, 20 and 14 frames, and has to be .08 above it: h >= .0824.
        (strengths(0.0, _200=0.083), [200]),
        (strengths(0.0, _200=0.082), []),
        # A second one has to be .08 of the strong above its own mean: of 2 and h strong is
        # 1.8 + .1 h. With 2 within its mean h >= (2 + h) / 35 + .144 + .008 h, .209.
        (strengths(0.0, _180=2.0, _200=0.212), [180, 200]),
        (strengths(0.0, _180=2.0, _200=0.206), [180]),
        (strengths(0.0, _179=2.0, _200=0.152), [179, 200]),  # a frame earlier: .1498
        (strengths(0.0, _179=2.0, _200=0.148), [179]),
        (strengths(0.0, _200=0.212, _214=2.0), [200, 214]),
        (strengths(0.0, _200=0.206, _214=2.0), [214]),
        (strengths(0.0, _200=0.152, _215=2.0), [200, 215]),
        # Four times the middling level about it: .05 throughout; the mean leaves (h - .05) / 35.
        (strengths(0.05, _200=0.201), [200]),
        (strengths(0.05, _200=0.199), []),
        # The largest of 30 ms, six frames, on either side; two alike in a row are one.
        (strengths(0.0, _200=1.0, _206=0.9), [200]),
        (strengths(0.0, _200=1.0, _207=0.9), [200, 207]),
        (strengths(0.0, _194=0.9, _200=1.0), [200]),
        (strengths(0.0, _200=1.0, _201=1.0), [200]),
        (strengths(0.0, _200=1.0, _205=1.0), [200]),
        (strengths(0.0, _200=1.0, _206=1.0), [200, 206]),
        (strengths(0.0, _0=1.0, _399=1.0), [0, 399]),
        (strengths(0.0, frames=0), []),
    ],
)
def test_a_peak_stands_out_from_its_surroundings(strength, peaks):
    """SuperFlux's rules (Böck and Widmer 2013), figures by hand."""
    assert pick_peaks(strength).tolist() == peaks


def test_the_usual_strength_is_the_middling_one_of_each_half_second():
    """100 frames each: 1, 9, 2, 3 and half of one of 4. The middle of three is told, the ends
    being followed by themselves, straight from the middle of one to that of the next."""
    strength = np.repeat([1.0, 9.0, 2.0, 3.0, 4.0], 100)[:450].astype(np.float32)
    strength[::3] = 0.0  # a third of them says nothing
    found = _usual(strength)
    assert found[[0, 50, 100, 150, 200, 250, 325, 350, 400, 449]] == pytest.approx(
        [1.0, 1.0, 1.5, 2.0, 2.5, 3.0, 3.0, 3.0, 3.5, 3.99]
    )


def test_a_groups_rise_is_the_largest_within_a_frame():
    rise = np.array([5, 1, 2, 0, 0, 7, 3], dtype=np.float32)
    assert _near(rise, np.array([0, 2, 3, 4, 6])).tolist() == [5.0, 2.0, 2.0, 7.0, 7.0]
    assert _near(rise, np.zeros(0, np.intp)).tolist() == []


def test_the_sound_around_a_peak_is_filled_up_with_silence():
    """From 768 samples before a frame's middle to 512 after, and so much more as is asked for."""
    mono = np.arange(1.0, 4001.0, dtype=np.float32)
    first, inner, last = _around(mono, np.array([2, 20, 35]), 0)
    assert len(first) == 1280
    assert first[: 768 - 220].max() == 0.0
    assert (first[548], first[-1]) == (1.0, 732.0)
    assert (inner[0], inner[-1]) == (2200 - 768 + 1, 2200 + 512)
    assert (last[0], last[917], last[918]) == (3850 - 768 + 1, 4000.0, 0.0)
    (wide,) = _around(mono, np.array([20]), 384)
    assert (len(wide), wide[0]) == (1280 + 768, 2200 - 768 - 384 + 1)


def test_the_strongest_beginning_about_a_time_counts_more_as_it_is_near():
    """Up to a quarter second before and half a second after, where half of its strength counts."""
    heard = Onsets(
        np.array([1.0, 1.5, 4.0]), np.array([1.0, 1.5, 1.2], np.float32), np.zeros((3, 4))
    )
    told = {
        0.49: -1, 0.5: 0, 1.0: 0,  # 1 against 1.5 / 2
        1.0625: 0,  # 7 / 8 against 1.5 times 9 / 16
        1.125: 1,  # 3 / 4 against 1.5 times 5 / 8
        1.75: 1, 1.76: -1, 3.49: -1, 3.5: 2, 4.0: 2, 4.25: 2, 4.26: -1,
    }  # fmt: skip
    found = strongest_near(heard, np.array(list(told)), before_s=0.25, after_s=0.5)
    assert found.tolist() == list(told.values())
    silent = Onsets(np.zeros(0), np.zeros(0, np.float32), np.zeros((0, 4), np.float32))
    assert strongest_near(silent, np.array([1.0]), before_s=1.0, after_s=1.0).tolist() == [-1]


def test_onsets_are_put_in_order_and_two_of_one_stroke_are_one(monkeypatch):
    """Begins told 15 ms apart are two, closer ones are the first of them; 1,025 peaks are taken in
    three batches."""
    peaks = np.arange(0, 4 * 1025, 4)
    begins = peaks / 200.0
    begins[[10, 11]] = begins[[11, 10]]
    begins[20] = begins[19] + 0.0151
    begins[30] = begins[29] + 0.0149
    told = dict(zip(peaks.tolist(), begins.tolist(), strict=True))
    monkeypatch.setattr(onset_study, "pick_peaks", lambda _: peaks)
    monkeypatch.setattr(
        onset_study, "_begin_s", lambda _mono, few, _: np.array([told[one] for one in few.tolist()])
    )
    rise = np.random.default_rng(1).random((4 * 1025 + 2, GROUPS)).astype(np.float32)
    spectrum = SimpleNamespace(rise=rise, strength=rise.sum(axis=1))
    found = find_onsets(np.zeros(9, np.float32), spectrum)
    order = [*range(10), 11, 10, *range(12, 30), *range(31, 1025)]
    assert found.times_s == pytest.approx(begins[order])
    assert found.strength.tolist() == spectrum.strength[peaks[order]].tolist()
    widest = np.array([rise[max(one - 1, 0) : one + 2].max(axis=0) for one in peaks[order]])
    assert found.groups.tolist() == widest.tolist()


@pytest.mark.parametrize("begins", [0, 300, 700, 1230])
def test_a_split_is_where_the_sum_of_the_logs_is_least(begins):
    """Maeda's sum written out, k log of the mean square before and n - k after it, for every third
    k up to 48 before the end; the gain a sample. Silence is taken for 40 dB below the whole."""
    rng = np.random.default_rng(begins)
    row = rng.normal(0.0, 1.0, 1280).astype(np.float32)
    row[:begins] *= 0.05
    square = row.astype(float) ** 2
    least = square.mean() * 1e-4
    told = {}
    for k in range(3, 1280 - 48, 3):
        before, after = square[:k].mean() + least, square[k:].mean() + least
        if after >= before:
            told[k] = k * np.log(before) + (1280 - k) * np.log(after)
    place, gain = split_point(row[None, :])
    best = min(told, key=told.get)
    assert place.tolist() == [best]
    whole = 1280 * np.log(square.mean() + least)
    assert gain == pytest.approx([(whole - told[best]) / 1280], abs=1e-7)


def test_what_only_fades_is_not_split():
    """Nowhere is the rest louder: the middle of where it is looked for, and nothing gained."""
    place, gain = split_point(np.linspace(1.0, 0.0, 1280, dtype=np.float32)[None, :])
    assert (place.tolist(), gain.tolist()) == ([768], [0.0])
    place, gain = split_point(np.zeros((1, 1280), np.float32))
    assert np.isfinite(gain).all()
