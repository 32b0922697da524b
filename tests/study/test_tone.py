"""A steady tone: YIN written out lag by lag, and the longest stretch by hand."""

import numpy as np
import pytest

from liveaid.study import tone
from liveaid.study.tone import Tone, find_tone


def yin(frame, rate_hz, lowest_hz, highest_hz):
    """De Cheveigne and Kawahara 2002, equations 6 and 8: the difference at each lag over its mean
    so far; the first dip under a tenth, and the lowest place of a parabola through the difference
    itself."""
    longest = min(round(rate_hz / lowest_hz), len(frame) // 2)
    window = len(frame) - longest
    differs = [
        sum((frame[j] - frame[j + lag]) ** 2 for j in range(window)) for lag in range(longest + 1)
    ]
    normal = [1.0] + [
        differs[lag] / max(sum(differs[1 : lag + 1]) / lag, 1e-12) for lag in range(1, longest + 1)
    ]
    lag = next((at for at in range(longest) if normal[at] < 0.1), None)
    if lag is None:
        return 0.0
    while lag + 1 < longest and normal[lag + 1] < normal[lag]:
        lag += 1
    before, here, after = differs[lag - 1 : lag + 2]
    bend = before - 2 * here + after
    hz = rate_hz / (lag + (0.5 * (before - after) / bend if bend > 0 else 0.0))
    return hz if hz <= highest_hz else 0.0


def test_a_frames_pitch_is_that_of_yin(monkeypatch):
    """Thirty frames of 120 samples at 2 kHz: tones of 50 to 500 Hz with a partial and noise; above
    400 and under 60 Hz none is told."""
    monkeypatch.setattr(tone, "LAGS_A_SECOND", 2000)
    monkeypatch.setattr(tone, "HIGHEST_HZ", 400.0)
    rng = np.random.default_rng(7)
    told = []
    for hz, noise in zip(np.geomspace(50, 500, 30), np.tile([0.0, 0.02, 0.1], 10), strict=True):
        turns = 2 * np.pi * hz * np.arange(120) / 2000
        frame = 0.3 * np.sin(turns) + 0.1 * np.sin(2 * turns + 1) + rng.normal(0, noise, 120)
        frame = frame.astype(np.float32)
        told.append((tone._pitch(frame), yin(frame.astype(float), 2000, 60.0, 400.0)))
    found, wanted = np.array(told).T
    assert found == pytest.approx(wanted, rel=1e-6)
    assert 0 < np.count_nonzero(wanted == 0.0) < 20
    # A sine of .00014 has a mean square of .98e-8, of .000142 1.008e-8: 80 dB down.
    turns = 2 * np.pi * 200 * np.arange(120) / 2000
    assert tone._pitch(np.float32(0.00014 * np.sin(turns))) == 0.0
    assert tone._pitch(np.float32(0.000142 * np.sin(turns))) == pytest.approx(200.0, rel=0.01)


def test_a_straight_line_has_its_dip_in_the_middle():
    assert tone._dip(np.array([3.0, 1.0, 2.0]), 1) == pytest.approx(0.5 * 1 / 3)
    assert tone._dip(np.array([3.0, 2.0, 1.0]), 1) == 0.0


@pytest.fixture
def of_pitches(monkeypatch):
    """of_pitches(...): the tone of a sound whose frames of 60 ms, 10 ms apart, have these."""

    def found(*pitches):
        each = iter(pitches)
        monkeypatch.setattr(tone, "_pitch", lambda frame: next(each))
        sound = np.zeros(5760 + 960 * (len(pitches) - 1) + 1, np.float32)
        return find_tone(sound, tone.LAGS_A_SECOND)

    return found


def up(cents):
    return 440.0 * 2 ** (cents / 1200)


def test_the_longest_steady_stretch_is_the_tone(of_pitches):
    """A frame's middle is 30 ms behind its begin; of 25 frames the last begins 240 ms later."""
    assert of_pitches(*[440.0] * 25) == Tone(440.0, 0.03, 0.27, 0.0)
    assert of_pitches(*[440.0] * 24) is None
    assert of_pitches(*[300.0] * 30, *[440.0] * 40) == Tone(440.0, 0.33, 0.72, 0.0)
    assert of_pitches(*[440.0] * 40, *[300.0] * 40) == Tone(440.0, 0.03, 0.42, 0.0)
    assert of_pitches(*[440.0] * 20, 0.0, *[440.0] * 20) is None
    assert of_pitches() is None


def test_a_steady_tone_strays_no_more_than_twenty_cents_either_way(of_pitches):
    found = of_pitches(*[440.0] * 20, *[up(39.9)] * 21)
    assert found.hz == pytest.approx(up(39.9))
    assert (found.from_s, found.to_s) == (0.03, 0.43)
    assert found.stray_cents == pytest.approx(39.9)
    assert of_pitches(*[440.0] * 20, *[up(40.1)] * 21) is None
    assert of_pitches(*[up(-25.0)] * 10, *[440.0] * 20, *[up(10.0)] * 10).stray_cents == (
        pytest.approx(25.0)
    )
