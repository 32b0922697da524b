"""Loops: a file cut to a whole number of beats tells its tempo to the frame by its length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveaid.study import pulse
from liveaid.study.grid import Grid, by_accents, fit_grid, judged, metronome_s, nearest_phase_s
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, Floats, Spectrum

LOOP_LONGEST_S = 130.0
"""64 bars of four at 120 BPM are 128 s: longer files are tracks, not loops."""
START_S = 0.05
"""A loop cut to length sounds from its first beat on."""
ENOUGH_SCORE = -0.3
"""Score of a rhythmic loop; single hits, pads and noise stay below (tests/bench/gather.py)."""
ENOUGH_EXCESS = 2.2
SURE_EXCESS = 12.0
PADDED_SLACK_S = 0.006
"""What a loop's length, as its onsets tell it, may be off by."""
TIMES_ROUND = 4
"""Times a loop goes round for its accents to be told: of one bar, four bars."""
SELF = 0.5
"""A lag of the whole loop repeats trivially: it counts as half a repeat."""


@dataclass(frozen=True, slots=True)
class Loop:
    """A whole number of beats in a file."""

    beats: int
    grid: Grid
    score: float
    rounds: Onsets
    """Its onsets as it goes round."""


def find_loop(
    spectrum: Spectrum, onsets: Onsets, duration_s: float, free: Grid | None
) -> Loop | None:
    """The number of beats this file is cut to, if it is; `free` is the grid found without that."""
    if duration_s > LOOP_LONGEST_S or not len(onsets) or onsets.times_s[0] > START_S:
        return None
    counted_s = metronome_s(onsets)
    counts = _counts(duration_s, counted_s)
    if not len(counts) or (free is not None and not _may_end_on_a_beat(free, duration_s)):
        return None
    curve = _endless(pulse.autocorrelation(_whole(spectrum, duration_s), circular=True))
    score, _ = pulse.scores(curve, duration_s / counts)
    score = score + np.array([_habit(int(beats)) for beats in counts])
    best = int(np.argmax(score))
    beats = int(counts[best])
    grid = _grid(onsets, duration_s / beats, 4, 3)
    likely = score[best] >= ENOUGH_SCORE or counted_s is not None
    if not likely or grid.excess < ENOUGH_EXCESS:
        return None
    rounds = _rounds(onsets, duration_s)
    counted = by_accents(rounds, grid)
    beats = round(duration_s / counted.period_s)
    grid = _grid(onsets, duration_s / beats, counted.parts)
    if free is not None and not _agrees(beats, grid, free, duration_s):
        return None
    return Loop(beats, grid, float(score[best]), rounds)


def fit_inside(onsets: Onsets, beats: int, shortest_s: float, longest_s: float) -> Grid | None:
    """The grid of a loop of which only a range of lengths is known; None where no grid fits it.

    Its own onsets tell the tempo; a whole-number one that they leave open is taken, since loops
    are mostly made at one. (Common practice, no source.)
    """
    about_s = (shortest_s + longest_s) / 2 / beats
    grid = max((fit_grid(onsets, about_s, parts=parts) for parts in (4, 3)), key=_excess)
    whole = 60.0 / round(60.0 / grid.period_s)
    near = abs(whole - grid.period_s) * beats < PADDED_SLACK_S
    if near and shortest_s <= beats * whole <= longest_s:
        phase = nearest_phase_s(onsets, whole / grid.parts)
        return judged(onsets, period_s=whole, phase_s=phase, parts=grid.parts)
    length_s = beats * grid.period_s
    return grid if shortest_s - PADDED_SLACK_S <= length_s <= longest_s + PADDED_SLACK_S else None


def _excess(grid: Grid) -> float:
    return grid.excess


