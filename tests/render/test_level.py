"""Levels measured by other means than the code's own meters."""

import numpy as np
import pyloudnorm
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import signal

from liveaid.render import level as leveling
from liveaid.render.level import CEILING_DBTP, levelled, loudness_lufs
from liveaid.render.limiter import limited, turned_down

RATE_HZ = 48_000


def sine(frequency_hz, dbfs, *, seconds=5.0, phase=0.0):
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tone = 10 ** (dbfs / 20) * np.sin(2 * np.pi * frequency_hz * time_s + phase)
    return np.repeat(tone[:, np.newaxis], 2, axis=1).astype(np.float32)


def foreign_lufs(sound):
    """pyloudnorm, a reference library of its own, with the filter that meets BS.1770's sine."""
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    return meter.integrated_loudness(sound.astype(np.float64))


def foreign_peak_db(sound):
    """The peak of the sound 16 times oversampled by scipy's polyphase resampler."""
    over = signal.resample_poly(sound.astype(np.float64), 16, 1, axis=0, window=("kaiser", 9.0))
    return 20 * np.log10(np.abs(over).max())


# EBU Tech 3341, table 1, case 1: a stereo sine of 1 kHz at -23 dBFS reads -23.0 LUFS, within
# 0.1 LU; levelling by so much must land within the same tolerance.
@pytest.mark.parametrize("wanted", [-23.0, -18.0, -16.0])
def test_the_standard_s_sine_is_levelled_to_what_was_asked(wanted):
    made, level = levelled(sine(1000.0, -23.0), rate_hz=RATE_HZ, wanted_lufs=wanted)
    assert foreign_lufs(made) == pytest.approx(wanted, abs=0.1)
    assert level.loudness_lufs == pytest.approx(wanted, abs=0.1)
    assert level.gain_db == pytest.approx(wanted + 23.0, abs=0.1)


def test_peaks_between_samples_are_kept_below_the_ceiling():
    # EBU Tech 3341, case 16 kind: a quarter of the rate, off the samples by 45 degrees, has its
    # samples 3.01 dB below its true peak.
    sound = sine(RATE_HZ / 4, -1.0, phase=np.pi / 4)
    assert 20 * np.log10(np.abs(sound).max()) == pytest.approx(-4.01, abs=0.02)
    made, peak = limited(sound, rate_hz=RATE_HZ, ceiling_dbtp=-6.0)
    assert peak <= -6.0 + 1e-6
    assert foreign_peak_db(made[1000:-1000]) < -5.8


def drums(seed, crest):
    rng = np.random.default_rng(seed)
    sound = 0.02 * rng.standard_normal(3 * RATE_HZ)
    for at in range(2000, len(sound) - 5000, 12_000):
        sound[at : at + 3000] += crest * np.exp(-np.arange(3000) / 300) * rng.standard_normal(3000)
    # What a microphone, a converter and a codec leave of noise: little above 17 kHz.
    sound = signal.lfilter(signal.firwin(63, 17_000, fs=RATE_HZ), 1.0, sound)
    return np.repeat(sound[:, np.newaxis], 2, axis=1).astype(np.float32)


@settings(max_examples=8)
@example(407, 1.0, -22.0)  # a peak on the way from a low sample up to a high one
@given(st.integers(0, 1000), st.floats(0.05, 1.5), st.floats(-28.0, -12.0))
def test_whatever_comes_in_the_true_peak_stays_below_the_ceiling(seed, crest, wanted):
    made, level = levelled(drums(seed, crest), rate_hz=RATE_HZ, wanted_lufs=wanted)
    assert foreign_peak_db(made) < CEILING_DBTP
    assert foreign_lufs(made) < wanted + 0.1
    assert foreign_lufs(made) == pytest.approx(level.loudness_lufs, abs=0.1)


def test_peaky_drums_reach_the_loudness_by_their_peaks_being_turned_down():
    made, level = levelled(drums(3, 0.6), rate_hz=RATE_HZ, wanted_lufs=-22.0)
    assert level.limited_db > 1.0
    assert foreign_lufs(made) == pytest.approx(-22.0, abs=0.2)


def test_what_is_far_from_a_peak_is_only_turned_up():
    sound = drums(3, 0.6)
    made, level = levelled(sound, rate_hz=RATE_HZ, wanted_lufs=-22.0)
    calm = slice(2000 + 8000, 2000 + 9000)
    assert np.allclose(made[calm], sound[calm] * 10 ** (level.gain_db / 20), rtol=1e-4)


def test_a_peak_too_high_for_the_loudness_leaves_the_sound_quieter_and_says_so():
    sound = np.zeros((RATE_HZ, 2), np.float32)
    sound[5000:5003] = 0.9
    made, level = levelled(sound, rate_hz=RATE_HZ, wanted_lufs=-10.0)
    assert level.short_of(-10.0) > 1.0
    assert foreign_peak_db(made) < CEILING_DBTP


def test_a_sound_shorter_than_a_gating_block_is_as_loud_as_a_long_one():
    burst = sine(1000.0, -23.0, seconds=0.1)
    assert loudness_lufs(burst, rate_hz=RATE_HZ) == pytest.approx(-23.0, abs=0.2)


def test_silence_has_no_level_and_stays_silence():
    made, level = levelled(np.zeros((RATE_HZ, 2), np.float32), rate_hz=RATE_HZ, wanted_lufs=-16.0)
    assert not made.any()
    assert level.loudness_lufs is None


