"""Voices that sing, and instruments that play a tune alone: what the study has to tell apart.

Singing comes four ways. `formants` drives resonators in a row with glottal pulses (source and
filter, after Fant 1960), the vowels of men, women and children as Peterson and Barney measured them
(JASA 24, 1952). `partials` adds up partials under another table, of sung vowels by register (the
Csound manual's appendix of formant values). `resung` takes recorded or synthesised speech apart by
the WORLD vocoder (pyworld) and puts it together again on the notes of a tune, so that consonants
and vowels are a speaker's own. These three glide from note to note, most with vibrato, and breathe.
`diphones` joins a speaker's recorded pairs of sounds on steady notes (festival's singing mode).

Instruments are those of Debian's fluid-soundfont-gm, played by fluidsynth, some with bent notes.
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import mido
import numpy as np
import scipy.ndimage
import scipy.signal
import soundfile
import soxr
from scores import TICKS_A_SECOND, synthesise

RATE = 22050
CURVE_HZ = 200
"""Steps a second in which pitch and vowels move."""

# Peterson and Barney 1952, table II: mean formants in hertz, in the order heed, hid, head, had,
# hod, hawed, hood, who'd, hud, heard.
SPOKEN_VOWELS = {
    "men": (
        (270, 2290, 3010), (390, 1990, 2550), (530, 1840, 2480), (660, 1720, 2410),
        (730, 1090, 2440), (570, 840, 2410), (440, 1020, 2240), (300, 870, 2240),
        (640, 1190, 2390), (490, 1350, 1690),
    ),
    "women": (
        (310, 2790, 3310), (430, 2480, 3070), (610, 2330, 2990), (860, 2050, 2850),
        (850, 1220, 2810), (590, 920, 2710), (470, 1160, 2680), (370, 950, 2670),
        (760, 1400, 2780), (500, 1640, 1960),
    ),
    "children": (
        (370, 3200, 3730), (530, 2730, 3600), (690, 2610, 3570), (1010, 2320, 3320),
        (1030, 1370, 3170), (680, 1060, 3180), (560, 1410, 3310), (430, 1170, 3260),
        (850, 1590, 3360), (560, 1820, 2160),
    ),
}  # fmt: skip
# Csound manual, appendix of formant values: hertz, decibels and bandwidth of a, e, i, o, u.
SUNG_VOWELS = {
    "soprano": (
        ((800, 1150, 2900, 3900, 4950), (0, -6, -32, -20, -50), (80, 90, 120, 130, 140)),
        ((350, 2000, 2800, 3600, 4950), (0, -20, -15, -40, -56), (60, 100, 120, 150, 200)),
        ((270, 2140, 2950, 3900, 4950), (0, -12, -26, -26, -44), (60, 90, 100, 120, 120)),
        ((450, 800, 2830, 3800, 4950), (0, -11, -22, -22, -50), (70, 80, 100, 130, 135)),
        ((325, 700, 2700, 3800, 4950), (0, -16, -35, -40, -60), (50, 60, 170, 180, 200)),
    ),
    "alto": (
        ((800, 1150, 2800, 3500, 4950), (0, -4, -20, -36, -60), (80, 90, 120, 130, 140)),
        ((400, 1600, 2700, 3300, 4950), (0, -24, -30, -35, -60), (60, 80, 120, 150, 200)),
        ((350, 1700, 2700, 3700, 4950), (0, -20, -30, -36, -60), (50, 100, 120, 150, 200)),
        ((450, 800, 2830, 3500, 4950), (0, -9, -16, -28, -55), (70, 80, 100, 130, 135)),
        ((325, 700, 2530, 3500, 4950), (0, -12, -30, -40, -64), (50, 60, 170, 180, 200)),
    ),
    "tenor": (
        ((650, 1080, 2650, 2900, 3250), (0, -6, -7, -8, -22), (80, 90, 120, 130, 140)),
        ((400, 1700, 2600, 3200, 3580), (0, -14, -12, -14, -20), (70, 80, 100, 120, 120)),
        ((290, 1870, 2800, 3250, 3540), (0, -15, -18, -20, -30), (40, 90, 100, 120, 120)),
        ((400, 800, 2600, 2800, 3000), (0, -10, -12, -12, -26), (40, 80, 100, 120, 120)),
        ((350, 600, 2700, 2900, 3300), (0, -20, -17, -14, -26), (40, 60, 100, 120, 120)),
    ),
    "bass": (
        ((600, 1040, 2250, 2450, 2750), (0, -7, -9, -9, -20), (60, 70, 110, 120, 130)),
        ((400, 1620, 2400, 2800, 3100), (0, -12, -9, -12, -18), (40, 80, 100, 120, 120)),
        ((250, 1750, 2600, 3050, 3340), (0, -30, -16, -22, -28), (60, 90, 100, 120, 120)),
        ((400, 750, 2400, 2600, 2900), (0, -11, -21, -20, -40), (40, 80, 100, 120, 120)),
        ((350, 600, 2400, 2675, 2950), (0, -20, -32, -28, -36), (40, 80, 100, 120, 120)),
    ),
}  # fmt: skip
LOWEST = {
    "men": 45, "women": 57, "children": 62, "soprano": 62, "alto": 55, "tenor": 49, "bass": 40,
}  # fmt: skip
"""MIDI note a voice sings down to; a tune spans an octave."""
SCALES = ((0, 2, 4, 5, 7, 9, 11, 12), (0, 2, 3, 5, 7, 8, 10, 12), (0, 2, 4, 7, 9, 12))


SYLLABLES = (
    "gate", "rain", "bridge", "come", "count", "step", "night", "walls", "bells", "turn", "song",
    "dance", "lights", "low", "blue", "smoke", "round", "old", "slow", "bring", "the", "sea",
    "wind", "light", "stone", "hand", "door", "street", "time", "home",
)  # fmt: skip
NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@dataclass(frozen=True, slots=True)
class Note:
    """One note of a tune, in seconds."""

    begin_s: float
    end_s: float
    midi: int
    fresh: bool
    """Whether it is the first after a breath."""


def tune(rng: np.random.Generator, seconds: float, lowest: int) -> list[Note]:
    """A tune of short and long notes in phrases, with a breath between."""
    scale = SCALES[int(rng.integers(len(SCALES)))]
    beat, at, step = float(rng.uniform(0.3, 0.8)), 0.1, int(rng.integers(len(scale)))
    notes: list[Note] = []
    while at < seconds - 0.3:
        for number in range(int(rng.integers(3, 10))):
            step = int(np.clip(step + rng.integers(-2, 3), 0, len(scale) - 1))
            lasts = beat * float(rng.choice([0.5, 0.5, 1, 1, 1, 1.5, 2, 3]))
            if at + lasts > seconds:
                break
            notes.append(Note(at, at + lasts, lowest + scale[step], number == 0))
            at += lasts
        at += float(rng.uniform(0.2, 0.9))
    return notes


def pitch_curve(rng: np.random.Generator, notes: list[Note], seconds: float) -> np.ndarray:
    """Hertz at CURVE_HZ: glides between notes, vibrato that sets in late, hands' unsteadiness."""
    count = int(seconds * CURVE_HZ) + 1
    midi = np.zeros(count)
    depth = np.zeros(count)
    most = float(rng.choice([0.0, 0.3, 0.6, 0.9])) if rng.random() < 0.8 else 0.0
    for note in notes:
        inside = slice(int(note.begin_s * CURVE_HZ), int(note.end_s * CURVE_HZ) + 1)
        midi[inside] = note.midi
        late = np.arange(len(midi[inside])) / CURVE_HZ - 0.2
        depth[inside] = most * np.clip(late / 0.25, 0, 1)
    known = np.maximum.accumulate(np.where(midi > 0, np.arange(count), 0))
    midi = np.where(midi[known] > 0, midi[known], notes[0].midi if notes else 60)
    width = max(3, int(rng.uniform(0.04, 0.13) * CURVE_HZ))
    glide = np.hanning(width) / np.hanning(width).sum()
    midi = np.convolve(np.pad(midi, width, mode="edge"), glide, "same")[width:-width]
    t = np.arange(count) / CURVE_HZ
    rate = rng.uniform(4.6, 6.6)
    wander = np.cumsum(rng.normal(0, 0.012, count))
    wander -= scipy.ndimage.uniform_filter1d(wander, CURVE_HZ)
    midi = midi + depth * np.sin(2 * np.pi * rate * t + rng.uniform(0, 6)) + wander
    return 440.0 * 2.0 ** ((midi - 69) / 12)


