"""A sound as one channel, and its parts written as files, for whoever names them by ear."""

from __future__ import annotations

import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from liveaid.sound.read import open_sound
from liveaid.study.part_finding import PartFound

Samples = npt.NDArray[np.float32]

BY_HAND_FADE_S = 0.01
"""Faded out at the end of a part that is written by itself."""


def mono_of(path: Path) -> tuple[Samples, int]:
    """A file's sound as the mean of its channels, and its rate. Unreadable where there is none."""
    with open_sound(path) as reader:
        rate_hz, blocks = reader.rate_hz, list(reader)
    if not blocks:
        return np.zeros(0, np.float32), rate_hz
    samples = np.concatenate(blocks)
    one = samples if samples.ndim == 1 else samples.mean(axis=1)
    return np.asarray(one, np.float32), rate_hz


def write_parts(
    mono: Samples, rate_hz: int, parts: Sequence[PartFound], folder: Path, stem: str
) -> list[str]:
    """Each part as a 16-bit WAV file `stem-name.wav` in a folder; the files written."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for part in parts:
        sound = mono[round(part.from_s * rate_hz) : round(part.to_s * rate_hz)].copy()
        fade = min(len(sound), round(BY_HAND_FADE_S * rate_hz))
        sound[len(sound) - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        file = folder / f"{stem}-{part.name}.wav"
        with wave.open(str(file), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(rate_hz)
            out.writeframes((np.clip(sound, -1.0, 1.0) * 32767.0).astype("<i2").tobytes())
        files.append(str(file))
    return files
