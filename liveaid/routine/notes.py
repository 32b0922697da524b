"""Notes played on one steady tone: by the pitch fader, or each laid out on the record.

Note names and their frequencies by equal temperament from A4 = 440 Hz (ISO 16).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from liveaid.record.platter import semitones, speed_ratio
from liveaid.routine.act_line import beat_of
from liveaid.routine.keys import ACCIDENTAL, NATURAL
from liveaid.routine.written_numbers import LineError, number

A4_HZ = 440.0
TONE = "tone"
"""The part of a sound in which its tone is steady."""
LAID_SHARE = 0.5
"""Of the time to the next note a laid-out one lasts so much, where its line does not say: the rest
is for the way to the next (common practice, no source)."""

_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@dataclass(frozen=True, slots=True)
class Note:
    """One note of a melody."""

    name: str
    hz: float
    beat: float
    beats: float


def note_hz(text: str) -> float:
    """Hertz of a name such as A4, F#3 or Bb4, or A4 +12 (cents). LineError for anything else."""
    match = re.fullmatch(r"([A-Ga-g])([#b]?)(-?\d)(?:\s+([+-]\d+(?:\.\d+)?))?", text.strip())
    if match is None:
        raise LineError(text or "nothing", "a note such as A4, F#3 or Bb4 would do")
    step = NATURAL[match[1].upper()] + ACCIDENTAL[match[2]]
    octave, cents = int(match[3]), float(match[4] or 0.0)
    return A4_HZ * speed_ratio(step - 9 + 12 * (octave - 4) + cents / 100.0)


def note_name(hz: float) -> tuple[str, float]:
    """The nearest note's name, and by how many cents the tone is above it."""
    above = 57.0 + semitones(hz / A4_HZ)  # A4 is 57 semitones above C0
    nearest = round(above)
    return f"{_NAMES[nearest % 12]}{nearest // 12}", 100.0 * (above - nearest)


def read_notes(
    lines: Mapping[str, str | None], *, metre: int, end: float, laid: bool
) -> list[Note]:
    """A plan's `notes:` in order of beat. LineError with what is wrong in the first bad line.

    A note without `for` lasts until the next; laid out on the record, half as long.
    """
    read = sorted(
        ((beat_of(key, metre=metre), text) for key, text in lines.items() if text is not None),
        key=lambda line: line[0],
    )
    notes = []
    for place, (beat, text) in enumerate(read):
        until = read[place + 1][0] if place + 1 < len(read) else end
        room = (until - beat) * (LAID_SHARE if laid else 1.0)
        name, beats = _read(text, room)
        if beats > until - beat + 1e-6:
            raise LineError(f"{text} at beat {beat:g}", f"`for {until - beat:g}` or less would do")
        notes.append(Note(name, note_hz(name), beat, beats))
    return notes


def _read(text: str, room: float) -> tuple[str, float]:
    name, _, rest = text.partition(" for ")
    beats = number(rest, what="beats") if rest else room
    if beats <= 0.0:
        raise LineError(text, "beats above 0 would do")
    return name.strip(), beats


def percent(hz: float, tone_hz: float) -> float:
    """Pitch in per cent at which a tone sounds as another."""
    return 100.0 * (hz / tone_hz - 1.0)
