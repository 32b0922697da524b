"""Sounds brought to tempo by resampling: pitch, and beats on their sample."""

import math

import numpy as np
import pytest

from liveaid.render.edges import FILE_END_S
from liveaid.render.to_tempo import Recorded, _best_begin, _later, recorded, resampled

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


def test_frames_beyond_a_file_are_silent_or_its_other_end_where_it_loops():
    """Frames 1 2 3 4: by hand."""
    four = np.array([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0], [4.0, 4.0]], np.float32)
    once, again = Recorded(four, RATE_HZ), Recorded(four, RATE_HZ, loop=True)
    for begin, end, plain, looped in (
        (1, 3, [2, 3], [2, 3]), (-2, 2, [0, 0, 1, 2], [3, 4, 1, 2]), (3, 6, [4, 0, 0], [4, 1, 2]),
        (-3, -1, [0, 0], [2, 3]), (5, 7, [0, 0], [2, 3]),
        (-1, 5, [0, 1, 2, 3, 4, 0], [4, 1, 2, 3, 4, 1]), (0, 4, [1, 2, 3, 4], [1, 2, 3, 4]),
    ):  # fmt: skip
        assert once.between(begin, end)[:, 0].tolist() == plain
        assert again.between(begin, end)[:, 1].tolist() == looped


def test_only_the_end_of_a_file_that_does_not_loop_is_faded():
    """Straight from 1 to 0 over its last moment; a file shorter than that over all of itself."""
    end = round(FILE_END_S * RATE_HZ)
    faded = recorded(np.ones(2 * end, np.float32), RATE_HZ, loop=False).samples
    assert faded[:, 1] == pytest.approx(np.concatenate([np.ones(end), np.linspace(1, 0, end)]))
    short = recorded(np.ones(5, np.float32), RATE_HZ, loop=False).samples
    assert short[:, 0].tolist() == [1.0, 0.75, 0.5, 0.25, 0.0]
    assert (recorded(np.ones(2 * end, np.float32), RATE_HZ, loop=True).samples == 1.0).all()


@pytest.mark.parametrize(
    ("file_rate_hz", "speed"),
    [(22_050, 1.0), (44_100, 1.25), (44_100, 0.5), (48_000, 1.0), (48_000, 0.83), (96_000, 1.0)],
)
def test_a_tone_is_that_tone_at_every_frame(file_rate_hz, speed):
    """sin(2 pi 300 t) with t at the file's second that each frame of the deck reads."""
    time_s = np.arange(round(0.4 * file_rate_hz)) / file_rate_hz
    sound = recorded(0.5 * np.sin(2 * np.pi * 300.0 * time_s), file_rate_hz, loop=False)
    got = resampled(sound, start_s=0.1234567, speed=speed, rate_hz=RATE_HZ, before=700, frames=3000)
    read_s = 0.1234567 + (np.arange(3700) - 700) / RATE_HZ * speed
    assert got[:, 0] == pytest.approx(0.5 * np.sin(2 * np.pi * 300.0 * read_s), abs=6e-3)


@pytest.mark.parametrize("by", [0.37, -0.5, 0.02])
def test_a_sound_moved_by_a_part_of_a_frame_is_that_sound_so_much_later(by):
    frames = np.arange(600)
    tone = np.stack([np.sin(0.31 * frames), np.cos(0.07 * frames)], axis=1).astype(np.float32)
    moved = _later(tone, by)[60:-60]
    at = frames[60:-60] - by
    assert moved[:, 0] == pytest.approx(np.sin(0.31 * at), abs=2e-4)
    assert moved[:, 1] == pytest.approx(np.cos(0.07 * at), abs=2e-4)


@pytest.mark.parametrize(("start", "ratio"), [(5000.3, 0.9183), (81.77, 1.3), (12.5, 1.0612)])
def test_the_resampler_begins_where_the_cut_comes_nearest_to_a_whole_frame(start, ratio):
    """Looked for one by one among the 4096 frames up to one ahead of the cut."""
    first = math.floor(start - 512 / ratio)
    off = {begin: abs((start - begin) * ratio % 1.0) for begin in range(first - 4095, first + 1)}
    near = {begin: min(part, 1.0 - part) for begin, part in off.items()}
    found = _best_begin(start, first, ratio)
    assert near[found] == pytest.approx(min(near.values()), abs=1e-9)
