"""Composed songs as ground truth: MIDI files that state their tempo and what plays when.

They come in the data files of Debian's freedoom (BSD licence), written by many hands for a game:
rock and metal, slow pieces, threes, fives and sevens among them. Channel 10 is the drums' by the
General MIDI standard, so a stretch in which nothing else sounds is an open break as its composer
wrote it. fluidsynth plays them on Debian's fluid-soundfont-gm. `more_songs` are those of Debian's
openttd-openmsx (GPL), light music by others; nothing in the study was set on them.
"""

from __future__ import annotations

import contextlib
import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import mido
import numpy as np
from scores import synthesise

SONG_FILES = (
    Path("/usr/share/games/doom/freedoom1.wad"),
    Path("/usr/share/games/doom/freedoom2.wad"),
)
MORE_SONGS = Path("/usr/share/games/openttd/baseset/openmsx")
DRUMS = 9
OVERDRIVEN = (29, 30)
WRITTEN_S, WRITTEN_SHARE = 0.008, 0.85
EARLY_S = 0.03
"""Notes on a bar line are played so much before it at most."""
LATEST_OPEN_S, TRIES = 120.0, 30
TAIL_S = 0.3
"""What a struck or plucked note still sounds after its end."""


@dataclass(frozen=True, slots=True)
class Composed:
    """One song: its messages at seconds, and what they tell."""

    name: str
    messages: tuple[tuple[float, mido.Message], ...]
    tempo_bpm: float | None
    """None where it changes."""
    bar_s: float

    def keeps_tempo(self) -> bool:
        """Whether it was written on the beats of one stated tempo: nearly every note begins on a
        quarter or a third of a beat. Some were recorded freely, whatever they state."""
        if self.tempo_bpm is None:
            return False
        at = np.array([at for at, message in self.messages if _begins(message)])
        beats = at * self.tempo_bpm / 60.0
        off = [np.abs(beats * n - np.round(beats * n)) / n * 60.0 / self.tempo_bpm for n in (3, 4)]
        return bool(np.mean(np.minimum(*off) < WRITTEN_S) > WRITTEN_SHARE)

    def drive(self, end_s: float) -> int:
        """What is written up to a second, for a listener's word on how driving it is: 2 for drums
        at four strokes a second or more with overdriven guitars, 0 for hardly any drums and no
        such guitar, 1 for what lies between."""
        first = [message for at, message in self.messages if at < end_s]
        strokes = sum(_begins(message) and message.channel == DRUMS for message in first) / end_s
        driven = any(m.type == "program_change" and m.program in OVERDRIVEN for m in first)
        return 2 if strokes >= 4 and driven else 0 if strokes < 0.5 and not driven else 1

    def breaks_s(self) -> list[tuple[float, float]]:
        """Stretches of a bar at least in which the drums strike on and nothing else sounds."""
        sounding, strokes, edges = set(), [], []
        quiet_from = 0.0
        for at, message in self.messages:
            if message.type not in ("note_on", "note_off"):
                continue
            on = _begins(message)
            if message.channel == DRUMS:
                strokes += [at] if on else []
                continue
            note = message.channel, message.note
            if on and not sounding:
                edges.append((quiet_from, at))
            (sounding.add if on else sounding.discard)(note)
            if not on and not sounding:
                quiet_from = at + TAIL_S
        edges.append((quiet_from, self.messages[-1][0]))
        struck = np.array(strokes)
        found = []
        for begin, end in edges:
            inside = struck[(struck >= begin - TAIL_S - 0.02) & (struck < end - 0.02)]
            beats = (end - begin) / (self.bar_s / 4)
            if end - begin >= 0.9 * self.bar_s and len(inside) >= max(4, beats):
                found.append((float(inside[0]), end))
        return found

    def opened(self, rng: np.random.Generator) -> tuple[Composed, tuple[float, float]] | None:
        """The song with everything but its drums silent over some bars, and from when to when;
        None where they do not strike on by themselves."""
        struck = np.array([at for at, m in self.messages if _begins(m) and m.channel == DRUMS])
        bars = int(min(self.messages[-1][0], LATEST_OPEN_S) / self.bar_s)
        for _ in range(TRIES):
            count = int(rng.choice([2, 4, 8]))
            if bars < count + 6:
                continue
            begin = self.bar_s * int(rng.integers(4, bars - count - 1))
            lines = begin + self.bar_s * np.arange(count + 1)
            inside = np.diff(np.searchsorted(struck, lines - EARLY_S))
            if inside.min() >= 4 and np.abs(struck - begin).min() < EARLY_S:
                return self._without_notes(begin, float(lines[-1])), (begin, float(lines[-1]))
        return None

    def _without_notes(self, begin_s: float, end_s: float) -> Composed:
        """The same with no note but the drums' between two seconds; what sounds there is ended."""
        kept, sounding = [], set()
        begin_s, end_s = begin_s - EARLY_S, end_s - EARLY_S
        for at, message in self.messages:
            note = message.type in ("note_on", "note_off") and message.channel != DRUMS
            if note and _begins(message) and begin_s <= at < end_s:
                continue
            if note and at < begin_s:
                key = message.channel, message.note
                (sounding.add if _begins(message) else sounding.discard)(key)
            kept.append((at, message))
        ends = [
            (begin_s, mido.Message("note_off", channel=channel, note=pitch))
            for channel, pitch in sounding
        ]
        kept = sorted([*kept, *ends], key=lambda each: each[0])
        return replace(self, messages=tuple(kept))

    def render(self, begin_s: float, end_s: float, path: Path) -> None:
        """Write a stretch of it as WAV; what was set before its begin is set at once."""
        ticks = 1000
        track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
        now, open_notes = 0, set()
        for at, message in self.messages:
            note = message.type in ("note_on", "note_off")
            if at >= end_s or (note and at < begin_s):
                continue
            tick = max(now, round((max(at, begin_s) - begin_s) * ticks))
            track.append(message.copy(time=tick - now))
            now = tick
            if note:
                key = message.channel, message.note
                (open_notes.add if _begins(message) else open_notes.discard)(key)
        for channel, pitch in open_notes:  # a note that no one ends sounds for ever
            off = mido.Message("note_off", channel=channel, note=pitch, time=0)
            track.append(off)
        file = mido.MidiFile(ticks_per_beat=ticks)
        file.tracks.append(track)
        file.save(path.with_suffix(".mid"))
        synthesise(path.with_suffix(".mid"), path)


