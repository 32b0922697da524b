"""The platter's arithmetic under its old name; it is at home in `liveaid.record.platter`."""

from liveaid.record.platter import (
    LP_RPM,
    exact_rpm,
    pitch_percent,
    semitones,
    speed_ratio,
    sticker_degrees,
    turn_s,
    turns,
)

__all__ = [
    "LP_RPM",
    "exact_rpm",
    "pitch_percent",
    "semitones",
    "speed_ratio",
    "sticker_degrees",
    "turn_s",
    "turns",
]
