"""Scores as ground truth: written music played by rule on sampled instruments, beats known.

The scores come with music21; fluidsynth plays them on the General MIDI samples of Debian's
fluid-soundfont-gm. How hands differ from the page is put in by rule, seeded: tempo arches over
four bars (Todd 1985, "A model of expressive timing in tonal music"), a tempo that wanders from
beat to beat, a slowing at the end, a melody that leads its chords and strokes off by a hundredth
(Goebl 2001, "Melody lead in piano performance"). Needs music21, mido and fluidsynth.
"""

from __future__ import annotations

import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np

SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
PIANO, ORGAN, STRINGS, GUITAR = 0, 19, 48, 24
TICKS_A_SECOND = 1000


@dataclass(frozen=True, slots=True)
class Score:
    """Notes of a written piece: (notes, 3) start and length in quarters and MIDI pitch."""

    name: str
    notes: np.ndarray
    beat_quarters: float
    """Quarters in a beat, by the time signature: three eighths in 6/8."""
    bar_beats: int
    first_bar: float
    """Quarters before the first bar line."""
    key: str
    """By the key signature and the last bass note, as `C minor`."""


@dataclass(frozen=True, slots=True)
class Played:
    """A performance on disk and its beats in seconds."""

    path: Path
    beats_s: np.ndarray
    bars_s: np.ndarray


def read_score(name: str, *, quarters: float = 200.0) -> Score:
    """A piece of music21's corpus, as far as so many quarters."""
    from music21 import corpus

    piece = corpus.parse(name)
    part = piece.parts[0] if piece.parts else piece
    signature = part.recurse().getElementsByClass("TimeSignature").first()
    upper, lower = signature.numerator, signature.denominator
    compound = upper in (6, 9, 12) and lower == 8
    beat = 1.5 if compound else 4.0 / lower
    bars = part.getElementsByClass("Measure")
    written = bars[0].duration.quarterLength if len(bars) else 0.0
    whole = upper * 4.0 / lower
    first_bar = written if 0 < written < whole - 1e-6 else 0.0
    if len(bars) and getattr(bars[0], "paddingLeft", 0.0):
        first_bar = whole - float(bars[0].paddingLeft)
    notes = [
        (float(note.offset), float(note.duration.quarterLength), pitch.midi)
        for note in piece.flatten().notes
        if note.duration.quarterLength > 0
        for pitch in note.pitches
    ]
    table = np.array(sorted(notes))
    table = table[table[:, 0] < quarters]
    return Score(
        name, table, beat, upper // 3 if compound else upper, float(first_bar), _key(piece)
    )


def _key(piece) -> str:
    """Tonic by the last bass note, mode by which of the two keys of the signature that is."""
    found = piece.recurse().getElementsByClass("KeySignature").first()
    sharps = found.sharps if found is not None else 0
    last = list(piece.parts[-1].recurse().notes)[-1] if piece.parts else piece.flatten().notes[-1]
    tonic = min(last.pitches, key=lambda pitch: pitch.midi).midi % 12
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    major = (7 * sharps) % 12
    if tonic == major:
        return f"{names[tonic]} major"
    if tonic == (major + 9) % 12:
        return f"{names[tonic]} minor"
    return ""


def perform(
    score: Score,
    path: Path,
    *,
    bpm: float,
    seed: int,
    freedom: float = 1.0,
    program: int = PIANO,
    limit_s: float = 60.0,
) -> Played:
    """A score played on one instrument; `freedom` 0 is a machine's, 1 a pianist's."""
    rng = np.random.default_rng((seed, zlib.crc32(score.name.encode())))
    last = float((score.notes[:, 0] + score.notes[:, 1]).max())
    offset = score.first_bar % score.beat_quarters
    start = offset - score.beat_quarters if offset > 1e-6 else 0.0
    grid = np.arange(start, last + 2 * score.beat_quarters, score.beat_quarters)
    number = np.arange(len(grid))
    phrase = 4.0 * score.bar_beats
    arch = 1.0 - np.square(2 * ((number % phrase) / phrase) - 1.0)
    wander = np.zeros(len(grid))
    for beat in range(1, len(grid)):
        wander[beat] = 0.8 * wander[beat - 1] + rng.normal(0, 0.025)
    end = np.clip((number - (len(grid) - 8)) / 8, 0, 1)
    tempo = bpm * (1 + freedom * (0.14 * (arch - 0.66) + wander - 0.35 * end))
    times = np.concatenate([[0.0], np.cumsum(60.0 / tempo[:-1])])
    times += 0.4 - np.interp(max(0.0, start), grid, times)
    events = []
    for begin in np.unique(score.notes[:, 0]):
        chord = score.notes[score.notes[:, 0] == begin]
        at = float(np.interp(begin, grid, times)) + freedom * rng.normal(0, 0.008)
        top = chord[:, 2].max()
        on_beat = abs((begin - offset) / score.beat_quarters % 1.0) < 1e-3
        for _, length, pitch in chord:
            late = 0.0 if pitch == top else freedom * max(0.0, rng.normal(0.018, 0.01))
            until = float(np.interp(begin + length, grid, times))
            loud = 62 + 10 * on_beat + 10 * (pitch == top) + rng.normal(0, 7) * freedom
            stop = at + late + max(0.06, 0.95 * (until - at))
            events.append((at + late, 1, int(pitch), int(np.clip(loud, 20, 120))))
            events.append((stop, 0, int(pitch), 0))
    write_midi(events, path.with_suffix(".mid"), program=program, limit_s=limit_s)
    synthesise(path.with_suffix(".mid"), path)
    beats = times[grid >= -1e-6]
    first = round((score.first_bar - grid[grid >= -1e-6][0]) / score.beat_quarters)
    bars = beats[first % score.bar_beats :: score.bar_beats]
    stop = min(limit_s, max(event[0] for event in events))
    return Played(path, beats[beats < stop], bars[bars < stop])


def write_midi(events: list, path: Path, *, program: int, limit_s: float, channel: int = 0) -> None:
    """Events (second, on or off, pitch, velocity) as a MIDI file of a thousand ticks a second."""
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    track.append(mido.Message("program_change", program=program, channel=channel))
    now = 0
    for at, on, pitch, velocity in sorted(events):
        if on and at >= limit_s:
            continue
        # A note that no one ends sounds for ever, and fluidsynth with it.
        tick = max(now, round(min(at, limit_s + 0.1) * TICKS_A_SECOND))
        kind = "note_on" if on else "note_off"
        track.append(
            mido.Message(kind, note=pitch, velocity=velocity, channel=channel, time=tick - now)
        )
        now = tick
    file = mido.MidiFile(ticks_per_beat=TICKS_A_SECOND)
    file.tracks.append(track)
    file.save(path)


def synthesise(midi: Path, path: Path) -> None:
    """A MIDI file as sound."""
    subprocess.run(
        ["fluidsynth", "-ni", "-g", "0.6", "-r", "44100", "-F", path, SOUNDFONT, midi],
        check=True,
        capture_output=True,
    )
