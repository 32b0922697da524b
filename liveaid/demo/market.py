"""The night market's sounds: patterns on an exact grid, written as WAV files for the demo scene.

Machine-made on purpose: every beat falls on its sample, so what the demo measures can be checked.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from liveaid.demo import voices
from liveaid.demo.voices import VOICES_RATE_HZ, Samples
from liveaid.files.aside import write_aside

Hit = tuple[float, Samples]
"""A beat from the sound's first beat, and what sounds there."""


@dataclass(frozen=True, slots=True)
class MarketSound:
    """One sound of the scene: its length on the grid and the hits that make it."""

    name: str
    tempo_bpm: float
    beats: float
    hits: Callable[[np.random.Generator], Iterable[Hit]]
    lead_in_s: float = 0.0
    """Silence before the first beat, as a recording has."""


def market_sounds() -> tuple[MarketSound, ...]:
    """All sounds of the night market."""
    return (
        MarketSound("stall-break", 92.0, 96, _stall_break, lead_in_s=0.113),
        MarketSound("lantern-bells", 90.0, 128, _lantern_bells, lead_in_s=0.040),
        MarketSound("tram-groove", 98.0, 96, _tram_groove, lead_in_s=0.075),
        MarketSound("steam-chords", 98.0, 64, _steam_chords),
        MarketSound("hawker-call", 92.0, 8, _hawker_call, lead_in_s=0.250),
        MarketSound("wok-sizzle", 96.0, 2, _wok_sizzle),
        MarketSound("closing-gong", 96.0, 16, _closing_gong),
        MarketSound("tea-kettle", 120.0, 12, _tea_kettle),
    )


def write_sounds(
    folder: Path, *, on_sound: Callable[[str], None] = lambda name: None
) -> list[Path]:
    """Write every sound as 24-bit WAV into `folder`; files already there with the same bytes stay.

    `on_sound` is called after each, for a progress bar.
    """
    written = []
    for number, sound in enumerate(market_sounds()):
        path = folder / f"{sound.name}.wav"
        made = io.BytesIO()
        soundfile.write(made, rendered(sound, seed=number), VOICES_RATE_HZ, "PCM_24", format="WAV")
        if not path.is_file() or path.read_bytes() != made.getvalue():
            write_aside(path, made.getvalue())
        written.append(path)
        on_sound(sound.name)
    return written


def rendered(sound: MarketSound, *, seed: int) -> Samples:
    """The sound's samples: each hit laid on its exact grid sample, peak at -1.5 dB."""
    beat_s = 60.0 / sound.tempo_bpm
    samples = np.zeros(round((sound.lead_in_s + sound.beats * beat_s) * VOICES_RATE_HZ))
    for beat, hit in sound.hits(np.random.default_rng(seed)):
        start = round((sound.lead_in_s + beat * beat_s) * VOICES_RATE_HZ)
        end = min(samples.size, start + hit.size)
        samples[start:end] += hit[: end - start]
    return np.asarray(0.84 / np.abs(samples).max() * samples)


# A minor pentatonic from A3, and the chords the stall keeper knows.
_SCALE = (57, 60, 62, 64, 67, 69, 72, 74, 76)
_CHORDS = ((57, 60, 64), (53, 57, 60), (48, 55, 64), (55, 59, 62))


def _stall_break(noise: np.random.Generator) -> Iterable[Hit]:
    """A drum pattern of two bars, with a turn every fourth bar."""
    for bar in range(24):
        start = 4.0 * bar
        for beat in (0.0, 1.75, 2.5) if bar % 2 == 0 else (0.0, 0.75, 2.25, 2.75):
            yield start + beat, voices.drum_low(1.0 if beat == 0 else 0.8)
        for beat in (1.0, 3.0):
            yield start + beat, voices.drum_crack(noise)
        if bar % 4 == 3:
            for beat in (3.5, 3.75):
                yield start + beat, voices.drum_crack(noise, 0.55)
        for half in range(8):
            yield start + half / 2, voices.tin_tick(noise, 0.9 if half % 2 == 0 else 0.6)


def _lantern_bells(noise: np.random.Generator) -> Iterable[Hit]:
    """A rising figure of bells over a bass note a bar, four bars long, turning each time."""
    figure = (0, 3, 5, 4, 6, 5, 3, 2)
    for bar in range(32):
        root = (57, 53, 60, 55)[bar % 4]
        yield 4.0 * bar, voices.bass(root - 24, 1.6)
        for step, degree in enumerate(figure):
            note = _SCALE[(degree + bar // 4) % len(_SCALE)] + 12
            yield 4.0 * bar + step / 2, voices.bell(note, 1.2, 1.0 if step == 0 else 0.7)
        for beat in range(4):
            yield 4.0 * bar + beat, voices.tin_tick(noise, 0.5)


def _tram_groove(noise: np.random.Generator) -> Iterable[Hit]:
    """Rolling drums and a bass line: the busiest sound of the market."""
    line = ((0.0, 33), (0.75, 33), (1.5, 36), (2.0, 40), (2.75, 38), (3.5, 36))
    for bar in range(24):
        start = 4.0 * bar
        for beat in (0.0, 1.5, 2.0, 3.25):
            yield start + beat, voices.drum_low(1.0 if beat == 0 else 0.75)
        for beat in (1.0, 3.0):
            yield start + beat, voices.drum_crack(noise, 1.1)
        for quarter in range(16):
            yield start + quarter / 4, voices.tin_tick(noise, 0.8 if quarter % 4 == 0 else 0.4)
        for beat, note in line:
            yield start + beat, voices.bass(note + (5 if bar % 4 == 3 else 0), 0.42, 0.9)


def _steam_chords(noise: np.random.Generator) -> Iterable[Hit]:
    """Held chords over a soft pulse."""
    for bar in range(16):
        yield 4.0 * bar, voices.pad(_CHORDS[bar % 4], 2.6)
        for beat in range(4):
            yield 4.0 * bar + beat, voices.drum_low(0.5)
            yield 4.0 * bar + beat + 0.5, voices.tin_tick(noise, 0.6)


def _hawker_call(noise: np.random.Generator) -> Iterable[Hit]:
    """The hawker's cry: two phrases of a few syllables."""
    del noise  # a voice needs none
    for beat, vowel, note, length, glide in (
        (0.0, "e", 69, 0.24, 0.0),
        (0.5, "o", 72, 0.55, -1.0),
        (2.0, "a", 69, 0.20, 0.0),
        (2.5, "i", 67, 0.45, 2.0),
        (4.0, "e", 69, 0.24, 0.0),
        (4.5, "a", 76, 0.80, -4.0),
    ):
        yield beat, voices.call(vowel, note, length, glide)


def _wok_sizzle(noise: np.random.Generator) -> Iterable[Hit]:
    """One burst to scratch with."""
    yield 0.0, voices.sizzle(noise)


def _tea_kettle(noise: np.random.Generator) -> Iterable[Hit]:
    """A kettle that sings one note, A4, as long as it lasts."""
    del noise  # the lid is on
    yield 0.0, voices.whistle(69, 6.0)


def _closing_gong(noise: np.random.Generator) -> Iterable[Hit]:
    """The gong, and a last pulse under it."""
    yield 0.0, voices.gong(45, 6.0)
    for beat in range(12):
        yield float(beat), voices.drum_low(0.6 * 0.85**beat)
        yield beat + 0.5, voices.tin_tick(noise, 0.4 * 0.85**beat)
