"""How fast a scene is rendered, next to the bare cost of soxr plus writing the file.

Run by hand: python tests/bench/render.py [--minutes 6] [--repeats 3]
Times are the best by the clock of the repeats; "x real time" is seconds of sound on the two decks
(guide mix not counted) over seconds by the clock. The scene is made for it: machine-made sounds at
48 kHz, brought to another tempo and to 44.1 kHz, four set pieces a minute, hits so loud that their
peaks have to be turned down: the slow case.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr

from liveaid.render.outcome import Rendered
from liveaid.render.render import render_scene

FILE_RATE_HZ, DECK_RATE_HZ = 48_000, 44_100
FROM_BPM, TO_BPM = 100.0, 96.0
BARS = 6  # 15 s at 96


def sound(seconds: float, seed: int) -> np.ndarray:
    """Hits on the beat over a bed, in stereo: levels and peaks of dance music."""
    rng = np.random.default_rng(seed)
    out = 0.01 * rng.standard_normal((round(seconds * FILE_RATE_HZ), 2))
    hit = np.exp(-np.arange(9600) / 2000)[:, np.newaxis] * rng.standard_normal((9600, 2))
    step = round(60 / FROM_BPM * FILE_RATE_HZ)
    for begin in range(0, len(out) - 9600, step):
        out[begin : begin + 9600] += 0.12 * hit
    return np.clip(out, -0.99, 0.99)


def make_scene(folder: Path, minutes: float, *, stretch: bool) -> Path:
    """A scene whose decks take turns, each sound used once, so that nothing is shared."""
    (folder / "sounds").mkdir(parents=True)
    pieces = max(2, round(minutes * 60 / (BARS * 4 * 60 / TO_BPM)))
    lines = ["title: Bench", 'turntable: {side: "1:50:00"}', "sounds:"]
    for side in range(2):
        soundfile.write(
            folder / f"sounds/s{side}.wav",
            sound(pieces * BARS * 4 * 60 / FROM_BPM / 2 + 20, side),
            FILE_RATE_HZ,
            "PCM_16",
        )
        flag = ", stretch: yes" if stretch else ""
        lines.append(
            f"  s{side}: {{file: sounds/s{side}.wav, tempo: {FROM_BPM}, first_beat: 0{flag}}}"
        )
    lines.append("pieces:")
    for number in range(pieces):
        side = ("left", "right")[number % 2]
        plan = f"{side}: {{hand: runs, sound: s{number % 2}, bars_in: {BARS * (number // 2)}}}"
        lines.append(f"  - {{name: p{number}, bars: {BARS}, tempo: {TO_BPM}, {plan}}}")
    (folder / "routine.yaml").write_text("\n".join(lines) + "\n")
    return folder / "routine.yaml"


Taken = tuple[float, float]
"""Seconds by the clock, and seconds of this process's processor time."""


def best(repeats: int, work: Callable[[], object], before: Callable[[], object]) -> Taken:
    """Seconds of the fastest of so many runs; `before` prepares each, untimed."""
    times = []
    for _ in range(repeats):
        before()
        start, busy = time.perf_counter(), time.process_time()
        work()
        times.append((time.perf_counter() - start, time.process_time() - busy))
    return min(times)


def bare(folder: Path, seconds: list[float]) -> None:
    """What cannot be saved: resample each deck's sound in one go and write it as 24 bit."""
    for side, length_s in enumerate(seconds):
        frames = round(length_s * FILE_RATE_HZ * TO_BPM / FROM_BPM)
        samples, _ = soundfile.read(folder / f"sounds/s{side}.wav", frames=frames, dtype="float32")
        made = soxr.resample(samples, FILE_RATE_HZ * TO_BPM / FROM_BPM, DECK_RATE_HZ)
        soundfile.write(folder / f"bare{side}.wav", made, DECK_RATE_HZ, "PCM_24")


def row(name: str, sound_s: float, taken: Taken) -> str:
    clock_s, busy_s = taken
    return f"{name:<44}{sound_s:>9.1f}{clock_s:>9.2f}{busy_s:>9.2f}{sound_s / clock_s:>13.0f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=6.0)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    print(f"{'':<44}{'sound s':>9}{'clock s':>9}{'CPU s':>9}{'x real time':>13}")
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "resampled"
        scene = make_scene(folder, options.minutes, stretch=False)
        rendered: list[Rendered] = []
        clear = lambda: shutil.rmtree(folder / "decks", ignore_errors=True)  # noqa: E731
        fresh = best(options.repeats, lambda: rendered.append(render_scene(scene)), clear)
        cuts = rendered[-1].cuts
        decks = [sum(c.length_s for c in cuts if c.side == s) for s in ("left", "right")]
        again = best(options.repeats, lambda: render_scene(scene), lambda: None)
        alone = best(options.repeats, lambda: bare(folder, decks), lambda: None)
        total = sum(decks)
        print(row("read, soxr and write alone (baseline)", total, alone))
        print(row("render, resampled, nothing in the cache", total, fresh))
        print(row("render again, nothing changed", total, again))
        folder = Path(made) / "stretched"
        scene = make_scene(folder, options.minutes / 4, stretch=True)
        stretched = best(1, lambda: rendered.append(render_scene(scene)), lambda: None)
        total = sum(c.length_s for c in rendered[-1].cuts)
        print(row("render, time-stretched, nothing in the cache", total, stretched))
    down = max(cut.level.limited_db for cut in cuts)
    print(f"peaks of the resampled sounds were turned down by up to {down:.1f} dB")
    times = f"{fresh[0] / alone[0]:.1f} by the clock, {fresh[1] / alone[1]:.1f} in CPU"
    print(f"render / baseline: {times} (levels, guide mix, sheet and map are what comes on top)")


if __name__ == "__main__":
    main()
