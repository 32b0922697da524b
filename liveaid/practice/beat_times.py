"""Where the beats of a set piece lay in time, as it was really counted.

With a deck that runs, its record is the count. Where both decks are in the hands, the count goes
on from the last beat before, at the speed the records run at when they are let go; what the hands
did then bends it, but never shifts it, or being late all through would not show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveaid.practice.delays import Clock
from liveaid.practice.motion import Motion, SpeedLine
from liveaid.practice.trace import Floats

_KNOT_S = 0.25
_AROUND_S = 0.6
_SLIPS_S = 0.05
"""Left out at both ends of a run: the record slips as it is let go and taken."""
_DRIFT_PER_S = 4e-4
"""How much the speed is expected to change a second: 0.4 % in ten (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class BeatTimes:
    """Beats from a set piece's start against monotonic seconds, straight between its knots."""

    beats: Floats
    times_s: Floats
    by: Clock | None = None
    """What told where the count was; None when nothing did: early and late can't be told apart."""
    left_out: tuple[float, float] | None = None
    """Beats that were not played, from one to the other: they take no time."""

    def when(self, beat: float) -> float:
        """The time of a beat; beyond the ends the count goes on at the tempo it had there."""
        return _on(self.beats, self.times_s, beat)

    def beat_at(self, time_s: float) -> float:
        """The beat at a time."""
        return _on(self.times_s, self.beats, time_s)

    def tempo_bpm(self, from_beat: float, to_beat: float) -> float:
        """Mean tempo between two beats, those left out not counted."""
        low, high = self.left_out or (0.0, 0.0)
        played = to_beat - from_beat - max(0.0, min(high, to_beat) - max(low, from_beat))
        return 60.0 * played / (self.when(to_beat) - self.when(from_beat))


def beats_of_record(
    motion: Motion,
    *,
    by: Clock,
    at_s: float,
    beat_s: float,
    beats: float,
    start_s: float,
    end_s: float,
) -> BeatTimes | None:
    """The beats told by a running record whose first beat is at deck-file second `at_s`, one every
    `beat_s` of it.

    Lines through 1.2 s of messages around every quarter second: they follow a hand on the pitch
    fader, not the jitter. None when it ran for less than a third of a second.
    """
    runs = _while_running(motion, start_s, end_s)
    first_s, last_s = at_s - 0.5 * beat_s, at_s + (beats + 0.5) * beat_s
    runs &= (motion.x_s >= first_s) & (motion.x_s <= last_s)
    t, x = motion.t_s[runs], motion.x_s[runs]
    if len(t) < 8 or t[-1] - t[0] < 0.33:
        return None
    knots = np.linspace(t[0], t[-1], max(2, int((t[-1] - t[0]) / _KNOT_S) + 1))
    places = _smoothed(t, x, knots)
    at = (places - at_s) / beat_s
    rising = np.concatenate([[True], np.diff(np.maximum.accumulate(at)) > 1e-9])
    return BeatTimes(at[rising], knots[rising], by) if rising.sum() >= 2 else None


def beats_of_hands(
    *,
    by: Clock | None,
    start_s: float | None,
    about_s: float,
    beat_s: float,
    beats: int,
    lines: Sequence[SpeedLine],
    acts: Sequence[tuple[float, float]],
) -> BeatTimes | None:
    """The beats of a set piece in which no deck runs.

    `start_s` is where beat 0 was expected, None when nothing told, `about_s` where it was
    roughly; `lines` are the records' while let go; `acts` are (beat, time) of what the hands did.
    None without a start and any act.
    """
    if start_s is None and not acts:
        return None
    first = about_s if start_s is None else start_s
    knots, sure = np.arange(beats + 1.0), _speed(lines, first)[2]
    if acts:
        at, when = np.array(acts).T
        off = when - np.interp(at, knots, first + _times(knots, lines, first, beat_s))
        change, late = _bent(at, off, sure * beat_s)
    else:
        change, late = 0.0, 0.0
    times = first + _times(knots, lines, first, beat_s) + change * knots
    return BeatTimes(knots, times + (late if start_s is None else 0.0), by)


def _times(knots: Floats, lines: Sequence[SpeedLine], first_s: float, beat_s: float) -> Floats:
    """Seconds from beat 0 to each knot at the records' own, evenly changing speed."""
    speed, gain, _ = _speed(lines, first_s)
    times = knots * beat_s / speed
    for _ in range(3):
        times = knots * beat_s / np.maximum(speed + 0.5 * gain * times, 0.2)
    return np.asarray(times)


def _speed(lines: Sequence[SpeedLine], first_s: float) -> tuple[float, float, float]:
    """Speed of the records at beat 0, its change a second, and how sure the speed is.

    Least squares, a line counting by its length cubed as a fitted slope's variance says; the
    change is held near none by a prior of _DRIFT_PER_S.
    """
    if not lines:
        return 1.0, 0.0, 0.02
    speed = np.array([line.speed for line in lines])
    at = np.array([line.t0_s for line in lines]) - first_s
    lasts = np.array([line.lasts_s for line in lines])
    weight = np.minimum(lasts, 1.5 * np.median(lasts)) ** 3
    fitted = np.full(len(speed), np.median(speed))
    for _ in range(3):
        off = np.abs(speed - fitted)
        spread = max(1.4826 * float(np.median(off)), 2e-4)
        kept = np.where(off < 4 * spread + 1e-9, weight, 0.0)
        speed_0, gain, count = _leaning(at, speed, kept, (spread / _DRIFT_PER_S) ** 2)
        fitted = speed_0 + gain * at
    sure = spread / np.sqrt(count) if len(lines) >= 3 else 0.005
    return speed_0, gain, float(max(sure, 1e-4))


def _leaning(at: Floats, speed: Floats, weight: Floats, held: float) -> tuple[float, float, float]:
    """Weighted line through speeds: its value at 0, its lean, and how many speeds made it."""
    count = float(weight.sum() ** 2 / (weight**2).sum())
    weight = weight * count / weight.sum()
    mean_at, mean = np.average(at, weights=weight), np.average(speed, weights=weight)
    gain = float(weight @ ((at - mean_at) * (speed - mean)))
    gain /= float(weight @ (at - mean_at) ** 2) + held
    return float(mean - gain * mean_at), gain, count


def _bent(beats: Floats, off: Floats, sure_s: float) -> tuple[float, float]:
    """Change of a beat's length, and a constant lateness, that fit how far acts were off best.

    Least squares with the length's prior from the records' own speed: sum (off - late -
    change b)^2 / spread^2 + (change / sure)^2.
    """
    spread = max(0.004, 1.4826 * float(np.median(np.abs(off - np.median(off)))))
    near = np.abs(off - np.median(off)) <= 4 * spread
    b, y = beats[near] - beats[near].mean(), off[near]
    change = float(b @ y) / (float(b @ b) + (spread / sure_s) ** 2)
    return change, float(y.mean() - change * beats[near].mean())


def _while_running(motion: Motion, start_s: float, end_s: float) -> NDArray[np.bool_]:
    inside = np.zeros(len(motion.t_s), bool)
    for phase in motion.phases:
        if phase.does == "runs":
            first, last = np.searchsorted(
                motion.t_s, [phase.start_s + _SLIPS_S, phase.end_s - _SLIPS_S]
            )
            inside[first:last] = True
    return inside & (motion.t_s >= start_s) & (motion.t_s <= end_s)


def _smoothed(t: Floats, x: Floats, knots: Floats) -> Floats:
    """The record's place at the knots by straight lines through what is near them."""
    places = np.empty(len(knots))
    low, high = np.searchsorted(t, knots - _AROUND_S), np.searchsorted(t, knots + _AROUND_S)
    for k, (a, b) in enumerate(zip(low, high, strict=True)):
        if b - a < 4 or t[b - 1] - t[a] < 0.05:
            places[k] = np.interp(knots[k], t, x)
            continue
        _, level = np.polyfit(t[a:b] - knots[k], x[a:b], 1)
        places[k] = level
    return places


def _on(x: Floats, y: Floats, at: float) -> float:
    """Straight interpolation, the first and last stretch going on beyond the ends."""
    k = int(np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2))
    return float(y[k] + (at - x[k]) * (y[k + 1] - y[k]) / (x[k + 1] - x[k]))