def _begins(message: mido.Message) -> bool:
    return message.type == "note_on" and message.velocity > 0


def composed() -> Iterator[Composed]:
    """Every song of the data files that can be read, each once."""
    seen = set()
    for file in SONG_FILES:
        if not file.is_file():
            continue
        data = file.read_bytes()
        count, table = struct.unpack("<ii", data[4:12])
        for row in range(count):
            begin, size, raw = struct.unpack_from("<ii8s", data, table + 16 * row)
            lump, name = data[begin : begin + size], raw.rstrip(b"\0").decode("latin-1")
            if lump[:4] != b"MThd" or lump in seen:
                continue
            seen.add(lump)
            yield _read(f"{file.stem[-1]}-{name[2:].lower()}", lump)


def more_songs() -> Iterator[Composed]:
    """Every song of the other collection that can be read; some state their metre wrongly."""
    for file in sorted(MORE_SONGS.glob("*.mid")):
        with contextlib.suppress(OSError, ValueError, EOFError):
            yield _read(file.stem, file.read_bytes())


def _read(name: str, data: bytes) -> Composed:
    at, messages, tempi, beats = 0.0, [], set(), 4
    for message in mido.MidiFile(file=io.BytesIO(data)):
        at += message.time
        if message.type == "set_tempo":
            tempi.add(round(6e7 / message.tempo, 3))
        elif message.type == "time_signature":
            beats = message.numerator * 4 / message.denominator
        elif not message.is_meta and message.type != "sysex":
            messages.append((at, message))
    bpm = tempi.pop() if len(tempi) == 1 else None
    return Composed(name, tuple(messages), bpm, 60.0 * beats / (bpm or 120.0))
