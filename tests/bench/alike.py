"""Whether copies of a sound, and sounds of its kind, are found first, beside librosa's mean MFCC.

Run by hand: python tests/bench/alike.py
Needs Debian's sonic-pi-samples (their names tell the kind), sox and libsox-fmt-mp3. The weight of
the picture against the timbre was chosen on these sounds; the timbre's scales are their spreads,
without a look at the names.
"""

# ruff: noqa: E402 - thread counts must be set before the libraries are loaded
from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
import warnings
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import librosa
import numpy as np
import soundfile
import soxr

from liveaid.shelf.alike import COPY_LAID, COPY_WITHIN, LONG_FRAMES, PICTURE_WORTH
from liveaid.study.imprint import Imprint, overlaid, take_imprint
from liveaid.study.spectrum import RATE_HZ, analyse

SAMPLES = Path("/usr/share/sonic-pi/samples")
FAMILIES = {
    "bass": r"^bass_", "kick": r"^bd_|^drum_bass_|kick", "snare": r"^sn_|snare",
    "cymbal": r"cymbal|splash", "tom": r"_tom", "tabla": r"^tabla_", "guitar": r"^guit_",
    "loop": r"^loop_(?!drone)", "drone": r"^ambi_|drone", "vinyl": r"^vinyl_", "robot": r"robot",
    "bell": r"bell|chime", "phone": r"phone",
}  # fmt: skip
"""The first pattern that a file's name holds."""
COPIES: dict[str, tuple[str, list[str], list[str]]] = {
    "9 dB down": ("wav", [], ["gain", "-9"]),
    "at 48 kHz": ("wav", ["-r", "48000"], []),
    "at 16 kHz": ("wav", ["-r", "16000"], []),
    "MP3 at 96 kbit/s": ("mp3", ["-C", "96"], []),
    "Vorbis, quality 1": ("ogg", ["-C", "1"], []),
    "last 30 % cut off": ("wav", [], ["trim", "0", "70%"]),
    "first 30 ms cut off": ("wav", [], ["trim", "0.03"]),
    "3 % faster": ("wav", [], ["speed", "1.03"]),
    "5 % slower": ("wav", [], ["speed", "0.95"]),
    "6 dB up, clipped": ("wav", [], ["gain", "6"]),
    "both ends cut off": ("wav", [], ["trim", "0.05", "70%"]),
}


def loaded(path: Path) -> np.ndarray:
    samples, rate = soundfile.read(path, always_2d=True, dtype="float32")
    return np.asarray(soxr.resample(samples.mean(axis=1), rate, RATE_HZ))


def copy_of(path: Path, way: str, folder: Path) -> np.ndarray:
    ending, coding, effect = COPIES[way]
    seconds = 0.7 * soundfile.info(path).duration
    effect = [f"{seconds:.4f}" if word == "70%" else word for word in effect]
    made = folder / f"copy.{ending}"
    command = ["sox", "-V0", "-G", str(path), *coding, str(made), *effect]
    subprocess.run(command, check=True, capture_output=True)
    return loaded(made)


def distances(mine: Imprint, crate: list[Imprint]) -> np.ndarray:
    """As the shelf ranks them, all of them laid over."""
    timbre = np.stack([each.timbre for each in crate]).astype(np.float32)
    far = np.sqrt(np.square(timbre - mine.timbre.astype(np.float32)).sum(axis=1))
    return far + PICTURE_WORTH * (1.0 - overlaid(mine.picture, [each.picture for each in crate]))


def same_picture(a: Imprint, b: Imprint) -> bool:
    """As the shelf judges long sounds."""
    long = min(len(a.picture), len(b.picture)) >= LONG_FRAMES
    return long and bool(overlaid(a.picture, [b.picture])[0] >= COPY_LAID)


def mean_mfcc(mono: np.ndarray) -> np.ndarray:
    return librosa.feature.mfcc(y=mono, sr=RATE_HZ, n_mfcc=13).mean(axis=1)


def copies(crate: dict[str, Imprint], theirs: np.ndarray, folder: Path) -> None:
    print(f"\n{f'Copies among {len(crate)} sounds, by sox':34}   liveaid   librosa   called a copy")
    names = list(crate)
    for way in COPIES:
        ours_first, theirs_first, called, count = 0, 0, 0, 0
        for number, name in enumerate(names):
            mono = copy_of(SAMPLES / f"{name}.flac", way, folder)
            imprint = take_imprint(analyse(mono)) if len(mono) else None
            if imprint is None:
                continue
            far = distances(imprint, list(crate.values()))
            count += 1
            ours_first += int(far.argmin()) == number
            called += bool(far[number] < COPY_WITHIN) or same_picture(imprint, crate[name])
            theirs_first += int(np.abs(theirs - mean_mfcc(mono)).sum(axis=1).argmin()) == number
        print(
            f"{way:34}{ours_first / count:10.3f}{theirs_first / count:10.3f}{called / count:16.2f}"
        )


def family(name: str) -> str | None:
    return next((word for word, held in FAMILIES.items() if re.search(held, name)), None)


def kin(crate: dict[str, Imprint], theirs: np.ndarray) -> None:
    """The nearest other sound, and the nearest three, of the same family."""
    names = [name for name in crate if family(name)]
    rows = [number for number, name in enumerate(crate) if family(name)]
    families = np.array([family(name) for name in names])
    mine = [crate[name] for name in names]
    ours = np.stack([distances(each, mine) for each in mine])
    beside = np.sqrt(np.square(theirs[rows][:, None] - theirs[rows][None]).sum(axis=2))
    print(f"\n{f'Of the same kind, {len(names)} sounds':34}   nearest   nearest three")
    for label, far in (("liveaid", ours), ("librosa, mean MFCC", beside)):
        far = far + np.diag(np.full(len(names), np.inf))
        order = np.argsort(far, axis=1)
        right = families[order[:, :3]] == families[:, None]
        print(f"{label:34}{right[:, 0].mean():10.3f}{right.mean():16.3f}")
    near = (ours + np.diag(np.full(len(names), np.inf))).min(axis=1)
    print(f"another sound called a copy: {np.mean(near < COPY_WITHIN):.2f} of the nearest")


def main() -> None:
    """Both tables."""
    if not (SAMPLES.is_dir() and shutil.which("sox")):
        print(f"left out, copies and kinds: no {SAMPLES} or sox")
        return
    warnings.filterwarnings("ignore")  # librosa's, of hits shorter than its window
    sounds = {path.stem: loaded(path) for path in sorted(SAMPLES.glob("*.flac"))}
    found = {name: take_imprint(analyse(mono)) for name, mono in sounds.items()}
    crate = {name: imprint for name, imprint in found.items() if imprint is not None}
    theirs = np.stack([mean_mfcc(sounds[name]) for name in crate])
    kin(crate, theirs)
    with tempfile.TemporaryDirectory() as folder:
        copies(crate, theirs, Path(folder))


if __name__ == "__main__":
    main()