def test_the_gain_about_a_peak_moves_smoothly_and_only_there():
    """One sample of 1.0 in a tone of 0.5, to a ceiling of 0.5: 5 ms before and after it, twice for
    the window and its smoothing, nothing else is touched; and the gain never jumps: over 5 ms a
    raised cosine from 1 to 0.5 changes by pi / 4 / 240 a frame at most, 0.0033 at 48 kHz."""
    t = np.arange(48_000) / 48_000
    tone = np.repeat(0.5 * np.sin(2 * np.pi * 441 * t)[:, np.newaxis], 2, axis=1).astype(np.float32)
    tone[24_000] = 1.0
    peaks = np.abs(tone).max(axis=1).astype(np.float64)
    made = turned_down(tone, peaks, 0.5, rate_hz=48_000)
    loud = np.abs(tone[:, 0]) > 0.05
    gain = made[loud, 0] / tone[loud, 0]
    at = np.flatnonzero(loud)
    assert gain[np.abs(at - 24_000) > 482] == pytest.approx(1.0, abs=1e-6)
    assert made[24_000, 0] == pytest.approx(0.5, abs=1e-3)
    assert np.max(np.abs(np.diff(gain)) / np.diff(at)) < 0.005


def gain_found(monkeypatch, share, *, gain=0.0, most=99.0, from_lufs=-20.0):
    """The gain for -18 LUFS of a sound that is at -20 and gets `share` of a decibel louder by each;
    every gain that was tried."""
    tried = []

    def loudness(sound, *, rate_hz):
        tried.append(round(20 * float(np.log10(sound.max())), 4))
        return from_lufs + share * tried[-1]

    monkeypatch.setattr(leveling, "turned_down", lambda sound, *_, **__: sound)
    monkeypatch.setattr(leveling, "loudness_lufs", loudness)
    one = np.ones((1, 2))
    found = leveling._gain_for(one, np.ones(1), gain, most, RATE_HZ, -18.0, -1.2)
    return round(found, 4), tried


def test_a_gain_is_come_to_by_what_the_last_two_tries_gave(monkeypatch):
    """A decibel gives half an LU: 2 short, so 2; 1 short still, so 2 more. A tenth of an LU is
    taken for a fifth: from 2 on by 9, and by half as much each time, six tries at most."""
    assert gain_found(monkeypatch, 0.5) == (4.0, [0.0, 2.0, 4.0])
    assert gain_found(monkeypatch, 0.5, most=3.0) == (3.0, [0.0, 2.0, 3.0])
    assert gain_found(monkeypatch, 0.1) == (19.4375, [0.0, 2.0, 11.0, 15.5, 17.75, 18.875])


def test_a_twentieth_of_an_lu_is_close_enough(monkeypatch):
    assert gain_found(monkeypatch, 1.0, from_lufs=-18.049) == (0.0, [0.0])
    assert gain_found(monkeypatch, 1.0, from_lufs=-18.051) == (0.051, [0.0, 0.051])
    assert gain_found(monkeypatch, 1.0, from_lufs=-17.951) == (0.0, [0.0])
    assert gain_found(monkeypatch, 1.0, from_lufs=-17.949) == (-0.051, [0.0, -0.051])


@pytest.mark.parametrize(
    ("lufs", "gain_db", "told"),
    [
        # A peak of .5 is 6.02 dB below full: 2 dB more stay below -1.2.
        (-20.0, 2.0, (-18.0, -4.0206, 2.0, 0.0)), (-22.82, 4.82, (-18.0, -1.2006, 4.82, 0.0)),
        # Below the absolute gate it is left as quiet as it is.
        (None, 0.0, (-18.0, -6.0206, 0.0, 0.0)),
    ],
)  # fmt: skip
def test_a_sound_with_peaks_below_the_ceiling_is_only_turned_up(monkeypatch, lufs, gain_db, told):
    monkeypatch.setattr(leveling, "loudness_lufs", lambda *_, **__: lufs)
    sound = np.array([[0.5, -0.5], [0.1, 0.1]], np.float32)
    monkeypatch.setattr(leveling, "peak_by_frame", lambda *_, **__: np.array([0.5, 0.1]))
    made, level = levelled(sound, rate_hz=RATE_HZ, wanted_lufs=-18.0)
    assert made == pytest.approx(sound * 10 ** (gain_db / 20))
    found = (level.loudness_lufs, level.true_peak_dbtp, level.gain_db, level.limited_db)
    assert found == pytest.approx(told, abs=1e-3)


def test_peaks_are_turned_down_by_nine_decibels_at_most(monkeypatch):
    """-1.2 + 9 + 6.02 = 13.82 dB more at most. Peaks are looked for from a decibel below the
    ceiling on, after the gain: -1.2 - 13.82 - 1."""
    asked, looked_above = [], []

    def peaks(_, *, above):
        looked_above.append(above)
        return np.array([0.5])

    monkeypatch.setattr(leveling, "loudness_lufs", lambda *_, **__: -40.0)
    monkeypatch.setattr(leveling, "peak_by_frame", peaks)
    monkeypatch.setattr(leveling, "_gain_for", lambda *how: asked.append(how[2:]) or 7.0)
    monkeypatch.setattr(leveling, "turned_up", lambda sound, gain, *, rate_hz: (sound, gain))
    assert levelled(np.full((2, 2), 0.5), rate_hz=RATE_HZ, wanted_lufs=-18.0)[1] == 7.0
    most = -1.2 + 9.0 + 20 * np.log10(2)
    gain = pytest.approx(-1.2 + 9.0 + 20 * np.log10(2))
    assert asked == [(gain, gain, RATE_HZ, -18.0, pytest.approx(-1.2))]
    assert looked_above == pytest.approx([0.5, 10 ** ((-2.2 - most) / 20)])
