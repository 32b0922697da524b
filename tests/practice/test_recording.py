"""A take scored from a recording: a guide mix re-timed by known amounts, then made worse.

Noise 15 dB below, another equaliser, and a cheap room (early reflections and a decay of 0.18 s).
Alignment measures: mir_eval. The guide is synthesised here: drums and tones on a grid.
"""

import numpy as np
import pytest
from scipy.signal import butter, fftconvolve, lfilter

from liveaid.practice.align import align_within, sound_of
from liveaid.practice.recorded_sound import FINE_HOP_S, onset_bands
from liveaid.practice.recording import assess_recording
from liveaid.practice.score import score_take
from liveaid.routine.load import read_routine

RATE = 24000
BPM = 100.0
BEAT_S = 60.0 / BPM

MAP = """
title: Spice row
pieces:
  - {name: Lids, bars: 4, tempo: 100, count: left, left: {hand: runs, at: 1.8}}
  - {name: Pestle, bars: 4, tempo: 100, count: right, right: {hand: runs, at: 1.8}}
  - {name: Lids down, bars: 4, tempo: 100, count: left, left: {hand: runs, at: 40.0}}
"""


def guide_mix(beats=48, seed=3):
    rng = np.random.default_rng(seed)
    out = np.zeros(int((beats * BEAT_S + 0.5) * RATE))
    t = np.arange(int(0.22 * RATE)) / RATE
    kick = np.sin(2 * np.pi * (52 * t + 2.0 * (1 - np.exp(-30 * t)))) * np.exp(-14 * t)
    snare = rng.standard_normal(len(t)) * np.exp(-24 * t) * 0.6
    hat = np.diff(rng.standard_normal(len(t) + 1)) * np.exp(-80 * t) * 0.3
    long = np.arange(int(BEAT_S * RATE)) / RATE

    def add(sound, beat):
        at = int(beat * BEAT_S * RATE)
        room = min(len(sound), len(out) - at)
        out[at : at + room] += sound[:room]

    for beat in range(beats):
        add(kick if beat % 2 == 0 else snare, beat)
        add(hat, beat + 0.5)
        pitch = 220 * 2 ** (rng.integers(0, 12) / 12)
        tone = sum(np.sin(2 * np.pi * pitch * k * long) / k for k in (1, 2, 3))
        add(0.25 * tone * np.exp(-4 * long) * np.minimum(1, 150 * long), beat)
    return 0.2 * out


def moved(guide, beats_s, heard_s):
    """Each beat's stretch of the guide put at another time, edges faded over 3 ms."""
    out = np.zeros(int((heard_s[-1] + 2.0) * RATE))
    fade = int(0.003 * RATE)
    ends = [*beats_s[1:], len(guide) / RATE]
    for start, end, at in zip(beats_s, ends, heard_s, strict=True):
        first = max(0, round(start * RATE) - fade)
        part = guide[first : round(end * RATE)].copy()
        part[:fade] *= np.linspace(0, 1, fade)
        part[-fade:] *= np.linspace(1, 0, fade)
        to = round(at * RATE) - (round(start * RATE) - first)
        out[to : to + len(part)] += part
    return out


def worse(sound, seed=1):
    """Through a cheap room, another equaliser, and noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(0.35 * RATE)) / RATE
    room = rng.standard_normal(len(t)) * np.exp(-t / 0.026 / 1.0) * 0.07
    room[0] = 1.0
    for late_s, level in ((0.0043, 0.5), (0.0091, 0.4), (0.0137, 0.3), (0.021, 0.25)):
        room[int(late_s * RATE)] += level
    out = fftconvolve(sound, room)[: len(sound)]
    out = 0.7 * lfilter(*butter(1, 2500, fs=RATE), out) + 0.3 * out
    out = lfilter(*butter(2, 90, "high", fs=RATE), out)
    level = np.sqrt((out**2).mean())
    return out + rng.standard_normal(len(out)) * level * 10 ** (-15 / 20)


BEATS_S = np.arange(48) * BEAT_S


def retimed(kind, seed=0):
    """When each beat is heard: even, off by the hands' errors, or a tenth late and back."""
    rng = np.random.default_rng(seed)
    if kind == "drift":
        return 1.1 + BEATS_S * 1.015 + np.cumsum(rng.normal(0, 0.003, len(BEATS_S)))
    if kind == "hands":
        return 0.7 + BEATS_S + rng.normal(0, 0.025, len(BEATS_S))
    late = np.where(BEATS_S > 9.0, 0.10, 0.0) - np.where(BEATS_S > 19.0, 0.06, 0.0)
    return 0.4 + BEATS_S + late


