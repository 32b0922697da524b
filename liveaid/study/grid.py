"""One tempo for a whole sound: the evenly spaced grid that the onsets fall on.

The grid grows from where the onsets are densest: a robust line through onset times by grid
index, over ever longer stretches, so that no index slips by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.study.onsets import Onsets

Times = npt.NDArray[np.float64]

HIT = 0.2
"""An onset within this share of a grid step from a line is on it; chance alone gives 0.4."""
HIT_MOST_S = 0.025
HIT_WIDTHS_S = (0.005, 0.012, 0.025)
"""Machine-made onsets fall within the least of these, hands within the largest."""
SHARPENED_TIMES, SHARPENED_FEWEST = 6, 8
SHARPENED_USUAL, SHARPENED_LEAST_S = 3.0, 0.003
"""Onsets count up to three times the usual distance from the lines, and never less than what is
heard between two frames of one stroke."""
ACCENTS_FEWEST, ACCENTS_LINES = 16, 64
IN_THREES, IN_OTHERS = 0.2, 0.4
"""How much more alike accents are every three lines than every four that were taken, or every four
or six than every so many as were. What swings in threes has .35 to .83, what is counted in fours
.03 at most: 57 songs of Debian games that state their tempo. Of songs made by rule what is no beat
in threes has .7 or more every four or six lines, what is .1 at most."""
WANDER_FEWEST, WANDER_SURE = 6, 2.0
WANDER_STEP_S, WANDER_BLUR_S = 0.002, 0.008
METRONOME_STROKES, METRONOME_SHARE, METRONOME_ALIKE = 6, 0.9, 0.15
METRONOME_BPM = (40.0, 220.0)


@dataclass(frozen=True, slots=True)
class Grid:
    """Lines at phase_s + n * period_s / parts."""

    period_s: float
    """Seconds in a beat."""
    phase_s: float
    """Second of a line, not yet of a beat."""
    parts: int
    hit_share: float
    """Share of onset strength that falls on lines."""
    excess: float
    """How many standard deviations more onsets fall on lines than chance gives."""
    residual_s: float
    """Root-mean-square distance of onsets on lines."""

    @property
    def step_s(self) -> float:
        """Seconds between lines."""
        return self.period_s / self.parts


def metronome_s(onsets: Onsets) -> float | None:
    """The period of a bare count, equal strokes at equal distances; None for anything else.

    Such strokes are the beat, however fast: nothing between or above them tells another.
    """
    if len(onsets) < METRONOME_STROKES:
        return None
    apart = np.diff(onsets.times_s)
    period = float(np.median(apart))
    even = np.mean(np.abs(apart - period) < 0.04 * period)
    usual = float(np.median(onsets.strength))
    alike = float(np.median(np.abs(onsets.strength - usual))) < METRONOME_ALIKE * usual
    slowest, fastest = METRONOME_BPM
    countable = slowest <= 60.0 / period <= fastest
    return period if even >= METRONOME_SHARE and alike and countable else None


def fit_grid(onsets: Onsets, period_s: float, *, parts: int = 4) -> Grid:
    """The grid of about that period which most onsets fall on."""
    times, weight = onsets.times_s, np.sqrt(onsets.strength.astype(np.float64))
    step, phase = period_s / parts, 0.0
    centre = _densest_s(times, weight, 8 * period_s)
    reach = 8 * period_s
    first = True
    while True:
        inside = np.abs(times - centre) <= reach
        if first:
            phase = _circular_phase(times[inside], weight[inside], step)
            first = False
        step, phase = _line(times[inside], weight[inside], step, phase)
        if inside.all():
            break
        reach *= 1.5
    step, phase = _sharpest(times, np.square(weight), step, phase)
    return judged(onsets, period_s=step * parts, phase_s=phase, parts=parts)


def judged(onsets: Onsets, *, period_s: float, phase_s: float, parts: int) -> Grid:
    """How well a given grid holds the onsets."""
    times, weight = onsets.times_s, np.sqrt(onsets.strength.astype(np.float64))
    step = period_s / parts
    away = distance(times, step, phase_s)
    hit = np.abs(away) <= min(HIT * step, HIT_MOST_S)
    share = float(weight[hit].sum() / weight.sum()) if weight.sum() > 0 else 0.0
    return Grid(
        period_s,
        phase_s,
        parts,
        share,
        max(_excess(away, weight, step, within) for within in HIT_WIDTHS_S),
        float(np.sqrt(np.average(np.square(away[hit]), weights=weight[hit]))) if share else 0.0,
    )


def _excess(away: Times, weight: Times, step_s: float, within_s: float) -> float:
    """Standard deviations by which the onsets within a distance outnumber chance."""
    if not len(away):
        return 0.0
    within_s = min(within_s, HIT * step_s)
    chance = 2 * within_s / step_s
    share = weight[np.abs(away) <= within_s].sum() / weight.sum()
    effective = float(weight.sum() ** 2 / np.square(weight).sum())
    # Step, phase and parts were fitted to these very onsets: three of them prove nothing.
    free = max(effective - 3.0, 0.0)
    return float((share - chance) / np.sqrt(chance * (1.0 - chance)) * np.sqrt(free))


def distance(times: Times, step_s: float, phase_s: float | Times) -> Times:
    """Signed seconds from each time to its nearest line."""
    return np.asarray((times - phase_s + step_s / 2) % step_s - step_s / 2)


def nearest_phase_s(onsets: Onsets, step_s: float) -> float:
    """The phase, half a step at most from 0, that most onsets agree on."""
    return _circular_phase(onsets.times_s, np.sqrt(onsets.strength.astype(np.float64)), step_s)


def _densest_s(times: Times, weight: Times, span_s: float) -> float:
    """Middle of the span with the most onset strength."""
    if not len(times):
        return 0.0
    total = np.concatenate([[0.0], np.cumsum(weight)])
    last = np.searchsorted(times, times + span_s, side="right")
    best = int(np.argmax(total[last] - total[np.arange(len(times))]))
    return float(times[best] + span_s / 2)


def _circular_phase(times: Times, weight: Times, step_s: float) -> float:
    """The phase most onsets agree on, as the angle of their sum on a circle."""
    turn = np.sum(weight * np.exp(2j * np.pi * times / step_s))
    return float(np.angle(turn) / (2 * np.pi) * step_s)


def _line(times: Times, weight: Times, step_s: float, phase_s: float) -> tuple[float, float]:
    """Step and phase by weighted least squares, again and again, the outlying counted ever less."""
    for share in (0.35, 0.25, 0.2):
        step_s, phase_s = _drawn(
            times, weight, step_s, phase_s, min(share * step_s, 1.6 * HIT_MOST_S)
        )
    return step_s, phase_s


def _sharpest(times: Times, weight: Times, step_s: float, phase_s: float) -> tuple[float, float]:
    """Step and phase by the onsets that agree best.

    Bowed and sung notes are heard late, each in its own measure: where they play at one end alone
    they tilt the line. Struck ones are strong and agree to a few milliseconds: the reach is drawn
    in upon them.
    """
    for _ in range(SHARPENED_TIMES):
        away = np.abs(distance(times, step_s, phase_s))
        near = away <= min(HIT * step_s, HIT_MOST_S)
        if np.count_nonzero(near) < SHARPENED_FEWEST:
            break
        usual = _middling(away[near], weight[near])
        within = max(SHARPENED_USUAL * usual, SHARPENED_LEAST_S)
        step_s, phase_s = _drawn(times, weight, step_s, phase_s, within)
    return step_s, phase_s


def _middling(values: Times, weight: Times) -> float:
    """The weighted median."""
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _drawn(
    times: Times, weight: Times, step_s: float, phase_s: float, within_s: float
) -> tuple[float, float]:
    """Step and phase drawn to the onsets within reach of the lines, once."""
    index = np.round((times - phase_s) / step_s)
    away = times - phase_s - index * step_s
    # Tukey's biweight: no weight beyond, full weight at the line.
    count = weight * np.square(np.maximum(0.0, 1.0 - np.square(away / within_s)))
    if np.count_nonzero(count) < 3 or np.ptp(index[count > 0]) < 2:
        return step_s, phase_s
    middle = np.average(index, weights=count)
    slope = np.sum(count * (index - middle) * away) / np.sum(count * (index - middle) ** 2)
    mean = np.average(away, weights=count)
    return float(step_s + slope), float(phase_s + mean - slope * middle)


def come_back(onsets: Onsets, grid: Grid, *every: int) -> list[float]:
    """How alike the accents of a grid's lines are so many lines, twice and three or four times as
    many on, 1 for the same again; 0 where there are too few lines to tell."""
    number = np.round((onsets.times_s - grid.phase_s) / grid.step_s).astype(np.int64)
    away = distance(onsets.times_s, grid.step_s, grid.phase_s)
    hit = np.abs(away) <= min(HIT * grid.step_s, HIT_MOST_S)
    if np.count_nonzero(hit) < ACCENTS_FEWEST or np.ptp(number[hit]) < ACCENTS_LINES:
        return [0.0] * len(every)
    accents = np.zeros(int(np.ptp(number[hit])) + 1)
    np.maximum.at(accents, number[hit] - number[hit].min(), np.sqrt(onsets.strength[hit]))
    accents -= accents.mean()
    power = max(float(np.mean(np.square(accents))), 1e-12)
    return [
        float(np.mean([np.mean(accents[lag:] * accents[:-lag]) for lag in _further(lines)])) / power
        for lines in every
    ]


def by_accents(onsets: Onsets, grid: Grid) -> Grid:
    """The same lines, so many to a beat as accents come back, where they do not every four or three
    that were taken."""
    three, four, six = come_back(onsets, grid, 3, 4, 6)
    if grid.parts == 4 and three - four > IN_THREES:
        return fit_grid(onsets, 3 * grid.step_s, parts=3)
    if max(four, six) - (four if grid.parts == 4 else three) <= IN_OTHERS:
        return grid
    lines = 4 if four > six else 6
    return fit_grid(onsets, lines * grid.step_s, parts=lines)


def _further(lines: int) -> tuple[int, int, int]:
    """Threes come back in threes, fours in pairs."""
    return lines, 2 * lines, (3 if lines % 3 == 0 else 4) * lines


def wander_s(onsets: Onsets, grid: Grid) -> float:
    """How far from the lines onsets keep, over any 16 beats, clearly better than to the lines.

    A place beside the lines counts where it gathers more than twice what chance moves from one of
    two places to the other; half a step means: lost.
    """
    weight = np.sqrt(onsets.strength.astype(np.float64))
    away = distance(onsets.times_s, grid.step_s, grid.phase_s)
    places = np.append(0.0, np.arange(-grid.step_s / 2, grid.step_s / 2, WANDER_STEP_S))
    stretch = np.floor((onsets.times_s - onsets.times_s[:1]) / (16 * grid.period_s))
    farthest = 0.0
    for one in np.unique(stretch):
        few = stretch == one
        if np.count_nonzero(few) < WANDER_FEWEST:
            continue
        beside = distance(away[few], grid.step_s, places[:, None]) / WANDER_BLUR_S
        heard = np.exp(-0.5 * np.square(beside)) @ (weight[few] / weight[few].mean())
        best = int(np.argmax(heard))
        if heard[best] - heard[0] > WANDER_SURE * np.sqrt(heard[best] + heard[0]):
            farthest = max(farthest, abs(float(places[best])))
    return farthest