def _syllables(
    rng: np.random.Generator, notes: list[Note], seconds: float
) -> tuple[np.ndarray, np.ndarray, list]:
    """Level and vowel number at CURVE_HZ, and the noises of consonants (second, length, kind)."""
    count = int(seconds * CURVE_HZ) + 1
    level, vowel, noises = np.zeros(count), np.zeros(count, dtype=int), []
    now = int(rng.integers(100))
    for note in notes:
        begin, end = int(note.begin_s * CURVE_HZ), int(note.end_s * CURVE_HZ)
        sort = rng.choice(["none", "stop", "hiss", "hum", "glide"], p=[0.2, 0.25, 0.2, 0.2, 0.15])
        if sort != "none":
            now = int(rng.integers(100))
        vowel[begin:] = now
        level[begin:end] = rng.uniform(0.6, 1.0)
        lasts = float(rng.uniform(0.04, 0.12))
        few = int(lasts * CURVE_HZ)
        if sort in ("stop", "hiss"):
            level[begin : begin + few] = 0.0
            noises.append((note.begin_s, lasts if sort == "hiss" else 0.015, sort))
        elif sort == "hum":
            level[begin : begin + few] *= 0.3
        if rng.random() < 0.4:
            level[max(end - few, begin) : end] *= 0.3
    smooth = np.hanning(9) / np.hanning(9).sum()
    return np.convolve(level, smooth, "same"), vowel, noises


