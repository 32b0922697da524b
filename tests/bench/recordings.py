"""Recordings that begin and end anywhere, repeat, leave out, hold other music, or come from a hall.

Run by hand:  python tests/bench/recordings.py

A routine of eight set pieces is synthesised here in two layers, what counts and what the hands do,
so that either can be moved by known amounts. Per case: the set pieces told, and how far confident
numbers are off. The baseline is one line from the recording's begin to its end, as if all of the
guide were in it.
"""

from __future__ import annotations

import time

import numpy as np
from scipy.signal import butter, fftconvolve, lfilter

from liveaid.practice.recording import assess_recording
from liveaid.routine import Routine
from liveaid.routine.load import read_routine

RATE = 24000
BEAT_S = 0.6
PIECE_BEATS = 16
PIECES = 8
STROKES = (0.5, 1.75, 2.5, 4.5, 5.75, 6.5, 8.5, 9.75, 10.5, 12.5, 13.75, 14.5)


def routine() -> Routine:
    """Eight set pieces of four bars; the left record counts, the right one is scratched in four."""
    pieces = []
    for k in range(PIECES):
        span = f"from: {10 * k + 5}, to: {10 * k + 8}, strokes: {list(STROKES)}"
        right = f"right: {{hand: works, {span}}}" if k % 2 else "right: {hand: rests}"
        pieces.append(
            f"  - {{name: Stall {k + 1}, bars: 4, tempo: 100, count: left,"
            f" left: {{hand: runs, at: {1.8 + k * 9.6:.1f}}}, {right}}}"
        )
    return read_routine(("title: Stalls\npieces:\n" + "\n".join(pieces)).encode())


def layers(strokes_late_s: float = 0.0, seed: int = 4) -> np.ndarray:
    """The guide mix; what the hands do may be late by a known time."""
    rng = np.random.default_rng(seed)
    lasts = PIECES * PIECE_BEATS * BEAT_S
    out = np.zeros(int((lasts + 0.5) * RATE))
    t = np.arange(int(0.2 * RATE)) / RATE
    for piece in range(PIECES):
        kick_hz, tones = 45 + 6 * piece, 110 * 2 ** (rng.integers(0, 24, PIECE_BEATS) / 12)
        drum = rng.random((PIECE_BEATS, 4)) < 0.45
        drum[:, 0] = True
        for beat in range(PIECE_BEATS):
            at = (piece * PIECE_BEATS + beat) * BEAT_S
            tone = sum(np.sin(2 * np.pi * tones[beat] * n * t) / n for n in (1, 2, 3))
            _add(out, 0.2 * tone * np.exp(-9 * t), at)
            for quarter in np.flatnonzero(drum[beat]):
                _add(out, _drum(t, quarter, kick_hz, rng), at + quarter * BEAT_S / 4)
        for stroke in STROKES if piece % 2 else ():
            at = (piece * PIECE_BEATS + stroke) * BEAT_S + strokes_late_s
            _add(out, 0.7 * _push(t, 0.6 + 0.05 * piece), at)
    return 0.2 * out


def _drum(t: np.ndarray, quarter: int, kick_hz: float, rng: np.random.Generator) -> np.ndarray:
    if quarter == 0:
        return np.sin(2 * np.pi * (kick_hz * t + 2 * (1 - np.exp(-30 * t)))) * np.exp(-14 * t)
    noise = rng.standard_normal(len(t))
    if quarter == 2:
        return 0.4 * noise * np.exp(-26 * t)
    return 0.25 * np.diff(noise, prepend=0.0) * np.exp(-80 * t)


def _push(t: np.ndarray, way: float) -> np.ndarray:
    """A voice-like sound under a push of the hand: its pitch goes up and down again."""
    phase = 2 * np.pi * 900 * way * (t - np.sin(2 * np.pi * t / 0.2) * 0.2 / (2 * np.pi))
    return (
        sum(np.sin(n * phase) / n for n in (1, 2, 3, 5)) * np.exp(-10 * t) * np.minimum(1, 400 * t)
    )


def _add(out: np.ndarray, sound: np.ndarray, at_s: float) -> None:
    first = round(at_s * RATE)
    room = min(len(sound), len(out) - first)
    out[first : first + room] += sound[:room]


def part(mix: np.ndarray, first: int, last: int) -> np.ndarray:
    """Set pieces from the first to before the last."""
    return mix[round(first * 9.6 * RATE) : round(last * 9.6 * RATE)]


