"""Recordings of mixes that nothing was tuned on: played loops, spoken words, other rooms.

Run by hand:  python tests/bench/recording.py [--seeds 3] [--first 0] [--otherwise]

Needs the loops of Debian's sonic-pi-samples (CC0) and espeak-ng. Per seed a routine of eight set
pieces is made: a loop each, brought to tempo, and in four of them spoken words pushed on beats
drawn anew. Cases as in recordings.py, whose hits and halls were tuned on; the halls here have
other echoes, a crowd that talks, and more of it. Told per case over all seeds: set pieces right,
how many acts are told at all, how far the confident ones are off, and what lateness is told. The
baseline is a recording that begins with the first beat and runs on evenly: acts found beside where
the guide has them, by the strongest onset within 150 ms.

`--otherwise`: a church of two seconds' decay full of claps, a phone's narrow band with its level
pumped, MP3 at its smallest, from within one set piece to within another, and 2 % fast.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile
from recordings import BEAT_S, PIECE_BEATS, PIECES, RATE, part, strokes_off_s
from scipy.signal import butter, fftconvolve, lfilter, resample

from liveaid.practice.delays import Delays
from liveaid.practice.recorded_sound import FINE_HOP_S, onset_bands
from liveaid.practice.recording import assess_recording
from liveaid.practice.score import score_take
from liveaid.routine import Routine
from liveaid.routine.load import read_routine

LOOPS = Path("/usr/share/sonic-pi/samples")
WORDS = ["hey", "lantern", "fresh", "tram", "pepper", "now", "steam", "bell"]
PIECE_S = PIECE_BEATS * BEAT_S


class Market:
    """One seed's routine and its two layers."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.rng = np.random.default_rng((7, seed))
        loops = sorted(LOOPS.glob("loop_*.flac"))
        chosen = self.rng.choice(len(loops), PIECES, replace=False)
        self.beds = [self._bed(loops[k]) for k in chosen]
        quarters = np.arange(1, PIECE_BEATS * 4 - 3) / 4
        self.strokes = [
            np.sort(self.rng.choice(quarters[1::2], 12, replace=False)) for _ in range(PIECES)
        ]
        self.words = [spoken(folder, word, int(self.rng.integers(20, 80))) for word in WORDS]

    def _bed(self, file: Path) -> np.ndarray:
        """A loop as so many whole beats of ours, repeated over the set piece."""
        samples, rate = soundfile.read(file, always_2d=True)
        sound = samples.mean(1)
        beats = 2 ** max(1, round(np.log2(len(sound) / rate / BEAT_S)))
        one = resample(sound, round(beats * BEAT_S * RATE))
        whole = np.tile(one, 1 + round(PIECE_S * RATE) // len(one))[: round(PIECE_S * RATE)]
        return whole / max(np.abs(whole).max(), 1e-9)

    def routine(self) -> Routine:
        lines = []
        for k in range(PIECES):
            beats = ", ".join(f"{beat:g}" for beat in self.strokes[k])
            span = f"from: {10 * k + 5}, to: {10 * k + 8}, strokes: [{beats}]"
            right = f"right: {{hand: works, {span}}}" if k % 2 else "right: {hand: rests}"
            lines.append(
                f"  - {{name: Stall {k + 1}, bars: 4, tempo: 100, count: left,"
                f" left: {{hand: runs, at: {1.8 + k * PIECE_S:.1f}}}, {right}}}"
            )
        return read_routine(("title: Stalls\npieces:\n" + "\n".join(lines)).encode())

    def deck(self) -> np.ndarray:
        """The left deck file: the loops, the first at 1.8 s of it."""
        return 0.35 * np.concatenate([np.zeros(round(1.8 * RATE)), *self.beds])

    def mix(self, late_s: float = 0.0) -> np.ndarray:
        out = np.concatenate([*self.beds, np.zeros(RATE // 2)]) * 0.35
        for k in range(1, PIECES, 2):
            for n, beat in enumerate(self.strokes[k]):
                word = self.words[(k + n) % len(self.words)]
                at = round(((k * PIECE_BEATS + beat) * BEAT_S + late_s) * RATE)
                room = min(len(word), len(out) - at)
                out[at : at + room] += 0.5 * word[:room]
        return out


def spoken(folder: Path, word: str, pitch: int) -> np.ndarray:
    """A word at RATE, cut to where it begins, 0.25 s at most."""
    out = folder / f"{word}-{pitch}.wav"
    subprocess.run(["espeak-ng", "-p", str(pitch), "-w", str(out), word], check=True)
    sound, rate = soundfile.read(out)
    sound = resample(sound, round(len(sound) * RATE / rate))
    first = int(np.flatnonzero(np.abs(sound) > 0.1 * np.abs(sound).max())[0])
    cut = sound[max(0, first - 24) :][: RATE // 4].copy()
    cut[-600:] *= np.linspace(1, 0, min(600, len(cut)))
    return cut / np.abs(cut).max()


def hall(sound: np.ndarray, market: Market, seed: int) -> np.ndarray:
    """A phone in another room each: 0.8 to 1.6 s of decay, echoes, people talking at 8 dB below."""
    rng = np.random.default_rng((11, seed))
    t = np.arange(int(1.6 * RATE)) / RATE
    decay_s = rng.uniform(0.8, 1.6) / 6.9
    room = rng.standard_normal(len(t)) * np.exp(-t / decay_s) * 0.012
    room[0] = 1.0
    for _ in range(6):
        room[round(rng.uniform(0.004, 0.06) * RATE)] += rng.uniform(0.1, 0.4)
    low, high = rng.uniform(120, 250), rng.uniform(3500, 8000)
    out = lfilter(*butter(2, [low, high], "band", fs=RATE), fftconvolve(sound, room)[: len(sound)])
    crowd = np.zeros(len(out))
    for _ in range(len(out) // RATE * 6):
        word = market.words[rng.integers(len(market.words))]
        word = resample(word, round(len(word) * rng.uniform(0.8, 1.5)))
        at = rng.integers(0, max(1, len(out) - len(word)))
        crowd[at : at + len(word)] += rng.uniform(0.2, 1.0) * word[: len(crowd) - at]
    crowd = fftconvolve(crowd, room)[: len(out)]
    return out + crowd * np.sqrt((out**2).mean() / (crowd**2).mean()) * 10 ** (-8 / 20)


def other_music(market: Market, seed: int) -> np.ndarray:
    """20 s of a loop that is not in the routine, at a tempo of its own."""
    loops = sorted(LOOPS.glob("loop_*.flac"))
    sound, rate = soundfile.read(loops[(seed * 5 + 3) % len(loops)], always_2d=True)
    one = resample(sound.mean(1), round(len(sound) * RATE / rate / 1.07))
    return 0.35 * np.tile(one, 1 + 20 * RATE // len(one))[: 20 * RATE] / np.abs(one).max()


def cases(market: Market, seed: int) -> dict[str, tuple[np.ndarray, list[int], float]]:
    """Per case: the recording, the set pieces it holds in order, and how late its strokes are."""
    mix, late, every = market.mix(), market.mix(0.030), list(range(PIECES))
    twice = np.concatenate([part(mix, 0, 4), part(mix, 3, 8)])
    left_out = np.concatenate([part(mix, 0, 4), part(mix, 5, 8)])
    music = np.concatenate([part(mix, 0, 4), other_music(market, seed), part(mix, 4, 8)])
    return {
        "ends after 6": (part(mix, 0, 6), every[:6], 0.0),
        "starts at 7": (part(mix, 6, 8), every[6:], 0.0),
        "one twice": (twice, every[:4] + every[3:], 0.0),
        "one left out": (left_out, every[:4] + every[5:], 0.0),
        "acts 30 ms late": (late, every, 0.030),
        "other music 20 s": (music, every, 0.0),
        "hall, crowd, mono": (hall(mix, market, seed), every, 0.0),
        "hall, 30 ms late": (hall(late, market, seed), every, 0.030),
    }


def church(sound: np.ndarray, rng) -> np.ndarray:
    """Two seconds of decay, dull, and four echoes."""
    t = np.arange(int(2.5 * RATE)) / RATE
    dull = lfilter([1], [1, -0.7], rng.standard_normal(len(t)))
    room = dull * np.exp(-t / (rng.uniform(1.8, 2.5) / 6.9)) * 0.006
    room[: round(0.02 * RATE)] = 0.0
    room[0] = 1.0
    for _ in range(4):
        room[round(rng.uniform(0.01, 0.08) * RATE)] += rng.uniform(0.2, 0.5) * rng.choice([-1, 1])
    return fftconvolve(sound, room)[: len(sound)]


def claps(frames: int, rng) -> np.ndarray:
    """Nine claps a second over a dull noise, at a level of 1."""
    out = np.zeros(frames)
    for _ in range(frames // RATE * 9):
        at, lasts = rng.integers(0, frames - 3000), int(rng.uniform(300, 1500))
        fades = np.exp(-5 * np.arange(lasts) / lasts)
        out[at : at + lasts] += rng.uniform(0.2, 1.0) * fades * rng.standard_normal(lasts)
    dull = lfilter([1], [1, -0.95], rng.standard_normal(frames))
    return out / np.sqrt((out**2).mean()) + dull / np.sqrt((dull**2).mean())


def clapped(sound: np.ndarray, rng, below_db: float) -> np.ndarray:
    """With claps and noise so much below it, each."""
    return sound + claps(len(sound), rng) * np.sqrt((sound**2).mean()) * 10 ** (-below_db / 20)


def pumped(sound: np.ndarray) -> np.ndarray:
    """Levelled as phones do it: down at once, up again over 0.4 s, and clipped."""
    level, up = np.abs(sound), float(np.exp(-1 / (0.4 * RATE)))
    held = lfilter([1 - up], [1, -up], level)
    usual = float(np.median(held))
    return np.clip(sound * (np.maximum(held, 0.1 * usual) / usual) ** -0.8, -0.5, 0.5)


def mp3(sound: np.ndarray) -> np.ndarray:
    packed = io.BytesIO()
    soundfile.write(
        packed, 0.9 * sound / np.abs(sound).max(), RATE, format="MP3",
        subtype="MPEG_LAYER_III", compression_level=0.95,
    )  # fmt: skip
    packed.seek(0)
    return soundfile.read(packed)[0]


def otherwise(market: Market, seed: int) -> dict[str, tuple[np.ndarray, list[int], float]]:
    """As `cases`, of recordings made otherwise than those that numbers were tuned on."""
    rng, every = np.random.default_rng((23, seed)), list(range(PIECES))
    mix, late = market.mix(), market.mix(0.030)
    narrow = lfilter(*butter(3, [300, 3300], "band", fs=RATE), church(mix, rng))
    before = 0.05 * claps(15 * RATE, rng)
    some = mix[round((2 * PIECE_S + 3.18) * RATE) : round((6 * PIECE_S + 5.82) * RATE)]
    fast = resample(mix, round(len(mix) / 1.02))
    return {
        "church, claps": (clapped(church(mix, rng), rng, 6), every, 0.0),
        "church, 30 ms late": (clapped(church(late, rng), rng, 8), every, 0.030),
        "narrow and pumped": (pumped(clapped(narrow, rng, 10)), every, 0.0),
        "mp3, claps": (mp3(clapped(mix, rng, 10)), every, 0.0),
        "from 3 into 7": (np.concatenate([before, church(some, rng), before]), every[2:7], 0.0),
        "2 % fast, church": (clapped(church(fast, rng), rng, 9), every, 0.0),
    }


def plain_off_s(market: Market, sound: np.ndarray, late_s: float) -> list[float]:
    """The baseline: the strongest onset within 150 ms of where the guide has the stroke."""
    strength = onset_bands(sound, hop_s=FINE_HOP_S).mean(1)
    found = []
    for k in range(1, PIECES, 2):
        for beat in market.strokes[k]:
            true_s = (k * PIECE_BEATS + beat) * BEAT_S
            low, high = (round((true_s + off) / FINE_HOP_S) for off in (-0.15, 0.15))
            if high < len(strength):
                at = (low + int(strength[low:high].argmax())) * FINE_HOP_S
                found.append(abs(at - true_s - late_s))
    return found


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seeds", type=int, default=3)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--otherwise", action="store_true")
    chosen = options.parse_args()
    rows: dict[str, list] = {}
    told_all = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(chosen.first, chosen.first + chosen.seeds):
            market = Market(seed, Path(folder))
            routine, guide = market.routine(), market.mix()
            made = otherwise if chosen.otherwise else cases
            for name, (sound, pieces, late_s) in made(market, seed).items():
                decks = {"left": (market.deck(), RATE)}
                began = time.perf_counter()
                played = assess_recording(routine, guide, RATE, sound, RATE, decks)
                lasted = time.perf_counter() - began
                found = [one.visit.piece for one in played]
                score = score_take(routine, played, delays=Delays(measured=True))
                named = (4 in score.skipped_pieces) == (name == "one left out")
                named = named and (3 in score.repeated_pieces) == (name == "one twice")
                named = named and score.run_through == (pieces == list(range(PIECES)))
                off = strokes_off_s(played, late_s)
                asked = sum(12 for k in pieces if k % 2)
                rows.setdefault(name, []).append((found == pieces, named, off, asked, lasted,
                                                  plain_off_s(market, sound, late_s), late_s,
                                                  found))  # fmt: skip
                told_all.append(np.abs(off))
    print("case              | set pieces right, named right | sure, 95 % off, most (ms) | late"
          " (ms) | onset beside: 95 % (ms) | s")  # fmt: skip
    for name, seeds in rows.items():
        off = np.concatenate([row[2] for row in seeds])
        most = 1000 * np.abs(off) if len(off) else np.array([np.nan])
        share = len(off) / max(1, sum(row[3] for row in seeds))
        plain = 1000 * np.quantile([x for row in seeds for x in row[5]], 0.95)
        late = 1000 * (np.mean(off) + seeds[0][6]) if len(off) else np.nan
        right = sum(row[0] for row in seeds), sum(row[1] for row in seeds)
        print(f"{name:17s} | {right[0]:13d}, {right[1]:5d} of {len(seeds)} |"
              f" {share:6.0%} {np.quantile(most, 0.95):9.1f} {most.max():6.1f} | {late:14.1f} |"
              f" {plain:22.0f} | {np.mean([row[4] for row in seeds]):.1f}")  # fmt: skip
        for row in seeds:
            if not row[0]:
                print(f"    told {[k + 1 for k in row[7]]}")
    every = 1000 * np.concatenate(told_all)
    print(f"all confident numbers: 95 % within {np.quantile(every, 0.95):.1f} ms,"
          f" {np.mean(every <= 20):.1%} within 20 ms, of {len(every)}")  # fmt: skip


if __name__ == "__main__":
    main()
