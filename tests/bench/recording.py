"""How well a recording is timed: a guide mix re-timed by known amounts, then made worse.

Run by hand:  python tests/bench/recording.py GUIDE.wav MAP.yaml [--seconds 60]

GUIDE is a rendered guide mix, MAP its placed section map (`liveaid demo --fast` makes both). Every
beat is moved by a known amount, or the whole is bent like a pitch fader does; then noise 15 dB
below, another equaliser, and a cheap room. Error is heard less true time at every beat. The
baseline is the warp alone, without the fine laying over of onsets.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import soundfile
from scipy.signal import butter, fftconvolve, lfilter, resample_poly

from liveaid.practice.align import align
from liveaid.practice.recorded_sound import HEARING_RATE_HZ, at_common_rate, features
from liveaid.practice.warp import warp
from liveaid.routine import load_routine


def beats_of(routine) -> np.ndarray:
    starts = np.concatenate(
        [[0.0], np.cumsum([routine.piece_s(k) for k in range(len(routine.pieces))])]
    )
    return np.concatenate(
        [
            start + np.arange(routine.beats(k)) * 60 / routine.pieces[k].tempo_bpm
            for k, start in enumerate(starts[:-1])
        ]
    )


def placed(guide: np.ndarray, beats: np.ndarray, heard: np.ndarray, rate: int) -> np.ndarray:
    """Each beat's stretch at its own time, edges faded."""
    out = np.zeros(int((heard[-1] + 3) * rate))
    fade = int(0.003 * rate)
    for start, end, at in zip(beats, [*beats[1:], len(guide) / rate], heard, strict=True):
        first = max(0, round(start * rate) - fade)
        part = guide[first : round(end * rate)].copy()
        part[:fade] *= np.linspace(0, 1, fade)
        part[-fade:] *= np.linspace(1, 0, fade)
        to = round(at * rate) - (round(start * rate) - first)
        part = part[max(0, -to) :]
        to = max(to, 0)
        out[to : to + len(part)] += part[: len(out) - to]
    return out


def bent(guide: np.ndarray, beats: np.ndarray, heard: np.ndarray, rate: int) -> np.ndarray:
    """The whole played at a wandering pitch: tempo and key move together."""
    at = np.arange(int((heard[-1] + 1) * rate)) / rate
    return np.interp(np.interp(at, heard, beats), np.arange(len(guide)) / rate, guide)


def room(rate: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(int(0.4 * rate)) / rate
    tail = rng.standard_normal(len(t)) * np.exp(-t / 0.08) * 0.05
    tail[0] = 1.0
    for late_s, level in ((0.0043, 0.5), (0.0091, 0.4), (0.0137, 0.3), (0.021, 0.25)):
        tail[int(late_s * rate)] += level
    return tail


def worse(sound: np.ndarray, rate: int, seed: int, snr_db: float = 15.0) -> np.ndarray:
    out = fftconvolve(sound, room(rate, seed))[: len(sound)]
    out = 0.7 * lfilter(*butter(1, 2500, fs=rate), out) + 0.3 * out
    out = lfilter(*butter(2, 90, "high", fs=rate), out)
    level = np.sqrt((out**2).mean()) * 10 ** (-snr_db / 20)
    return out + np.random.default_rng(seed).standard_normal(len(out)) * level


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("guide")
    options.add_argument("map")
    options.add_argument("--seconds", type=float, default=1e9)
    chosen = options.parse_args()
    samples, rate = soundfile.read(chosen.guide, always_2d=True)
    guide = resample_poly(samples.mean(1), HEARING_RATE_HZ, rate)
    beats = beats_of(load_routine(chosen.map))
    beats = beats[beats < min(chosen.seconds, len(guide) / HEARING_RATE_HZ - 0.5)]
    guide = guide[: round((beats[-1] + 0.6) * HEARING_RATE_HZ)]
    rng = np.random.default_rng(1)
    late = np.where(beats > beats[-1] / 2, 0.6, 0.0)
    cases = {
        "hands 20 ms off": (placed, 1.0 + beats + rng.normal(0, 0.020, len(beats))),
        "hands 40 ms off": (placed, 1.0 + beats + rng.normal(0, 0.040, len(beats))),
        "a lost beat": (placed, 1.0 + beats + late),
        "pitch wandering": (
            bent,
            1.0 + 0.985 * beats + np.cumsum(rng.normal(0, 0.004, len(beats))),
        ),
    }
    print(f"{beats[-1]:.0f} s, {len(beats)} beats; ms       |  half  95 %  99 %  most | sure |"
          "  95 % of the sure | warp alone: half  95 % | seconds")  # fmt: skip
    for name, (make, heard) in cases.items():
        take = worse(make(guide, beats, heard, HEARING_RATE_HZ), HEARING_RATE_HZ, seed=2)
        began = time.perf_counter()
        found = align(guide, HEARING_RATE_HZ, take, HEARING_RATE_HZ, beats.tolist())
        lasted = time.perf_counter() - began
        off = 1000 * np.abs(np.array([one.take_s for one in found]) - heard)
        sure = np.array([one.sure for one in found])
        path = warp(*(features(at_common_rate(sound, HEARING_RATE_HZ)) for sound in (guide, take)))
        plain = 1000 * np.abs(np.interp(beats, *path) - heard)
        half, most95, most99 = np.quantile(off, [0.5, 0.95, 0.99])
        alone, alone95 = np.quantile(plain, [0.5, 0.95])
        print(f"{name:28s}| {half:5.1f} {most95:5.1f} {most99:5.1f} {off.max():5.0f} |"
              f" {sure.mean():4.0%} | {np.quantile(off[sure], 0.95):17.1f} |"
              f" {alone:16.1f} {alone95:5.0f} | {lasted:7.1f}")  # fmt: skip


if __name__ == "__main__":
    main()
