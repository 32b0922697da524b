"""What a sound is woven of, against the definitions written out frame by frame."""

import itertools

import numpy as np
import pytest

from liveaid.study import texture
from liveaid.study.spectrum import RATE_HZ
from liveaid.study.texture import weave

FRAMES = 30


@pytest.fixture(scope="module")
def mono():
    """Gliding partials, noise and clicks, 29 times 880 samples and some."""
    at_s = np.arange((FRAMES - 1) * 880 + 300) / RATE_HZ
    turns = 2 * np.pi * np.cumsum(220 * 2 ** (0.8 * at_s)) / RATE_HZ
    sound = 0.1 * sum(np.sin(partial * turns) / partial for partial in range(1, 12))
    sound += np.random.default_rng(3).normal(0.0, 0.002, len(sound))
    sound[5000::4000] += 0.8
    return sound.astype(np.float32)


def sizes(mono, first, last):
    """Magnitudes of the lowest 512 bins (to 5.5 kHz) in windows of 2048 samples about every 880th,
    a full-scale sine being 1, under a Hann window that goes round; silence beyond both ends."""
    padded = np.concatenate([np.zeros(9000), mono.astype(float), np.zeros(9000)])
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(2048) / 2048)
    starts = [9000 + frame * 880 - 1024 for frame in range(first, last)]
    rows = [np.fft.rfft(padded[start : start + 2048] * hann)[:512] for start in starts]
    return np.abs(np.array(rows)) * 4 / 2048


def test_what_lasts_is_the_middle_along_time_what_strikes_the_middle_across_pitch(mono):
    """Fitzgerald 2010 with five values of each line: every other of nine frames, every fourth of
    seventeen bins, those beyond the edge as the edge itself. Each bin's power is shared by the
    squares of both middles, and added up from 15 Hz to 150, 500, 2000 and 5500."""
    size = sizes(mono, -4, FRAMES + 4)
    bins = np.clip(np.arange(512)[:, None] + np.arange(-8, 9, 4), 0, 511)
    hz = np.arange(512) * RATE_HZ / 2048
    lasting, striking = np.zeros((2, FRAMES, 4))
    for frame in range(FRAMES):
        along = np.median(size[frame : frame + 9 : 2], axis=0) ** 2
        across = np.median(size[frame + 4][bins], axis=1) ** 2
        power = size[frame + 4] ** 2
        share = along / (along + across + 1e-20)
        for group, (low, high) in enumerate(itertools.pairwise((15, 150, 500, 2000, 5500))):
            inside = (low <= hz) & (hz < high)
            lasting[frame, group] = (power * share)[inside].sum()
            striking[frame, group] = (power * (1 - share))[inside].sum()
    found = weave(mono)
    assert len(found) == FRAMES
    assert found.lasting == pytest.approx(lasting, rel=1e-3, abs=1e-9)
    assert found.striking == pytest.approx(striking, rel=1e-3, abs=1e-9)


def test_an_offset_is_nothing_that_lasts():
    """Under a Hann window it stands in the first two bins alone, 0 and 10.8 Hz; a sine of half the
    full scale in a bin has .25 there and half as high beside: .25 + 2 x .0625."""
    offset = weave(np.full(20_000, 0.5, dtype=np.float32))
    assert offset.lasting[4:-4].max() < 1e-9
    bass = 0.5 * np.sin(2 * np.pi * 6 * RATE_HZ / 2048 * np.arange(20_000) / RATE_HZ)
    assert weave(bass.astype(np.float32)).lasting[10, 0] == pytest.approx(0.375, rel=0.01)


def at_pitches(size):
    """(frames, 116): log magnitude at every 36th of an octave from four below 300 Hz to four above
    three octaves more, between the two bins beside it, less the mean of the twelve about it."""
    place = 300 * 2 ** (np.arange(-4, 112) / 36) * 2048 / RATE_HZ
    low = np.floor(place).astype(int)
    log = np.log(size + 1e-5)
    log = log[:, low] * (1 - (place - low)) + log[:, low + 1] * (place - low)
    around = np.clip(np.arange(116)[:, None] + np.arange(-5, 7), 0, 115)
    return log - log[:, around].mean(axis=2)


def test_a_glide_is_the_shift_that_lays_one_spectrum_best_on_the_next(mono):
    """The fluctogram of Lehner, Sonnleitner, Widmer 2013: of nine shifts the one at which both are
    most alike by their cosine, and that, in each of three octaves."""
    log = at_pitches(sizes(mono, -1, FRAMES))
    glide, alike = np.zeros((2, FRAMES, 3))
    for frame, octave in itertools.product(range(FRAMES), range(3)):
        here = log[frame + 1, 4 + 36 * octave :][:36]
        fits = {}
        for shift in range(-4, 5):
            past = log[frame, 4 + 36 * octave - shift :][:36]
            both = np.linalg.norm(here) * np.linalg.norm(past)
            fits[shift] = here @ past / max(both, 1e-12)
        glide[frame, octave] = max(fits, key=fits.get)
        alike[frame, octave] = max(max(fits.values()), 0.0)
    found = weave(mono)
    assert (found.glide == glide).mean() > 0.98  # but for shifts as good as one another
    assert found.alike[1:] == pytest.approx(alike[1:], abs=2e-3)


def test_a_long_sound_is_woven_as_one_in_spans(mono, monkeypatch):
    """Frames about a span's edge are compared with those of the span beside it."""
    whole = weave(mono)
    monkeypatch.setattr(texture, "_TEXTURE_SPAN", 7)
    spans = weave(mono)
    for name in ("lasting", "striking", "glide", "alike", "periodic", "pitch_hz"):
        assert getattr(spans, name) == pytest.approx(getattr(whole, name), rel=1e-5, abs=1e-9)
    assert len(weave(mono[:0])) == 1
