"""Plain arithmetic of a platter: turns, pitch in per cent, and the semitones that pitch costs."""

from __future__ import annotations

import math

LP_RPM = 100.0 / 3.0
"""33 1/3 turns a minute, the nominal speed of a long-playing record (IEC 60098)."""


def exact_rpm(rpm: float) -> float:
    """The nominal speed a rounded figure stands for: 33, 33.3 and 33.333 all mean 33 1/3."""
    return LP_RPM if abs(rpm - LP_RPM) < 0.35 else rpm


def turn_s(rpm: float) -> float:
    """Seconds of record in one turn of the platter: 60 / rpm, so 1.8 s at 33 1/3."""
    return 60.0 / exact_rpm(rpm)


def turns(seconds: float, rpm: float) -> float:
    """How many turns of the platter so many seconds of record are, signed."""
    return seconds / turn_s(rpm)


def sticker_degrees(position_s: float, rpm: float) -> float:
    """Angle of the sticker at a deck-file second, 0 to below 360, 0 at the file's start."""
    return (turns(position_s, rpm) % 1.0) * 360.0


def sticker_place(cue_s: float, rpm: float) -> tuple[int, int]:
    """Whole turns from the file's start, and the sticker's angle in whole degrees."""
    degrees = round(sticker_degrees(cue_s, rpm)) % 360
    turn = turns(cue_s, rpm)
    # A hair below a whole turn is that turn, since the angle is shown in whole degrees.
    return (round(turn) if degrees == 0 else int(turn)), degrees


def semitones(ratio: float) -> float:
    """Semitones a speed ratio shifts the key: 12 * log2(ratio), equal temperament (ISO 16)."""
    return 12.0 * math.log2(ratio)


def speed_ratio(semitone_shift: float) -> float:
    """Speed ratio that shifts the key by so many semitones: 2 ** (shift / 12)."""
    return float(2.0 ** (semitone_shift / 12.0))


def pitch_percent(from_bpm: float, to_bpm: float) -> float:
    """Pitch in per cent that brings one tempo to another: 100 * (to / from - 1)."""
    return 100.0 * (to_bpm / from_bpm - 1.0)
