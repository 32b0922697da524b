"""Sounds brought to tempo with their key kept."""

import math

import numpy as np
import pytest

from liveaid.files.workers import Workers
from liveaid.render.stretching import (
    _correlated,
    _moved,
    _rises,
    lag,
    stretch_apart,
    stretch_here,
    stretched,
)
from liveaid.render.to_tempo import recorded, resampled

RATE_HZ = 44_100


@pytest.mark.parametrize("speed", [0.25, 0.8, 1.1, 1.5, 4.0])
def test_the_key_stays_and_the_length_changes(speed):
    seconds = 4.0 * max(speed, 1.0)
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = recorded(0.3 * np.sin(2 * np.pi * 440.0 * time_s), RATE_HZ, loop=False)
    frames = round(0.6 * len(time_s) / speed)
    got = stretched(
        sound, start_s=0.2 * seconds, speed=speed, rate_hz=RATE_HZ, before=0, frames=frames
    )
    assert got.shape == (frames, 2)
    middle = got[len(got) // 4 : -len(got) // 4, 0]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle)), 1 << 20))
    heard_hz = np.argmax(spectrum) * RATE_HZ / (1 << 20)
    assert heard_hz == pytest.approx(440.0, abs=0.7)


@pytest.mark.parametrize("speed", [0.8, 0.95, 1.06, 1.25])
def test_hits_land_within_three_milliseconds_of_the_beat_and_within_two_on_average(speed, sounds):
    # The bar here is our own: a hit struck well by hand scatters more (no source).
    beats, tempo_bpm = 16, 100.0
    sound = recorded(sounds.clicks(tempo_bpm, beats, lead_in_s=0.1), RATE_HZ, loop=False)
    beat = 60 / tempo_bpm / speed * RATE_HZ
    got = stretched(
        sound,
        start_s=0.1,
        speed=speed,
        rate_hz=RATE_HZ,
        before=1000,
        frames=round(beats * beat),
    )
    off_ms = []
    for number in range(1, beats):
        near = round(1000 + number * beat)
        window = np.abs(got[near - 600 : near + 600, 0])
        first = int(np.argmax(window > 0.3 * window.max()))
        off_ms.append((first - 600) / RATE_HZ * 1000)
    assert max(abs(ms) for ms in off_ms) < 3.0
    assert abs(float(np.mean(off_ms))) < 2.0


def test_left_stays_left_and_right_stays_right():
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    tones = 0.3 * np.sin(2 * np.pi * np.outer(time_s, [440.0, 660.0]))
    sound = recorded(tones.astype(np.float32), RATE_HZ, loop=False)
    got = stretched(sound, start_s=0.5, speed=1.1, rate_hz=RATE_HZ, before=0, frames=2 * RATE_HZ)
    spectrum = np.abs(np.fft.rfft(got * np.hanning(len(got))[:, np.newaxis], axis=0))
    heard_hz = np.argmax(spectrum, axis=0) * RATE_HZ / len(got)
    assert heard_hz == pytest.approx([440.0, 660.0], abs=1.0)


@pytest.mark.parametrize("frames", [-300, -7, 0, 41, 250])
def test_a_lag_is_found_to_the_frame(frames, sounds):
    sound = np.repeat(sounds.clicks(120, 8, lead_in_s=0.3)[:, np.newaxis], 2, axis=1)
    assert lag(sound, np.roll(sound, frames, axis=0), rate_hz=RATE_HZ) == frames


def test_the_same_sound_comes_out_the_same_here_and_in_a_process_of_its_own(sounds):
    sound = np.repeat(sounds.clicks(120, 4).astype(np.float32)[:, np.newaxis], 2, axis=1)
    with Workers(1) as workers:
        apart = stretch_apart(workers)(sound, 1.1, RATE_HZ)
    assert np.array_equal(apart, stretch_here(sound, 1.1, RATE_HZ))


def test_at_its_own_tempo_nothing_is_stretched():
    noise = np.random.default_rng(0).uniform(-0.5, 0.5, RATE_HZ).astype(np.float32)
    sound = recorded(noise, RATE_HZ, loop=False)
    got = stretched(sound, start_s=0.25, speed=1.0, rate_hz=RATE_HZ, before=5, frames=10_000)
    begin = RATE_HZ // 4 - 5
    assert np.array_equal(got[:, 0], noise[begin : begin + 10_005])


def test_a_louder_onset_beyond_what_a_stretch_can_be_off_is_no_lag():
    """12 ms either way are 529 frames: a louder burst 3000 frames on is another hit."""
    exact, made = np.zeros((2, 8000, 2))
    exact[2000:2300] = 0.1
    made[2041:2341] = 0.1
    made[5000:5300] = 0.12
    assert lag(exact, made, rate_hz=RATE_HZ) == 41


def test_what_the_stretcher_is_given_and_what_is_made_of_it():
    """At 1000 Hz a quarter second settles it: 250 frames and the 40 before, the 300 after and 250
    more, each as many of the sound's as it is faster. What comes back 7 frames late is put back."""
    sound = recorded(np.random.default_rng(2).uniform(-0.5, 0.5, 4000), 1000, loop=False)
    given = []

    def late(plain, speed, rate_hz):
        given.append((plain[:, 0].tolist(), speed, rate_hz))
        made = resampled(sound, start_s=1.5, speed=1.2, rate_hz=1000, before=290, frames=560)
        return np.concatenate([np.zeros((7, 2), np.float32), made])

    how = {"start_s": 1.5, "speed": 1.2, "rate_hz": 1000, "before": 40, "frames": 300}
    got = stretched(sound, **how, stretch=late)
    assert given == [(sound.between(1500 - 348, 1500 + 660)[:, 0].tolist(), 1.2, 1000)]
    assert got == pytest.approx(resampled(sound, **how), abs=1e-6)


def test_a_sound_moved_is_cut_or_filled_to_its_length():
    sound = np.arange(1.0, 5.0)[:, np.newaxis]
    for by, length, moved in (
        (0, 4, [1, 2, 3, 4]), (1, 4, [2, 3, 4, 0]), (-1, 4, [0, 1, 2, 3]), (-6, 4, [0, 0, 0, 0]),
        (9, 4, [0, 0, 0, 0]), (0, 2, [1, 2]), (2, 3, [3, 4, 0]), (-2, 7, [0, 0, 1, 2, 3, 4, 0]),
    ):  # fmt: skip
        assert _moved(sound, by, length)[:, 0].tolist() == moved


def test_a_rise_is_how_much_more_energy_comes_than_went():
    """Three milliseconds at 1000 Hz: the log of the next three frames' energy over the three's up
    to here, a ten thousandth of the greatest added to both; 0 where it falls."""
    left, right = np.random.default_rng(1).uniform(-1, 1, (2, 30))
    energy = np.concatenate([np.zeros(3), left**2 + right**2, np.zeros(3)])
    after = [sum(energy[k + 4 : k + 7]) for k in range(30)]
    before = [sum(energy[k + 1 : k + 4]) for k in range(30)]
    floor = 1e-4 * max(after)
    pairs = zip(after, before, strict=True)
    wanted = [max(math.log((a + floor) / (b + floor)), 0.0) for a, b in pairs]
    assert _rises(np.stack([left, right], axis=1), 1000) == pytest.approx(wanted, abs=1e-9)


def test_a_product_at_every_place_is_numpys():
    rng = np.random.default_rng(3)
    long, short = rng.random(40), rng.random(25)
    wanted = [float(long[k : k + 25] @ short) for k in range(16)]
    assert _correlated(long, short, 16) == pytest.approx(wanted)


def test_a_lag_is_looked_for_12_ms_either_way_and_silence_has_none():
    """At 1000 Hz 12 frames; the greatest within is told."""
    exact = np.zeros((200, 2))
    exact[80:100] = 0.5
    assert [lag(exact, np.roll(exact, by, axis=0), rate_hz=1000) for by in (12, -12)] == [12, -12]
    assert abs(lag(exact, np.roll(exact, 40, axis=0), rate_hz=1000)) <= 12
    assert lag(exact, np.zeros((200, 2)), rate_hz=1000) == 0