def _noise(rng: np.random.Generator, noises: list, count: int) -> np.ndarray:
    out = np.zeros(count)
    for at, lasts, sort in noises:
        few = int(lasts * RATE)
        low = rng.uniform(1500, 4500)
        band = scipy.signal.butter(2, [low, min(low * 2.2, 10500)], "band", fs=RATE, output="sos")
        burst = scipy.signal.sosfilt(band, rng.normal(0, 1, few)) * np.hanning(few + 2)[1:-1]
        start = int(at * RATE)
        room = max(min(few, count - start), 0)
        out[start : start + room] += burst[:room] * (0.25 if sort == "hiss" else 0.5)
    return out


def formants(rng: np.random.Generator, seconds: float, who: str) -> np.ndarray:
    """Sung by resonators in a row."""
    notes = tune(rng, seconds, LOWEST[who] + int(rng.integers(0, 8)))
    hz = pitch_curve(rng, notes, seconds)
    level, vowel, noises = _syllables(rng, notes, seconds)
    count = int(seconds * RATE)
    place = np.arange(count) / RATE * CURVE_HZ
    turns = np.cumsum(np.interp(place, np.arange(len(hz)), hz)) / RATE
    phase = turns % 1.0
    opened = rng.uniform(0.5, 0.75)  # Rosenberg 1971: rises, falls, shut
    rise = opened * 0.66
    pulse = np.where(
        phase < rise, 0.5 - 0.5 * np.cos(np.pi * phase / rise),
        np.where(phase < opened, np.cos(np.pi / 2 * (phase - rise) / (opened - rise)), 0.0),
    )  # fmt: skip
    source = np.diff(pulse, prepend=0.0) + rng.normal(0, rng.uniform(0.001, 0.01), count) * pulse
    source *= np.interp(place, np.arange(len(level)), level)
    table = SPOKEN_VOWELS[who]
    size = rng.uniform(0.94, 1.06)
    upper = (3500 * size, 4500 * size) if who == "men" else (4100 * size, 5200 * size)
    wanted = np.array([[*(f * size for f in table[v % len(table)]), *upper] for v in vowel])
    wanted = scipy.ndimage.uniform_filter1d(wanted, int(0.06 * CURVE_HZ), axis=0)
    width = np.array([60, 80, 120, 180, 250]) * rng.uniform(0.8, 1.4)
    out = source
    block = RATE // CURVE_HZ
    for number in range(5):
        shaped, state = np.empty(count), np.zeros(2)
        for start in range(0, count, block):
            f = wanted[min(start * CURVE_HZ // RATE, len(wanted) - 1), number]
            r = np.exp(-np.pi * width[number] / RATE)
            a = [1.0, -2 * r * np.cos(2 * np.pi * f / RATE), r * r]
            shaped[start : start + block], state = scipy.signal.lfilter(
                [sum(a)], a, out[start : start + block], zi=state
            )
        out = shaped
    out = out / max(np.abs(out).max(), 1e-9)
    return (out + 0.4 * _noise(rng, noises, count)).astype(np.float32)


def _resonance(grid: np.ndarray, hz: float, db: float, width_hz: float) -> np.ndarray:
    """Its gain on a grid of hertz."""
    return 10 ** (db / 20) / np.sqrt(1 + np.square((grid - hz) / (width_hz / 2)))


def partials(rng: np.random.Generator, seconds: float, who: str) -> np.ndarray:
    """Sung by adding up partials under the sung vowels' resonances."""
    notes = tune(rng, seconds, LOWEST[who] + int(rng.integers(0, 8)))
    hz = pitch_curve(rng, notes, seconds)
    level, vowel, noises = _syllables(rng, notes, seconds)
    table = SUNG_VOWELS[who]
    grid = np.arange(0.0, 11000.0, 25.0)
    shapes = np.array([sum(map(partial(_resonance, grid), *vowel)) for vowel in table])
    shape = scipy.ndimage.uniform_filter1d(shapes[vowel % len(table)], int(0.05 * CURVE_HZ), axis=0)
    count = int(seconds * RATE)
    place = np.arange(count) / RATE * CURVE_HZ
    steps = np.arange(len(hz))
    turns = np.cumsum(np.interp(place, steps, hz)) / RATE
    out = np.zeros(count)
    for harmonic in range(1, 40):
        at = hz * harmonic
        if at.min() > 10000:
            break
        gain = shape[steps, np.clip(np.round(at / 25).astype(int), 0, len(grid) - 1)]
        gain = np.where(at < 10500, gain, 0.0) * level / harmonic**0.25
        out += np.interp(place, steps, gain) * np.sin(2 * np.pi * harmonic * turns)
    out = out / max(np.abs(out).max(), 1e-9)
    return (out + 0.3 * _noise(rng, noises, count)).astype(np.float32)


def resung(rng: np.random.Generator, speech: np.ndarray, rate: int, *, lowest: int) -> np.ndarray:
    """Speech put on the notes of a tune by the WORLD vocoder, its voiced stretches held longer."""
    import pyworld

    x = speech.astype(np.float64)
    f0, times = pyworld.harvest(x, rate)
    envelope = pyworld.cheaptrick(x, f0, times, rate)
    noise = pyworld.d4c(x, f0, times, rate)
    voiced = f0 > 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], voiced.astype(int), [0]])))
    frame_s = 0.005
    places, notes, at = [], [], 0.0
    scale = SCALES[int(rng.integers(len(SCALES)))]
    step, last = int(rng.integers(len(scale))), 0
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        places.append(np.arange(last, begin))
        at += len(places[-1]) * frame_s
        pieces = max(1, round((end - begin) * frame_s / 0.22))
        for piece in np.array_split(np.arange(begin, end), pieces):
            if not len(piece):
                continue
            lasts = max(len(piece) * frame_s, float(rng.choice([0.25, 0.4, 0.4, 0.6, 0.9, 1.4])))
            step = int(np.clip(step + rng.integers(-2, 3), 0, len(scale) - 1))
            places.append(np.linspace(piece[0], piece[-1], int(lasts / frame_s)))
            notes.append(Note(at, at + len(places[-1]) * frame_s, lowest + scale[step], False))
            at += len(places[-1]) * frame_s
        last = end
    places.append(np.arange(last, len(f0)))
    place = np.concatenate(places)
    if not notes:
        return speech.astype(np.float32)
    near = np.round(place).astype(int).clip(0, len(f0) - 1)
    curve = pitch_curve(rng, notes, len(place) * frame_s)[: len(place)]
    sung = np.where(voiced[near], np.resize(curve, len(place)), 0.0)
    out = pyworld.synthesize(
        sung, np.ascontiguousarray(envelope[near]), np.ascontiguousarray(noise[near]), rate
    )
    return np.asarray(soxr.resample(out, rate, RATE), dtype=np.float32)


