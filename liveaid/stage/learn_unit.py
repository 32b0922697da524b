"""In what unit a position is sent, and whether a standing record sends: from the numbers. Pure.

A record turning at pitch 0 moves one second of its file a second. So a number that grows steadily
gives its unit away by how fast it grows: 1 a second is seconds, 1000 milliseconds, 44100 samples,
0.556 turns at 33 1/3; a number between 0 and 1 that creeps is a fraction of the file.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from liveaid.record.platter import turn_s
from liveaid.stage.learn_streams import NEAR, Stream

SAMPLE_RATES = (44100, 48000, 88200, 96000, 22050, 32000, 192000)
RPMS = (100 / 3, 45.0)


@dataclass(frozen=True, slots=True)
class UnitFound:
    """What a rate of change comes to: fields of the map's `position`, and how far off nominal."""

    fields: dict[str, object]
    nominal: float
    """Units a second at pitch 0."""
    doubt: str = ""


def unit_of(rate: float, values: Sequence[float]) -> UnitFound:
    """The unit whose speed at pitch 0 is nearest to `rate`, of those within NEAR."""
    known = [
        UnitFound({"unit": "seconds"}, 1.0),
        UnitFound({"unit": "milliseconds"}, 1000.0),
        *(UnitFound({"unit": "samples", "sample_rate": hz}, float(hz)) for hz in SAMPLE_RATES),
        *(UnitFound({"unit": "turns", "rpm": round(rpm, 3)}, 1.0 / turn_s(rpm)) for rpm in RPMS),
    ]
    near = sorted((abs(math.log(rate / unit.nominal)), index) for index, unit in enumerate(known))
    if near[0][0] < NEAR and not (rate < 0.9 and _within(values, 1.0)):
        found = known[near[0][1]]
        rival = known[near[1][1]]
        if near[1][0] < NEAR:
            doubt = (
                f"{rival.nominal:g} a second is near as well ({unit_words(rival)}): "
                "was the pitch at 0?"
            )
            return UnitFound(found.fields, found.nominal, doubt)
        return found
    if rate < 0.5 and _within(values, 1.0):
        length_s = round(1.0 / rate, 3)
        doubt = f"a file of {length_s:g} s, if the pitch was at 0; leave file_s out to measure it"
        return UnitFound({"unit": "fraction", "file_s": length_s}, rate, doubt)
    if rate < 50 and _within(values, 100.0):
        length_s = round(100.0 / rate, 3)
        doubt = f"per cent of a file of {length_s:g} s, if the pitch was at 0"
        return UnitFound({"unit": "fraction", "scale": 0.01, "file_s": length_s}, rate, doubt)
    doubt = "no unit we know: seconds by scale, if the pitch was at 0"
    return UnitFound({"unit": "seconds", "scale": float(f"{1.0 / rate:.9g}")}, rate, doubt)


def _within(values: Sequence[float], top: float) -> bool:
    return min(values) >= -0.05 * top and max(values) <= 1.05 * top


def unit_words(unit: UnitFound) -> str:
    """The unit's fields as words."""
    return ", ".join(f"{name} {value}" for name, value in unit.fields.items())


def sends_of(streams: Sequence[Stream]) -> tuple[str, str]:
    """`always` or `on_change`, and why: what was sent while a record stood."""
    same = sum(before == after for stream in streams for before, after in pairwise(stream.values))
    if same >= 5:
        return "always", "the same position came again and again: it is sent while a record stands"
    for stream in streams:
        gaps = [b - a for a, b in pairwise(stream.times_s)]
        if max(gaps) > max(0.5, 10 * statistics.median(gaps)):
            return "on_change", "a pause, and never the same position twice: sent only on change"
    return "always", "no record stood still while listening, so `sends: always` is a guess"