def other_music(seconds: float, seed: int = 9) -> np.ndarray:
    rng = np.random.default_rng(seed)
    out, t = np.zeros(int(seconds * RATE)), np.arange(int(0.15 * RATE)) / RATE
    for at in np.arange(0, seconds - 0.3, 0.3 * 100 / 104):
        hit = rng.standard_normal(len(t)) * np.exp(-30 * t) * 0.2
        _add(
            out,
            hit + np.sin(2 * np.pi * rng.choice([110, 147, 196]) * t) * np.exp(-10 * t) * 0.3,
            at,
        )
    return 0.4 * out


def hall(sound: np.ndarray, seed: int = 3, snr_db: float = 9.0) -> np.ndarray:
    """A phone in a hall: reverberation, a crowd that swells, no deep bass and no top."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(0.8 * RATE)) / RATE
    room = rng.standard_normal(len(t)) * np.exp(-t / 0.15) * 0.02
    room[0] = 1.0
    out = lfilter(*butter(2, [120, 6000], "band", fs=RATE), fftconvolve(sound, room)[: len(sound)])
    crowd = lfilter(*butter(2, [300, 3000], "band", fs=RATE), rng.standard_normal(len(out)))
    crowd *= 1 + 0.8 * np.sin(2 * np.pi * 0.3 * np.arange(len(out)) / RATE)
    return out + crowd * np.sqrt((out**2).mean() / (crowd**2).mean()) * 10 ** (-snr_db / 20)


def cases() -> dict[str, tuple[np.ndarray, list[int], float]]:
    """Per case: the recording, the set pieces it holds in order, and how late its strokes are."""
    mix, every = layers(), list(range(PIECES))
    return {
        "ends after 6": (part(mix, 0, 6), every[:6], 0.0),
        "starts at 7": (part(mix, 6, 8), every[6:], 0.0),
        "one twice": (
            np.concatenate([part(mix, 0, 4), part(mix, 3, 8)]), every[:4] + every[3:], 0.0,
        ),
        "one left out": (
            np.concatenate([part(mix, 0, 4), part(mix, 5, 8)]), every[:4] + every[5:], 0.0,
        ),
        "acts 30 ms late": (layers(0.030), every, 0.030),
        "other music 20 s": (
            np.concatenate([part(mix, 0, 4), other_music(20.0), part(mix, 4, 8)]), every, 0.0,
        ),
        "hall, crowd, mono": (hall(mix), every, 0.0),
        "hall, 30 ms late": (hall(layers(0.030)), every, 0.030),
    }  # fmt: skip


def strokes_off_s(played, late_s: float) -> np.ndarray:
    """How far every confident number of a stroke is from the truth."""
    acts = [act for one in played for act in one.acts if act.kind == "stroke"]
    return np.array([act.error_s - late_s for act in acts if act.error_s is not None])


def main() -> None:
    told = routine()
    mix = layers()
    print("case               | set pieces right | strokes: sure, 95 % off, most (ms) | mean late |"
          " one line: 95 % off (ms) | s")  # fmt: skip
    for name, (sound, pieces, late_s) in cases().items():
        began = time.perf_counter()
        played = assess_recording(told, mix, RATE, sound, RATE)
        lasted = time.perf_counter() - began
        found = [one.visit.piece for one in played]
        off = strokes_off_s(played, late_s)
        late = np.mean(off) + late_s if len(off) else np.nan
        share = len(off) / max(1, sum(len(STROKES) for k in pieces if k % 2))
        most = 1000 * np.abs(off)
        plain = _one_line(mix, sound, _truth(pieces, name))
        print(f"{name:18s} | {'yes' if found == pieces else found!s:>16} | {share:13.0%}"
              f" {np.quantile(most, 0.95) if len(off) else np.nan:8.1f}"
              f" {most.max() if len(off) else np.nan:6.1f}     | {1000 * late:9.1f} |"
              f" {1000 * np.quantile(plain, 0.95):23.0f} | {lasted:.1f}")  # fmt: skip


def _one_line(mix: np.ndarray, sound: np.ndarray, truth: list[tuple[float, float]]) -> list[float]:
    return [abs(guide_s * len(sound) / len(mix) - take_s) for guide_s, take_s in truth]


def _truth(pieces: list[int], name: str) -> list[tuple[float, float]]:
    """Where each beat of the guide is in the recording; of one played twice, the second time."""
    at: dict[float, float] = {}
    for place, piece in enumerate(pieces):
        gap = 20.0 if name.startswith("other") and place >= 4 else 0.0
        for beat in range(PIECE_BEATS):
            at[piece * 9.6 + beat * BEAT_S] = place * 9.6 + beat * BEAT_S + gap
    return sorted(at.items())


if __name__ == "__main__":
    main()
