"""Songs with open breaks at known seconds: arranged by rule, or recorded loops spliced into music.

The arranged ones are played by fluidsynth on Debian's fluid-soundfont-gm: drums, bass, chords and a
tune that come and go by the section; in a break only the drums go on, as they do in records. The
spliced ones take a drum loop of sonic-pi-samples, brought to the tempo of a piece of tracker music
by resampling, and put it between two bars of the piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soxr
from scores import TICKS_A_SECOND, synthesise

RATE = 22050
BACKING = ((33, 4, 65), (34, 16, 80), (38, 27, 81), (32, 0, 56), (39, 48, 73), (35, 11, 66))
"""General MIDI programs of bass, chords and tune."""
PARTS = {
    "full": ("drums", "bass", "chords", "tune"),
    "verse": ("drums", "bass", "chords"),
    "intro": ("bass", "chords"),
    "thin": ("chords",),
    "break": ("drums",),
}
KICKS = ((0, 6, 8, 10), (0, 7, 8), (0, 4, 8, 12), (0, 3, 10), (0, 2, 8, 11, 14))
RATIO_HATS = ((42, 2), (42, 1), (51, 2), (46, 4), (70, 1))
"""A cymbal or shaker and every how many sixteenths it is struck."""


@dataclass(frozen=True, slots=True)
class Song:
    """Mono sound at RATE, its tempo, and what plays when: (begin, end, section)."""

    samples: np.ndarray
    bpm: float
    sections: tuple[tuple[float, float, str], ...]

    @property
    def breaks_s(self) -> list[tuple[float, float]]:
        """Begin and end of each open break."""
        return [(begin, end) for begin, end, name in self.sections if name == "break"]


def arranged(seed: int, folder: Path, *, bars: int = 28) -> Song:
    """A song of about a minute with one or two breaks of 2 to 8 bars."""
    rng = np.random.default_rng((77, seed))
    bpm = float(rng.uniform(82, 126))
    order = ["intro", "verse", "full", "break", "verse", "full", "thin", "full", "break", "verse"]
    if seed % 2:
        order = ["break", "verse", "full", "verse", "break", "full", "verse"]
    lengths = {
        name: int(rng.choice([2, 4, 4, 8] if name == "break" else [4, 4, 8])) for name in PARTS
    }
    plan, total = [], 0
    for name in order:
        if total >= bars:
            break
        plan.append((name, lengths[name]))
        total += lengths[name]
    events, sections = _events(plan, 15.0 / bpm, rng)
    midi = folder / f"arranged-{seed}.mid"
    programs = BACKING[int(rng.integers(len(BACKING)))]
    _write(events, midi, programs)
    path = folder / f"arranged-{seed}.wav"
    synthesise(midi, path)
    return Song(_mono(path, sections[-1][1] + 1.0), bpm, tuple(sections))


def _mono(path: Path, limit_s: float) -> np.ndarray:
    import soundfile

    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    mono = soxr.resample(samples.mean(axis=1), rate, RATE)[: round(limit_s * RATE)]
    return np.asarray(mono / np.abs(mono).max() * 0.8)


def _events(plan: list, step: float, rng: np.random.Generator) -> tuple[list, list]:
    """(second, channel, on, note, velocity), and the sections in seconds."""
    kick = KICKS[int(rng.integers(len(KICKS)))]
    hat, every = RATIO_HATS[int(rng.integers(len(RATIO_HATS)))]
    roots = rng.permutation([0, 5, 7, 9, 2, 4])[:4]
    home, loose = int(rng.integers(36, 47)), rng.uniform(0, 0.006)
    events: list = []
    sections, bar = [], 0

    def play(at: float, length: float, channel: int, note: int, velocity: float) -> None:
        at = max(0.05 + at * step + rng.normal(0, loose), 0.0)
        velocity = int(np.clip(velocity + rng.normal(0, 6), 20, 125))
        events.append((at, channel, 1, int(note), velocity))
        events.append((at + length * step, channel, 0, int(note), 0))

    for name, length in plan:
        parts, first = PARTS[name], bar
        for bar in range(first, first + length):
            base, root = bar * 16, home + int(roots[bar % 4])
            if "drums" in parts:
                for place in kick:
                    play(base + place, 1, 9, 36, 105)
                for place in (4, 12):
                    play(base + place, 1, 9, 38, 100)
                for place in range(0, 16, every):
                    play(base + place, 1, 9, hat, 75 - 20 * (place % 4 > 0))
                if bar == first + length - 1:
                    for place in (13, 14, 15):
                        play(base + place, 1, 9, int(rng.choice([38, 45, 47])), 85)
            if "bass" in parts:
                for place in (0, 3, 6, 8, 10, 14):
                    play(base + place, 2, 0, root + (12 if place == 10 else 0), 90)
            if "chords" in parts:
                for place, long in (
                    ((0, 8), (8, 8)) if rng.random() < 0.7 else ((2, 2), (6, 2), (10, 4))
                ):
                    for tone in (0, 4 if roots[bar % 4] in (0, 5, 7) else 3, 7):
                        play(base + place, long * 0.95, 1, root + 24 + tone, 70)
            if "tune" in parts:
                for place in sorted(rng.choice(16, 5, replace=False)):
                    play(base + place, 2.5, 2, root + 36 + int(rng.choice([0, 2, 4, 7, 9])), 85)
        bar = first + length
        sections.append((0.05 + first * 16 * step, 0.05 + bar * 16 * step, name))
    return events, sections


def _write(events: list, path: Path, programs: tuple[int, int, int]) -> None:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    for channel, program in enumerate(programs):
        track.append(mido.Message("program_change", program=program, channel=channel))
    now = 0
    for at, channel, on, note, velocity in sorted(events):
        tick = max(now, round(at * TICKS_A_SECOND))
        kind = "note_on" if on else "note_off"
        track.append(
            mido.Message(kind, note=note, velocity=velocity, channel=channel, time=tick - now)
        )
        now = tick
    file = mido.MidiFile(ticks_per_beat=TICKS_A_SECOND)
    file.tracks.append(track)
    file.save(path)


def spliced(
    music: np.ndarray, bpm: float, loop: np.ndarray, loop_beats: int, *, bars: int, seed: int
) -> Song:
    """Music at RATE with so many bars of a drum loop put in between two of its bars."""
    rng = np.random.default_rng((78, seed))
    beat = 60.0 / bpm
    wanted = round(loop_beats * beat * RATE)
    loop = np.asarray(soxr.resample(loop, len(loop), wanted)[:wanted])
    need = round(bars * 4 * beat * RATE)
    middle = np.resize(loop, need)
    loud = [float(np.sqrt(np.mean(np.square(one)))) + 1e-9 for one in (music, middle)]
    middle = middle * (loud[0] / loud[1]) * rng.uniform(0.7, 1.2)
    total_bars = int(len(music) / RATE / (4 * beat))
    at = round(int(rng.integers(total_bars // 3, 2 * total_bars // 3)) * 4 * beat * RATE)
    whole = np.concatenate([music[:at], middle, music[at:]]).astype(np.float32)
    end = at + need
    sections = (
        (0.0, at / RATE, "full"),
        (at / RATE, end / RATE, "break"),
        (end / RATE, len(whole) / RATE, "full"),
    )
    return Song(whole / max(float(np.abs(whole).max()), 1e-9) * 0.8, bpm, sections)
