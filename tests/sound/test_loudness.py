"""Loudness, loudness range and true peak against the EBU's own test signals, synthesised here.

Sources: EBU Tech 3341 (minimum requirements test signals 1 to 6 and 15 to 19) and EBU Tech 3342
(1 to 4), their levels, lengths and tolerances; ITU-R BS.1770-5.
"""

import numpy as np
import pyloudnorm
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.sound.loudness import (
    LoudnessMeter,
    PeakMeter,
    channel_weights,
    interpolator,
    k_weighting,
)

RATE = 48000


def sine(level_db: float, seconds: float, *, hz: float = 1000.0, rate: int = RATE) -> np.ndarray:
    t = np.arange(round(seconds * rate)) / rate
    return (10 ** (level_db / 20) * np.sin(2 * np.pi * hz * t)).astype(np.float32)


def stereo(*steps: tuple[float, float]) -> np.ndarray:
    """A 1 kHz tone, in phase in both channels, through these levels and lengths."""
    one = np.concatenate([sine(level, seconds) for level, seconds in steps])
    return np.stack([one, one], axis=1)


def heard(samples: np.ndarray, rate: int = RATE, block: int = 30011) -> LoudnessMeter:
    meter = LoudnessMeter(rate_hz=rate, channels=samples.shape[1])
    for start in range(0, len(samples), block):
        meter.hear(samples[start : start + block])
    return meter


@pytest.mark.parametrize(
    ("steps", "lufs"),
    [
        ([(-23.0, 20)], -23.0),  # Tech 3341, signal 1
        ([(-33.0, 20)], -33.0),  # signal 2
        ([(-36.0, 10), (-23.0, 60), (-36.0, 10)], -23.0),  # signal 3
        ([(-72.0, 10), (-36.0, 10), (-23.0, 60), (-36.0, 10), (-72.0, 10)], -23.0),  # signal 4
        ([(-26.0, 20), (-20.0, 20.1), (-26.0, 20)], -23.0),  # signal 5
    ],
    ids=["1", "2", "3", "4", "5"],
)
def test_integrated_loudness_of_the_ebus_tones(steps, lufs):
    assert heard(stereo(*steps)).integrated_lufs() == pytest.approx(lufs, abs=0.1)


def test_surround_channels_weigh_more_and_the_low_channel_nothing():
    # Tech 3341, signal 6: -28 dBFS left and right, -24 centre, -30 left and right surround.
    parts = [sine(level, 20) for level in (-28.0, -28.0, -24.0, -30.0, -30.0)]
    five = np.stack(parts, axis=1)
    six = np.insert(five, 3, sine(0.0, 20, hz=50.0), axis=1)
    assert heard(five).integrated_lufs() == pytest.approx(-23.0, abs=0.1)
    assert heard(six).integrated_lufs() == pytest.approx(-23.0, abs=0.1)


def test_channels_weigh_by_where_they_stand():
    """ITU-R BS.1770-5 table 3: what comes from behind 1.41, the low-frequency channel nothing."""
    assert {count: tuple(channel_weights(count)) for count in (1, 2, 4, 5, 6, 7)} == {
        1: (1,), 2: (1, 1), 4: (1, 1, 1.41, 1.41), 5: (1, 1, 1, 1.41, 1.41),
        6: (1, 1, 1, 0, 1.41, 1.41), 7: (1,) * 7,
    }  # fmt: skip


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000, 96000, 192000])
def test_the_standards_sine_reads_minus_3_01_at_every_rate(rate):
    # ITU-R BS.1770-5 Annex 1: 0 dBFS at 997 Hz in one front channel reads -3.01 LKFS.
    samples = sine(0.0, 3, hz=997.0, rate=rate)[:, None]
    assert heard(samples, rate).integrated_lufs() == pytest.approx(-3.01, abs=0.05)


def test_k_weighting_has_the_standards_coefficients_at_48_khz():
    # ITU-R BS.1770-5 Annex 1, tables 1 and 2.
    shelf = [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0]
    shelf += [-1.69065929318241, 0.73248077421585]
    high_pass = [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621]
    hz = np.geomspace(20, 20000, 50)
    ours = scipy.signal.sosfreqz(k_weighting(48000), hz, fs=48000)[1]
    theirs = scipy.signal.sosfreqz([shelf, high_pass], hz, fs=48000)[1]
    assert 20 * np.log10(np.abs(ours / theirs)) == pytest.approx(np.zeros(50), abs=0.02)


@pytest.mark.parametrize(
    ("levels", "range_lu"),
    [
        ([-20.0, -30.0], 10.0),  # Tech 3342, signal 1
        ([-20.0, -15.0], 5.0),  # signal 2
        ([-40.0, -20.0], 20.0),  # signal 3
        ([-50.0, -35.0, -20.0, -35.0, -50.0], 15.0),  # signal 4
    ],
    ids=["1", "2", "3", "4"],
)
def test_loudness_range_of_the_ebus_tones(levels, range_lu):
    meter = heard(stereo(*((level, 20.0) for level in levels)))
    assert meter.range_lu() == pytest.approx(range_lu, abs=1.0)


@pytest.mark.parametrize(
    ("amplitude", "part", "degrees", "dbtp"),
    [
        (0.5, 4, 0.0, -6.0),  # Tech 3341, signal 15
        (0.5, 4, 45.0, -6.0),  # signal 16
        (0.5, 6, 60.0, -6.0),  # signal 17
        (0.5, 8, 67.5, -6.0),  # signal 18
        (1.41, 4, 45.0, 3.0),  # signal 19
    ],
    ids=["15", "16", "17", "18", "19"],
)
def test_true_peak_of_the_ebus_tones(amplitude, part, degrees, dbtp):
    turn = 2 * np.pi * np.arange(RATE) / part + np.radians(degrees)
    fade = np.minimum(1.0, np.minimum(np.arange(RATE), np.arange(RATE)[::-1]) / 480)
    peak = PeakMeter()
    peak.hear((amplitude * np.sin(turn) * fade)[:, None].astype(np.float32))
    peak.finish()
    assert dbtp - 0.4 <= peak.dbtp() <= dbtp + 0.2