def diphones(rng: np.random.Generator, folder: Path, voice: str) -> np.ndarray:
    """A tune of any words on whole notes, by one of festival's speakers."""
    notes = tune(rng, float(rng.uniform(8, 14)), int(rng.integers(38, 60)))
    words = [
        (str(rng.choice(SYLLABLES)), f"{NAMES[n.midi % 12]}{n.midi // 12 - 1}", n.end_s - n.begin_s)
        for n in notes
    ]
    return sung_words(words, 60, folder, voice)


def sung_words(
    words: Sequence[tuple[str, str, float]], bpm: int, folder: Path, voice: str
) -> np.ndarray:
    """Words, each on a note such as A3 for some beats, by one of festival's speakers (Debian's
    festival with festvox-kallpc16k or festvox-kdlpc16k)."""
    notes = "".join(
        f'<PITCH NOTE="{note}"><DURATION BEATS="{beats:.3f}">{word}</DURATION></PITCH>'
        for word, note, beats in words
    )
    head = '<!DOCTYPE SINGING PUBLIC "-//SINGING//DTD SINGING mark up//EN" "Singing.v0_1.dtd" []>'
    file, wav = folder / "song.xml", folder / "song.wav"
    file.write_text(f'<?xml version="1.0"?>\n{head}\n<SINGING BPM="{bpm}">{notes}</SINGING>\n')
    speaker = ["-eval", f"(voice_{voice})"]
    command = ["text2wave", "-mode", "singing", *speaker, str(file), "-o", str(wav)]
    subprocess.run(command, check=True, capture_output=True)
    samples, rate = soundfile.read(wav, dtype="float32")
    return np.asarray(soxr.resample(samples / np.abs(samples).max() * 0.5, rate, RATE))


