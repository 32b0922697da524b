"""The instruments of the night market, synthesised: each a plain function from seconds to samples.

All mono float arrays at VOICES_RATE_HZ, between a tenth and twice full scale at accent 1: what is
mixed from them is brought to one peak. Noise comes from a generator passed in.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
VOICES_RATE_HZ = 44_100


def seconds(duration_s: float) -> Samples:
    """Sample times of so many seconds, from 0."""
    return np.arange(round(duration_s * VOICES_RATE_HZ)) / VOICES_RATE_HZ


def hertz(note: float) -> float:
    """Frequency of a MIDI note number: 440 * 2 ** ((note - 69) / 12), equal temperament."""
    return float(440.0 * 2.0 ** ((note - 69.0) / 12.0))


def _decay(t: Samples, tau_s: float, attack_s: float = 0.0005) -> Samples:
    return np.exp(-t / tau_s) * np.minimum(1.0, t / attack_s)


def drum_low(accent: float = 1.0) -> Samples:
    """A low drum: a falling sine, 150 to 48 Hz."""
    t = seconds(0.32)
    sweep = 48.0 * t - 102.0 * 0.035 * (np.exp(-t / 0.035) - 1.0)
    return accent * _decay(t, 0.11) * np.sin(2 * np.pi * sweep)


def drum_crack(noise: np.random.Generator, accent: float = 1.0) -> Samples:
    """A crate struck with a stick: a tone at 190 Hz under bright noise."""
    t = seconds(0.22)
    body = np.sin(2 * np.pi * 190.0 * t) * _decay(t, 0.05)
    rattle = _highpassed(noise.standard_normal(t.size)) * _decay(t, 0.055)
    return accent * (0.5 * body + 0.38 * rattle)


def tin_tick(noise: np.random.Generator, accent: float = 1.0, ring_s: float = 0.025) -> Samples:
    """A tin lid tapped: a short breath of high noise."""
    t = seconds(min(0.25, 8 * ring_s))
    breath = _highpassed(_highpassed(noise.standard_normal(t.size)))
    return accent * 0.3 * _decay(t, ring_s) * breath


def bell(note: float, duration_s: float, accent: float = 1.0) -> Samples:
    """A glass lantern struck: two-operator frequency modulation, ratio 3.5, dying brightness."""
    t = seconds(duration_s)
    carrier = hertz(note)
    modulation = 2.2 * np.exp(-t / 0.18) * np.sin(2 * np.pi * 3.5 * carrier * t)
    return accent * 0.5 * _decay(t, 0.45) * np.sin(2 * np.pi * carrier * t + modulation)


def bass(note: float, duration_s: float, accent: float = 1.0) -> Samples:
    """A plucked low string: eight harmonics, the upper ones dying first."""
    t = seconds(duration_s)
    tone = sum(
        np.sin(2 * np.pi * hertz(note) * k * t) / k * np.exp(-t * k / 0.5) for k in range(1, 9)
    )
    release = np.clip((duration_s - t) / 0.012, 0.0, 1.0)
    return accent * 0.5 * _decay(t, 0.6, 0.002) * release * tone


def pad(notes: tuple[float, ...], duration_s: float, accent: float = 1.0) -> Samples:
    """A held chord of soft reeds, swelling and falling inside its time."""
    t = seconds(duration_s)
    swell = np.sin(np.pi * np.clip(t / duration_s, 0.0, 1.0)) ** 0.5
    chord = sum(
        np.sin(2 * np.pi * hertz(note) * (1.0 + detune) * t)
        + 0.3 * np.sin(4 * np.pi * hertz(note) * t)
        for note in notes
        for detune in (-0.0015, 0.0015)
    )
    return accent * 0.12 * swell * chord


_VOWELS: dict[str, tuple[float, float, float]] = {
    # First three formants in Hz of an adult voice, after Peterson and Barney (1952), from memory.
    "a": (730.0, 1090.0, 2440.0),
    "o": (570.0, 840.0, 2410.0),
    "i": (270.0, 2290.0, 3010.0),
    "e": (530.0, 1840.0, 2480.0),
    "u": (300.0, 870.0, 2240.0),
}


def call(vowel: str, note: float, duration_s: float, glide: float = 0.0) -> Samples:
    """One sung syllable: harmonics weighed by a vowel's formants, with a little vibrato."""
    t = seconds(duration_s)
    progress = t / duration_s
    vibrato = 0.25 * np.sin(2 * np.pi * 5.5 * t) * np.clip(t / 0.2, 0.0, 1.0)
    frequency = 440.0 * 2.0 ** ((note + glide * progress + vibrato - 69.0) / 12.0)
    phase = 2 * np.pi * np.cumsum(frequency) / VOICES_RATE_HZ
    base = hertz(note)
    voice = np.zeros(t.size)
    for k in range(1, int(5000.0 / base)):
        weight = sum(1.0 / (1.0 + ((k * base - f) / 110.0) ** 2) for f in _VOWELS[vowel])
        voice += weight / k**0.5 * np.sin(k * phase)
    shape = np.minimum(1.0, t / 0.004) * np.clip((duration_s - t) / 0.05, 0.0, 1.0)
    loudest = max(1e-9, float(np.abs(voice).max()))
    return np.asarray(0.55 / loudest * voice * shape)


def sizzle(noise: np.random.Generator, duration_s: float = 0.42) -> Samples:
    """Oil in a hot pan: a burst of noise whose colour rises, sharp enough to scratch with."""
    t = seconds(duration_s)
    hiss = noise.standard_normal(t.size)
    tone = np.sin(2 * np.pi * (500.0 * t + 1400.0 * t**2))
    return 0.6 * (0.45 * _highpassed(hiss) + 0.55 * tone) * _decay(t, duration_s / 2.5, 0.001)


def gong(note: float, duration_s: float) -> Samples:
    """The closing gong: inharmonic partials, the high ones blooming late."""
    t = seconds(duration_s)
    partials = ((1.0, 1.0), (1.483, 0.7), (1.932, 0.55), (2.546, 0.45), (2.63, 0.3), (3.9, 0.2))
    tone = sum(
        a * np.exp(-t * r / 1.4) * np.sin(2 * np.pi * hertz(note) * r * t) for r, a in partials
    )
    release = np.clip((duration_s - t) / 0.2, 0.0, 1.0)
    return 0.35 * np.minimum(1.0, t / 0.002) * release * tone


def _highpassed(samples: Samples) -> Samples:
    """The first difference: six decibels an octave off the lows."""
    return np.diff(samples, prepend=samples[:1]) / 1.4


def whistle(note: float, duration_s: float) -> Samples:
    """A steady tone with three soft harmonics above it."""
    t = seconds(duration_s)
    tone = sum(np.sin(2 * np.pi * hertz(note) * n * t) / n**2 for n in range(1, 5))
    edge = np.minimum(1.0, np.minimum(t, duration_s - t) / 0.02)
    return np.asarray(tone * edge)