def test_gated_loudness_agrees_with_a_reference_library_on_uneven_noise():
    # pyloudnorm with the "DeMan" filters, an independent reading of the same standard.
    rng = np.random.default_rng(4)
    level = np.repeat(10 ** (rng.uniform(-45, -5, 40) / 20), RATE // 2)
    samples = (rng.normal(0, 0.2, (len(level), 2)) * level[:, None]).astype(np.float32)
    reference = pyloudnorm.Meter(RATE, filter_class="DeMan").integrated_loudness(samples)
    assert heard(samples).integrated_lufs() == pytest.approx(reference, abs=0.02)


def test_true_peak_agrees_with_eightfold_oversampling_on_noise():
    samples = np.random.default_rng(5).normal(0, 0.2, (RATE, 2))
    reference = np.abs(scipy.signal.resample_poly(samples, 8, 1, axis=0)).max()
    peak = PeakMeter()
    for start in range(0, RATE, 7001):
        peak.hear(samples[start : start + 7001].astype(np.float32))
    peak.finish()
    assert peak.dbtp() == pytest.approx(20 * np.log10(reference), abs=0.2)


@pytest.mark.parametrize("block", [1102, 1103, 5000])
def test_steps_that_end_between_frames_are_all_heard(block):
    """A tenth of a second at 11,025 Hz is 1,102.5 frames: however the sound is cut into blocks, its
    last 400 ms, which are the loudest, are its loudness."""
    rate = 11025
    level = np.repeat(10 ** (np.arange(-60, -20) / 20), 1102)
    samples = (np.random.default_rng(8).normal(0, 1, (len(level), 1)) * level[:, None]).astype("f4")
    whole = heard(samples, rate, block=len(samples))
    cut = heard(samples, rate, block=block)
    assert cut.integrated_lufs() == pytest.approx(whole.integrated_lufs(), abs=1e-9)
    assert cut.range_lu() == pytest.approx(whole.range_lu(), abs=1e-9)


def test_what_is_softer_than_the_gate_is_not_heard():
    """BS.1770-5: -70 LUFS, over 400 ms at least; a stereo tone at 1 kHz reads as its level."""
    assert heard(stereo((-69.5, 1))).integrated_lufs() == pytest.approx(-69.5, abs=0.1)
    assert heard(stereo((-70.5, 1))).integrated_lufs() is None
    assert heard(stereo((-20.0, 0.4))).integrated_lufs() == pytest.approx(-20.0, abs=0.1)


def test_a_peak_between_the_last_samples_is_heard():
    """A quarter of the rate at 45 degrees: its samples of .6 lie beside peaks of .6 x sqrt(2)."""
    peak = PeakMeter()
    peak.hear(np.array([*np.zeros(400), *np.tile([0.6, 0.6, -0.6, -0.6], 4)], "f4")[:, None])
    before = peak.peak
    peak.finish()
    assert before == pytest.approx(0.6)
    assert peak.peak == pytest.approx(0.6 * np.sqrt(2), abs=0.05)
    empty = PeakMeter()
    empty.finish()
    assert empty.dbtp() is None


@pytest.mark.parametrize("parts", [4, 8])
def test_samples_between_are_found_by_a_windowed_sinc(parts):
    """Kaiser's window of 9 over 24 samples on either side, by numpy's own."""
    places = np.arange(-24 * parts, 24 * parts + 1) / parts
    sinc = np.sinc(places) * np.kaiser(len(places), 9.0)
    wanted = [[sinc[parts * tap + parts - part] for part in range(1, parts)] for tap in range(48)]
    assert interpolator(parts) == pytest.approx(np.array(wanted), abs=1e-6)


def test_a_very_low_rate_weighs_low_tones_as_others_do():
    """At 200 Hz the K filter's shelf and high-pass hardly show, whatever the rate (BS.1770-5)."""
    for rate in (1000, 2000, 48000):
        tone = sine(-20.0, 2, hz=200.0, rate=rate)[:, None]
        assert heard(tone, rate).integrated_lufs() == pytest.approx(-23.0, abs=1.1)


def test_silence_and_a_blink_have_no_loudness():
    assert heard(np.zeros((RATE, 2), np.float32)).integrated_lufs() is None
    assert heard(stereo((-20.0, 0.39))).integrated_lufs() is None
    assert PeakMeter().dbtp() is None


@settings(max_examples=15, deadline=None)
@given(gain_db=st.floats(-30, 20), block=st.integers(999, 50000))
def test_gain_moves_loudness_and_peak_by_as_many_decibels(gain_db, block):
    rng = np.random.default_rng(6)
    samples = rng.normal(0, 0.05, (2 * RATE, 1)).astype(np.float32)
    louder = samples * np.float32(10 ** (gain_db / 20))
    quiet, loud = heard(samples), heard(louder, block=block)
    assert loud.integrated_lufs() == pytest.approx(quiet.integrated_lufs() + gain_db, abs=0.01)
    peaks = [PeakMeter(), PeakMeter()]
    for peak, sound in zip(peaks, (samples, louder), strict=True):
        peak.hear(sound)
        peak.finish()
    assert peaks[1].dbtp() == pytest.approx(peaks[0].dbtp() + gain_db, abs=0.01)
