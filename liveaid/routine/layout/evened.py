"""A sound whose tempo moves, told as if every beat were as long as the next.

Layout counts in even seconds: those of a record ridden so that it keeps one tempo. Between them and
the file's own seconds lie corners on beats, straight lines between: the fewest that leave no beat
further from its place than can be heard, so that pitch steps on few beats and nowhere else.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

OFF_PLACE_S = 0.002
"""A beat may lie so far beside its place: less than the onsets it was followed by are sure of, and
well below the 5 ms that a flam begins to be heard at (common practice, no source)."""
FEWEST_FOLLOWED = 8
SAME_READING = 0.04
"""A stated tempo nearer than this to the studied one, its half or double is the same reading."""


@dataclass(frozen=True, slots=True)
class Evened:
    """The way between a file's seconds and even ones, by corners rising in both."""

    file_s: tuple[float, ...]
    even_s: tuple[float, ...]

    def to_file(self, even_s: float) -> float:
        """The file's second; beyond the ends it goes on as it does next to them."""
        return _between(self.even_s, self.file_s, even_s)

    def to_even(self, file_s: float) -> float:
        """The even second of a second of the file."""
        return _between(self.file_s, self.even_s, file_s)

    def stretches(self, start_s: float, length_s: float) -> Iterator[tuple[float, float, float]]:
        """(file second, seconds of the file, even seconds) of each straight piece from an even
        second on, in order."""
        end_s = start_s + length_s
        inside = [corner for corner in self.even_s[1:-1] if start_s < corner < end_s]
        for begin, end in pairwise([start_s, *inside, end_s]):
            first = self.to_file(begin)
            yield first, self.to_file(end) - first, end - begin


def evened(beats_s: Sequence[float], tempo_bpm: float) -> Evened | None:
    """The even seconds in which these beats follow each other at one tempo, the first where it is.

    None for too few beats to follow.
    """
    if len(beats_s) < FEWEST_FOLLOWED:
        return None
    beat_s = 60.0 / tempo_bpm
    corners, at = [0], 0
    while at < len(beats_s) - 1:
        at = _farthest(beats_s, at)
        corners.append(at)
    return Evened(
        tuple(float(beats_s[corner]) for corner in corners),
        tuple(float(beats_s[0] + corner * beat_s) for corner in corners),
    )


def counted_as(
    beats_s: Sequence[float], tempo_bpm: float, wanted_bpm: float
) -> tuple[float, ...] | None:
    """Followed beats at a stated tempo's pace: as they are, every other one, or one more between.

    None where the stated tempo is another one: then nothing was followed.
    """
    if abs(wanted_bpm / tempo_bpm - 1.0) < SAME_READING:
        return tuple(beats_s)
    if abs(2.0 * wanted_bpm / tempo_bpm - 1.0) < SAME_READING:
        return tuple(beats_s[::2])
    if abs(0.5 * wanted_bpm / tempo_bpm - 1.0) < SAME_READING:
        halves = [(a + b) / 2.0 for a, b in pairwise(beats_s)]
        return tuple(sorted([*beats_s, *halves]))
    return None


def _farthest(beats_s: Sequence[float], first: int) -> int:
    """The last beat up to which one straight line leaves every beat at its place."""
    last = first + 1
    for tried in range(first + 2, len(beats_s)):
        slope = (beats_s[tried] - beats_s[first]) / (tried - first)
        off = (
            abs(beats_s[k] - beats_s[first] - slope * (k - first)) for k in range(first + 1, tried)
        )
        if max(off) > OFF_PLACE_S:
            break
        last = tried
    return last


def _between(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    at = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    slope = (ys[at + 1] - ys[at]) / (xs[at + 1] - xs[at])
    return ys[at] + slope * (x - xs[at])
