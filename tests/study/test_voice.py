"""What a voice is told by, window by window, against the definitions written out."""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import voice
from liveaid.study.spectrum import BANDS, FRAMES_HZ
from liveaid.study.texture import Texture
from liveaid.study.voice import Voice, features, find_voice, starts, widened


@pytest.fixture(scope="module")
def heard():
    """Fifty frames of bands, fifty-one of texture, drawn so that every bound is passed both ways:
    silence, steps of 70 dB, shifts of pitch alike and not, periods held, moved and leapt."""
    rng = np.random.default_rng(4)
    bands = 10.0 ** rng.uniform(-6.0, 0.0, (50, BANDS)) * 10.0 ** rng.uniform(-3, 0, (50, 1))
    bands[20:24] *= 1e-6
    lasting, striking = 10.0 ** rng.uniform(-7.0, 0.0, (2, 51, 4))
    glide, alike = rng.integers(-4, 5, (51, 3)), rng.uniform(0.3, 0.9, (51, 3))
    cents = np.cumsum(rng.choice([2.0, -5.0, 30.0, -80.0, 300.0, -300.0], 51))
    periodic = rng.uniform(0.7, 1.0, 51)
    texture = Texture(lasting, striking, glide, alike, periodic, 220 * 2.0 ** (cents / 1200))
    return SimpleNamespace(bands=bands), texture


def by_frame(spectrum, texture):
    """(50, facts) and (50,) level: decibels against an even share of the loud tenth, 55 at most
    below; their cosine transform by its formula (DCT-II, orthonormal), coefficients 1 to 10, and by
    how much 0 to 10 move; what lasts; groups but the lowest in decades; how alike; by how much
    pitch shifts where that is more than .6; and the period."""
    power = spectrum.bands
    total = power.sum(axis=1)
    loud = np.quantile(total, 0.9)
    even = loud / BANDS
    db = np.maximum(10 * np.log10(power / even), -55)
    n = np.arange(BANDS)
    cosines = np.array([np.cos(np.pi * (2 * n + 1) * k / (2 * BANDS)) for k in range(11)])
    cepstra = db @ cosines.T * np.sqrt(2 / BANDS)
    cepstra[:, 0] /= np.sqrt(2)
    moves = np.abs(cepstra - np.concatenate([cepstra[:1], cepstra[:-1]]))
    lasting, striking = texture.lasting[:50], texture.striking[:50]
    body = np.log10(np.maximum((lasting + striking)[:, 1:] / even, 1e-6))
    shifts = np.where(texture.alike > 0.6, np.abs(texture.glide), 0)[:50]
    facts = [
        cepstra[:, 1:],
        moves,
        lasting / (lasting + striking),
        body,
        texture.alike[:50],
        shifts,
    ]
    periods = []
    for frame in range(50):
        one = texture.periodic[frame] > 0.8
        both = one and frame > 0 and texture.periodic[frame - 1] > 0.8
        hz, before = texture.pitch_hz[frame], texture.pitch_hz[max(frame - 1, 0)]
        cents = abs(1200 * np.log2(hz / before))
        near = both and cents < 100
        still, leaps = near and cents < 6, both and not near
        moved = cents / 100 if near else 0
        periods.append([texture.periodic[frame], one, moved, still, leaps])
    level = np.maximum(10 * np.log10(total / loud), -60)
    return np.concatenate([*facts, np.array(periods, float)], axis=1), level


def window(facts, level):
    """One window of 32 frames: means weighed by amplitude, 40 dB below the loudest at least; how
    the first ten stray; how much of the level's pulse is from 2.5 to 7 Hz; how often it is 20 dB
    down; how it strays."""
    loudest = max(level.max(), -60)
    weight = 10 ** (np.maximum(level - loudest, -40) / 20)
    mean = np.average(facts, axis=0, weights=weight)
    stray = np.sqrt(np.average((facts - mean)[:, :10] ** 2, axis=0, weights=weight))
    pulse = np.abs(np.fft.fft((level - level.mean()) * np.hanning(32), 64)[:33]) ** 2
    hz = np.arange(33) * FRAMES_HZ / 8 / 64
    paced = pulse[(hz >= 2.5) & (hz <= 7)].sum() / pulse[1:].sum()
    return [*mean, *stray, paced, np.mean(level < loudest - 20), level.std()]