def told_by_length(frames: int, rate_hz: int) -> tuple[int, float] | None:
    """Beats and whole-number tempo whose length is this many frames, to the frame.

    What is cut by a machine at a whole-number tempo hits it to the frame, and hardly anything
    else does: of random lengths about one in a hundred. Lengths of whole quarter seconds say
    nothing, people cut to those too. (Common practice, no source.)
    """
    quarter = rate_hz / 4
    if abs(frames - round(frames / quarter) * quarter) <= 1:
        return None
    found = [
        (abs(np.log2(bpm / pulse.PREFERRED_BPM)), beats, float(bpm))
        for beats in (8, 16, 32, 4)
        for bpm in (round(beats * 60.0 * rate_hz / frames),)
        if 70 <= bpm <= 180 and abs(beats * 60.0 * rate_hz / bpm - frames) <= 1.0
    ]
    return min(found)[1:] if found else None


def _counts(
    duration_s: float, counted_s: float | None
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The numbers of beats a file may hold; of a bare count only the one that is counted."""
    if counted_s is not None:
        return np.array([max(1, round(duration_s / counted_s))])
    least = max(1, int(np.ceil(duration_s * pulse.SLOWEST_BPM / 60.0)))
    return np.arange(least, int(duration_s * pulse.FASTEST_BPM / 60.0) + 1)


def _rounds(onsets: Onsets, duration_s: float) -> Onsets:
    """The onsets of a loop that goes round TIMES_ROUND times."""
    starts_s = duration_s * np.arange(TIMES_ROUND)
    return Onsets(
        np.concatenate([onsets.times_s + start for start in starts_s]),
        np.tile(onsets.strength, TIMES_ROUND),
        np.tile(onsets.groups, (TIMES_ROUND, 1)),
    )


def _habit(beats: int) -> float:
    """Log of how often loops are cut to so many beats. (Common practice, no source.)"""
    if beats >= 4 and beats & (beats - 1) == 0:
        return 0.0
    if beats == 2:
        return -0.3
    if beats % 4 == 0:
        return -0.7
    return -1.0 if beats in (3, 6) else -1.2 if beats % 2 == 0 else -2.0


def _whole(spectrum: Spectrum, duration_s: float) -> Floats:
    return spectrum.rise[: max(1, round(duration_s * FRAMES_HZ))]


def _endless(curve: pulse.Curve) -> pulse.Curve:
    """The loop's autocorrelation, on and on, without its trivial peak."""
    once = curve.copy()
    edge = min(6, len(once))
    once[:edge] = np.minimum(once[:edge], SELF)
    once[-edge:] = np.minimum(once[-edge:], SELF)
    return np.tile(once, 10)


def _grid(onsets: Onsets, period_s: float, *tried: int) -> Grid:
    """The grid of that period whose beat is at the start of the file, in the parts that hold
    best of those tried."""
    return max(
        (
            judged(
                onsets,
                period_s=period_s,
                phase_s=float(np.clip(nearest_phase_s(onsets, period_s / parts), -0.02, 0.02)),
                parts=parts,
            )
            for parts in tried
        ),
        key=lambda grid: grid.excess,
    )


def _may_end_on_a_beat(free: Grid, duration_s: float) -> bool:
    """Whether the free grid, where it is sure of itself, has a half beat where the file ends."""
    if free.excess < SURE_EXCESS:
        return True
    half = free.period_s / 2
    return abs((duration_s + half / 2) % half - half / 2) < 0.03


def _agrees(beats: int, loop: Grid, free: Grid, duration_s: float) -> bool:
    """Whether the free grid, where it is sure of itself, also fits the length."""
    if free.excess < SURE_EXCESS:
        return True
    # In a short file the free grid knows its period less well than the length does.
    slack_s = 0.012 if beats > 16 else 0.03
    multiple = loop.period_s / free.period_s
    near = min((0.5, 1.0, 2.0, 1.5, 2.0 / 3.0), key=lambda one: abs(multiple - one))
    return abs(multiple / near - 1.0) * duration_s < slack_s