def tunes_played(
    rng: np.random.Generator,
    folder: Path,
    programs: list[int],
    seconds: float,
    *,
    bends: bool,
    chords: bool,
) -> np.ndarray:
    """A tune on one or more General MIDI instruments, with bent notes or chords if wanted."""
    events: list[tuple[float, mido.Message]] = []
    for channel, program in enumerate(programs):
        events.append((0.0, mido.Message("program_change", program=program, channel=channel)))
        lowest = int(rng.integers(36, 50)) if 32 <= program < 40 else int(rng.integers(50, 70))
        for note in tune(rng, seconds, lowest):
            loud = int(rng.integers(60, 115))
            lasts = (note.end_s - note.begin_s) * float(rng.uniform(0.7, 1.05))
            tones = (0, 4, 7) if chords and channel == 0 else (0,)
            for tone in tones:
                on = mido.Message("note_on", note=note.midi + tone, velocity=loud, channel=channel)
                events.append((note.begin_s, on))
                events.append((note.begin_s + lasts, on.copy(velocity=0)))
            if bends and note.end_s - note.begin_s > 0.3:
                for step in np.arange(0.0, lasts, 0.02):
                    deep = 700 * np.clip((step - 0.15) / 0.2, 0, 1) * np.sin(2 * np.pi * 5.3 * step)
                    slide = -3000 * np.exp(-step / 0.05)
                    bend = mido.Message("pitchwheel", pitch=int(deep + slide), channel=channel)
                    events.append((note.begin_s + step, bend))
    return midi_sound(events, folder, seconds)


def midi_sound(
    events: list[tuple[float, mido.Message]], folder: Path, seconds: float
) -> np.ndarray:
    """Events at seconds as mono sound at RATE."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    now = 0
    for at, message in sorted(events, key=lambda event: event[0]):
        tick = max(now, round(at * TICKS_A_SECOND))
        track.append(message.copy(time=tick - now))
        now = tick
    file = mido.MidiFile(ticks_per_beat=TICKS_A_SECOND)
    file.tracks.append(track)
    file.save(folder / "played.mid")
    synthesise(folder / "played.mid", folder / "played.wav")
    samples, rate = soundfile.read(folder / "played.wav", dtype="float32", always_2d=True)
    mono = soxr.resample(samples.mean(axis=1), rate, RATE)[: int(seconds * RATE)]
    return np.asarray(mono / max(float(np.abs(mono).max()), 1e-9) * 0.8, dtype=np.float32)


def worn(rng: np.random.Generator, mono: np.ndarray) -> np.ndarray:
    """As records and rooms wear a sound: now and then a hall, a narrow band, hiss, crackle."""
    out = mono.astype(np.float64)
    if rng.random() < 0.4:
        lasts = rng.uniform(0.3, 1.6)
        t = np.arange(int(lasts * RATE)) / RATE
        room = rng.normal(0, 1, len(t)) * np.exp(-6.9 * t / lasts)
        wet = scipy.signal.fftconvolve(out, room)[: len(out)]
        out = out + wet * rng.uniform(0.1, 0.5) * np.abs(out).max() / max(np.abs(wet).max(), 1e-9)
    if rng.random() < 0.25:
        edges = [rng.uniform(60, 250), rng.uniform(3500, 8000)]
        band = scipy.signal.butter(2, edges, "band", fs=RATE, output="sos")
        out = scipy.signal.sosfilt(band, out)
    if rng.random() < 0.3:
        out = out + rng.normal(0, 10 ** rng.uniform(-3.5, -2.3), len(out)) * np.abs(out).max()
    if rng.random() < 0.25:
        clicks = np.zeros(len(out))
        where = rng.integers(0, len(out), int(len(out) / RATE * rng.uniform(2, 20)))
        clicks[where] = rng.normal(0, rng.uniform(0.05, 0.4), len(where))
        out = out + scipy.signal.lfilter([1.0], [1.0, -0.6], clicks) * np.abs(out).max()
    return np.asarray(out / max(np.abs(out).max(), 1e-9) * 0.8, dtype=np.float32)