def aligned_with(guide, take, take_hz, true):
    """Every bar's first beat is known to within 40 ms, as the passages of a recording are."""
    bands = [onset_bands(sound_of(sound, hz), hop_s=FINE_HOP_S)
             for sound, hz in ((guide, RATE), (take, take_hz))]  # fmt: skip
    here = [*BEATS_S[::4], BEATS_S[-1] + BEAT_S]
    there = [*true[::4], true[-1] + BEAT_S] + 0.040 * (-1.0) ** np.arange(len(here))
    return align_within(*bands, BEATS_S.tolist(), here, np.maximum.accumulate(there).tolist())


@pytest.fixture(scope="module", params=["drift", "hands", "gap"])
def aligned(request):
    guide, true = guide_mix(), retimed(request.param)
    take = worse(moved(guide, BEATS_S, true))
    found = aligned_with(guide, take, RATE, true)
    return true, np.array([one.take_s for one in found]), found


def test_timing_is_within_5_ms_for_half_and_15_ms_for_95_of_100(aligned):
    true, heard, _ = aligned
    off = np.abs(heard - true)
    assert np.median(off) < 0.005
    assert np.quantile(off, 0.95) < 0.015


def test_mir_eval_finds_the_alignment_perfect(aligned):
    """Share within 0.3 s, the usual window, and mean error (Cuesta et al., via mir_eval)."""
    import mir_eval  # three quarters of a second to load

    true, heard, _ = aligned
    assert mir_eval.alignment.percentage_correct(true, heard, window=0.02) > 0.95
    assert mir_eval.alignment.absolute_error(true, heard)[0] < 0.005


def test_mir_eval_finds_the_heard_beats_as_onsets(aligned):
    import mir_eval  # three quarters of a second to load

    true, heard, found = aligned
    sure = np.array([t for t, one in zip(heard, found, strict=True) if one.sure])
    score, precision, _ = mir_eval.onset.f_measure(true, np.sort(sure), window=0.015)
    assert precision > 0.95
    assert score > 0.9


def test_a_recording_at_another_rate_in_stereo_is_the_same():
    guide, true = guide_mix(), retimed("hands")
    take = moved(guide, BEATS_S, true)
    twice = np.repeat(take, 2)  # 48 kHz, the plainest way; what it adds lies above 12 kHz
    found = aligned_with(guide, np.stack([twice, 0.5 * twice], axis=1), 2 * RATE, true)
    off = np.abs(np.array([one.take_s for one in found]) - true)
    assert np.median(off) < 0.005


def test_late_starts_of_set_pieces_are_measured():
    """The second set piece 40 ms late, the third 25 ms early, by the count before each."""
    routine = read_routine(MAP.encode())
    shift = np.repeat([0.0, 0.040, 0.015], 16)
    guide = guide_mix()
    take = worse(moved(guide, BEATS_S, 0.6 + BEATS_S + shift))
    score = score_take(routine, assess_recording(routine, guide, RATE, take, RATE))
    starts = [act for piece in score.pieces for act in piece.acts if act.kind == "start"]
    assert [act.outcome for act in starts] == ["heard"] * 3
    assert starts[0].error_s is None  # nothing came before it
    assert starts[1].error_s == pytest.approx(0.040, abs=0.005)
    assert starts[2].error_s == pytest.approx(-0.025, abs=0.005)


def test_another_recording_altogether_is_not_taken_for_the_routine():
    routine = read_routine(MAP.encode())
    noise = np.random.default_rng(8).standard_normal(30 * RATE) * 0.1
    played = assess_recording(routine, guide_mix(), RATE, noise, RATE)
    assert played == []