def test_each_window_is_told_by_its_frames(heard):
    """Windows of 32 of 50 frames begin at 0, 8 and 16; their level is the mean of powers."""
    facts, level = by_frame(*heard)
    wanted = [window(facts[at : at + 32], level[at : at + 32]) for at in (0, 8, 16)]
    measured, level_db = features(*heard)
    assert measured.shape == (3, 52)
    assert measured == pytest.approx(np.array(wanted), rel=1e-5, abs=1e-5)
    powers = [np.mean(10 ** (level[at : at + 32] / 10)) for at in (0, 8, 16)]
    assert level_db == pytest.approx(10 * np.log10(powers))
    # Eight frames more are another window.
    assert list(starts(31)) == list(starts(39)) == [0]
    assert list(starts(40)) == [0, 8]


def test_windows_looked_at_in_two_goes_are_the_same(heard, monkeypatch):
    whole = features(*heard)
    monkeypatch.setattr(voice, "_VOICE_SPAN", 2)
    for one, other in zip(features(*heard), whole, strict=True):
        assert one.tolist() == other.tolist()


def test_silence_is_no_voice():
    nothing = np.zeros((40, 4))
    still = np.zeros((40, 3))
    texture = Texture(nothing, nothing, still, still, np.zeros(40), np.full(40, 900.0))
    measured, level_db = features(SimpleNamespace(bands=np.zeros((40, BANDS))), texture)
    assert np.isfinite(measured).all()
    assert level_db == pytest.approx([-60.0, -60.0])
    found = find_voice(SimpleNamespace(bands=np.zeros((40, BANDS))), texture)
    # Half of 32 frames, and eight more, at 200.45 / 8 a second.
    assert found.middles_s == pytest.approx([16 / 25.0568, 24 / 25.0568], abs=1e-4)
    assert found.share() == (0.0, 0.0)


def test_a_feature_counts_to_four_deviations_and_by_its_square():
    told = widened(
        np.array([[1.0, 9.0, -9.0]]), np.array([0.0, 1.0, 0.0]), np.array([2.0, 1.0, 2.0])
    )
    assert told.tolist() == [[0.5, 4.0, -4.0, 0.25, 16.0, 16.0]]


def test_both_odds_are_sums_of_weights_from_a_base(monkeypatch):
    """A feature of 3 about 1 in twos is 1 and 1: .5 x 1 - .25 x 1 and .25 more, -1 x 1 + 0 - .25.
    Of twenty frames half are ten, at 25.06 a second."""
    told = {"MEAN": (1.0,), "SCALE": (2.0,), "VOICE": (0.5, -0.25), "VOICE_BASE": 0.25}
    told |= {"OTHER": (-1.0, 0.0), "OTHER_BASE": -0.25}
    for name, value in told.items():
        monkeypatch.setattr(voice, name, value)
    monkeypatch.setattr(voice, "features", lambda *heard: (np.array([[3.0]]), np.zeros(1)))
    found = find_voice(SimpleNamespace(bands=range(20)), range(21))
    assert found.middles_s == pytest.approx([10 / 25.0568], abs=1e-4)
    assert found.voice == pytest.approx(1 / (1 + np.exp(-0.5)))
    assert found.other == pytest.approx(1 / (1 + np.exp(1.25)))


def test_odds_are_told_as_a_probability():
    """Log odds of 0 are a half, of ln 3 three quarters."""
    assert voice._probability(np.array([0.0, np.log(3), -np.log(3)])) == pytest.approx(
        [0.5, 0.75, 0.25]
    )


def test_a_voice_is_asked_for_between_windows_and_where_it_sounds():
    """The window at 2 s is 35 dB down or more, and so neither voice nor anything alone."""
    found = Voice(
        middles_s=np.array([1.0, 2.0, 3.0]),
        level_db=np.array([-34.9, -35.0, 0.0]),
        voice=np.array([0.8, 1.0, 0.6]),
        other=np.array([0.1, 0.0, 0.7]),
    )
    sung, alone = found.at(np.array([0.0, 1.5, 2.5, 4.0]))
    assert sung == pytest.approx([0.8, 0.4, 0.3, 0.6])
    # .9 and .3 nothing else at 1 and 3 s: .8 is the least at first, then .45, .15 and .3.
    assert alone == pytest.approx([0.8, 0.4, 0.15, 0.3])
    assert found.share() == pytest.approx((0.7, 0.4))
    none = Voice(*np.zeros((4, 0)))
    assert [each.tolist() for each in none.at(np.array([1.0]))] == [[0.0], [0.0]]
    assert none.share() == (0.0, 0.0)
