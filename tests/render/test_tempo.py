"""Sounds brought to tempo by resampling: pitch, and beats on their sample."""

import math

import numpy as np
import pytest

from liveaid.render.to_tempo import recorded, resampled

RATE_HZ = 44_100


def band_limited(rate_hz, seconds, at):
    """Impulses through an ideal low-pass at 5 kHz, centred on exact, fractional samples."""
    out = np.zeros(round(seconds * rate_hz))
    for place in at:
        frames = np.arange(max(0, int(place) - 400), min(len(out), int(place) + 400))
        width = 5000 / rate_hz * 2
        window = 0.5 + 0.5 * np.cos(np.pi * np.clip((frames - place) / 400, -1, 1))
        out[frames] += width * np.sinc(width * (frames - place)) * window
    return out


def centre(sound, near):
    """Where an impulse lies, to a small part of a sample: the peak of a parabola through it."""
    at = near - 30 + int(np.argmax(sound[near - 30 : near + 31]))
    a, b, c = (float(sound[at + k]) for k in (-1, 0, 1))
    return at + 0.5 * (a - c) / (a - 2 * b + c)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("file_rate_hz", [22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize(("from_bpm", "to_bpm"), [(92.0, 96.0), (136.9, 92.0), (97.0, 97.0)])
def test_every_beat_lands_within_a_tenth_of_a_sample(rate_hz, file_rate_hz, from_bpm, to_bpm):
    first_beat_s, beats = 0.113, 16
    places = (first_beat_s + np.arange(beats) * 60 / from_bpm) * file_rate_hz
    sound = recorded(
        band_limited(file_rate_hz, 0.3 + beats * 60 / from_bpm, places), file_rate_hz, loop=False
    )
    got = resampled(
        sound,
        start_s=first_beat_s,
        speed=to_bpm / from_bpm,
        rate_hz=rate_hz,
        before=200,
        frames=round(beats * 60 / to_bpm * rate_hz),
    )
    wanted = 200 + np.arange(beats) * 60 / to_bpm * rate_hz
    found = [centre(got[:, 0], round(place)) for place in wanted]
    off = np.abs(found - wanted).max()
    # At the file's own rate and tempo nothing is filtered: the cut is at the nearest sample.
    untouched = file_rate_hz == rate_hz and from_bpm == to_bpm
    assert off < (0.51 if untouched else 0.1)


# Equal temperament (ISO 16): a speed of 1.08 is 12*log2(1.08) = 1.332 semitones, and one
# semitone is a speed of 2**(1/12), 5.946 per cent.
@pytest.mark.parametrize(("speed", "semitones"), [(1.08, 1.332), (1.05946, 1.0), (0.5, -12.0)])
def test_resampling_moves_pitch_with_tempo(speed, semitones):
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    sound = recorded(0.5 * np.sin(2 * np.pi * 440.0 * time_s), RATE_HZ, loop=False)
    got = resampled(sound, start_s=0.5, speed=speed, rate_hz=RATE_HZ, before=0, frames=RATE_HZ)
    spectrum = np.abs(np.fft.rfft(got[:, 0] * np.hanning(len(got)), 1 << 20))
    heard_hz = np.argmax(spectrum) * RATE_HZ / (1 << 20)
    assert 12 * math.log2(heard_hz / 440.0) == pytest.approx(semitones, abs=0.005)


def test_a_sound_at_its_own_rate_and_tempo_keeps_its_samples():
    noise = np.random.default_rng(0).uniform(-0.5, 0.5, RATE_HZ).astype(np.float32)
    sound = recorded(noise, RATE_HZ, loop=False)
    got = resampled(sound, start_s=0.25, speed=1.0, rate_hz=RATE_HZ, before=5, frames=10_000)
    begin = RATE_HZ // 4 - 5
    assert np.array_equal(got[:, 0], noise[begin : begin + 10_005])
    assert np.array_equal(got[:, 1], got[:, 0])


def test_two_channels_stay_two_different_channels():
    left, right = np.random.default_rng(1).uniform(-0.5, 0.5, (2, RATE_HZ))
    sound = recorded(np.c_[left, right].astype(np.float32), RATE_HZ, loop=False)
    got = resampled(sound, start_s=0.1, speed=1.1, rate_hz=RATE_HZ, before=0, frames=20_000)
    apart = recorded(left.astype(np.float32), RATE_HZ, loop=False)
    alone = resampled(apart, start_s=0.1, speed=1.1, rate_hz=RATE_HZ, before=0, frames=20_000)
    assert np.allclose(got[:, 0], alone[:, 0], atol=1e-6)
    assert abs(np.corrcoef(got[:, 0], got[:, 1])[0, 1]) < 0.05


def test_before_its_file_a_sound_is_silent_and_after_it_too():
    sound = recorded(np.full(1000, 0.5, np.float32), RATE_HZ, loop=False)
    got = resampled(sound, start_s=0.0, speed=1.0, rate_hz=RATE_HZ, before=300, frames=2000)
    assert not got[:300].any()
    assert got[300, 0] == 0.5
    assert not got[1300:].any()


def test_a_loop_comes_round_on_its_beat():
    # Four beats at 136.9 BPM as whole frames: the loop's length sets its tempo.
    frames = 77_297
    places = np.arange(4) * frames / 4
    one = band_limited(RATE_HZ, frames / RATE_HZ, places + 500)
    sound = recorded(np.roll(one, -500), RATE_HZ, loop=True)
    tempo_bpm = 4 * 60 / (frames / RATE_HZ)
    got = resampled(
        sound,
        start_s=3 * frames / RATE_HZ,
        speed=92.0 / tempo_bpm,
        rate_hz=RATE_HZ,
        before=100,
        frames=round(13 * 60 / 92 * RATE_HZ),
    )
    wanted = 100 + np.arange(12) * 60 / 92 * RATE_HZ
    found = [centre(got[:, 0], round(place)) for place in wanted]
    assert np.abs(found - wanted).max() < 0.1


@pytest.mark.parametrize("channels", [1, 2])
def test_a_caller_s_samples_are_left_as_they_are(channels):
    samples = np.full((500, channels), 0.5, np.float32)
    recorded(samples, RATE_HZ, loop=False)
    assert (samples == 0.5).all()
