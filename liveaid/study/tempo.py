"""The tempo grid of a sound: how fast, where the first beat is, and how far it can be trusted.

Three ways are tried: one even grid through the whole sound (machines), a whole number of beats in
a file cut to length (loops), a chain of beats that follows the hands (played material). What fits
none of them is not rhythmic.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from liveaid.sound.read import Samples
from liveaid.study import pulse
from liveaid.study.beats import follow_beats, from_the_start, snapped, tempo_line
from liveaid.study.grid import (
    Grid,
    by_accents,
    come_back,
    distance,
    fit_grid,
    judged,
    metronome_s,
    wander_s,
)
from liveaid.study.loop import find_loop, fit_inside, told_by_length
from liveaid.study.onsets import Onsets
from liveaid.study.phrases import silence_s
from liveaid.study.soft import sharpened, soft_onsets, soft_rise
from liveaid.study.spectrum import FRAMES_HZ, Floats, Spectrum
from liveaid.study.tempo_course import changes, follow_course

Times = npt.NDArray[np.float64]

TEMPO_ENOUGH_EXCESS = 7.0
"""Onsets on the grid beyond chance, in standard deviations. Speech, pads, noise, crackle and random
hits reach 6.7 at most, music 7.9 at least (tests/bench/gather.py)."""
CLEAR_EXCESS = 16.0
"""Below this a second look is worth its time."""
CLEAR_SHARE = 0.75
ENOUGH_EXCESS_PLAYED = 16.0
ENOUGH_SHARE_PLAYED = 0.6
"""A chain of beats bends towards any onsets: noise reaches 13.7 or 0.69 but not both, the crackle
of an empty groove 14.4 and 0.68, simulated hands with drifts to 10 % and walks to 2 % a beat 30
and 0.77 at least."""
FOLLOWED_SURE, WELL_FOLLOWED = (0.5, 0.94), 0.85
"""How sure a tempo is whose beats hold the least share of the onsets that counts as followed, and
that share or more. Of 24 performances of the scores that tests/bench/played.py tunes on 21 of 22
are right there, 0 of 2 below; of the others 24 of 25 and 2 of 3."""
PLAYED_GAIN = 1.25
"""A chain must hold so much more than the even grid before the sound counts as played."""
STEADY_WANDER_S = 0.015
TEMPO_NEAR_S = 0.03
LEAST_STRIKE = 0.11
LONGEST_SOFT_S = 1200.0
TEMPO_RINGS_DB = 40.0
"""So far below the loud passages a sound only rings out: its ripples tell of no beat."""
READINGS = 4
SHARE_WORTH, THIRDS_PRICE = 1.0, 0.5
"""Nats that onsets on the grid are worth, all against none, and that beats in three parts cost,
being the rarer by far."""
OCTAVE_WITHIN = 0.05
OCTAVE_ODDS, FASTER_ODDS = 2.3, 0.5
"""Log odds that the told one of two octaves is meant, by each nat it is likelier, and by being the
faster. Logistic regression over 28 songs (every other one of freedoom's, modules of tecnoballz): of
those it calls .8 sure 10 of 11 are right, of 65 other songs and modules 27 of 28."""
HOLDS_MORE, RATIO_DOUBT = 0.15, 0.5
"""A beat at three to two that holds so much more of what strikes is as likely meant as the told
one. Of 93 songs of Debian games three gain so much, .29 to .40, and two of them are meant so."""
RIVAL_OCTAVES, RIVAL_DOUBT = 0.12, 0.6
"""Where the beats that were followed are so far from the even ones, neither is sure."""
TEMPO_FEWEST = 4
"""Fewer beginnings make no beat."""
ON_THE_CUT_S = 0.012
TEMPO_START_WORTH = 0.25
"""Music begins on a beat more often than not. (Common practice, no source.)"""
LATE_START_S = 0.15
BY_LENGTH_SURE = 0.4


@dataclass(frozen=True, slots=True)
class Tempo:
    """The tempo grid; `beats_s` is empty and `tempo_bpm` None where there is none."""

    tempo_bpm: float | None = None
    confidence: float = 0.0
    alternative_bpm: float | None = None
    """Half or double of it, whichever is likelier."""
    rival_bpm: float | None = None
    """Another that is no octave of it, where something speaks for one."""
    first_beat_s: float | None = None
    steady: bool = False
    drift_percent: float = 0.0
    residual_s: float = 0.0
    loop_beats: int | None = None
    beats_s: Times = field(default_factory=lambda: np.zeros(0))
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class _Look:
    """One way to see where sounds begin, and the grid found in it."""

    rise: Floats
    onsets: Onsets
    curve: pulse.Curve
    grid: Grid | None
    sharp: Onsets
    """The onsets of the first look, each where it begins to the millisecond."""

    @property
    def start_s(self) -> float:
        """Where anything at all begins to sound."""
        return float(self.sharp.times_s[0]) if len(self.sharp) else 0.0

    @property
    def strength(self) -> Floats:
        """(frames,): onset strength of all groups together."""
        return np.asarray(self.rise.sum(axis=1))


def find_tempo(
    mono: Samples,
    spectrum: Spectrum,
    onsets: Onsets,
    *,
    frames: int,
    rate_hz: int,
    padding: tuple[int, int] = (0, 0),
) -> Tempo:
    """The tempo grid of a sound: `mono` at RATE_HZ, and the file's own length and rate.

    `padding`: frames of silence, at least and at most, that a coder added to it without telling.
    """
    duration_s = frames / rate_hz
    look = _look(spectrum.rise, onsets, pulse.autocorrelation(spectrum.rise), onsets)
    shortest_s, longest_s = ((frames - added) / rate_hz for added in reversed(padding))
    loop = find_loop(spectrum, onsets, (shortest_s + longest_s) / 2, look.grid)
    if loop is not None and shortest_s < duration_s:
        # As it lies in the file it is no loop: the silence about it would be heard.
        grid = fit_inside(onsets, loop.beats, shortest_s, longest_s)
        if grid is not None and not _changes(look, grid):
            return _even(look, grid, duration_s, _sure(grid) * min(1.0, loop.beats / 4), None)
    elif loop is not None and not _changes(look, loop.grid):
        # Two beats or less may as well be a single figure.
        sure = _sure(loop.grid) * min(1.0, loop.beats / 4)
        look = replace(look, onsets=loop.rounds)
        return _even(look, loop.grid, duration_s, sure, loop.beats)
    unclear = look.grid is None or look.grid.excess < CLEAR_EXCESS
    if unclear and duration_s <= LONGEST_SOFT_S:
        look = max(look, _soft_look(mono, onsets), key=_excess)
    until_s = duration_s - silence_s(spectrum.level_db, duration_s, below_db=TEMPO_RINGS_DB)[1]
    look = replace(look, onsets=look.onsets.between(0.0, until_s))
    if look.grid is not None and look.grid.excess >= TEMPO_ENOUGH_EXCESS:
        return _free_or_played(look, look.grid, duration_s, until_s)
    played = _played(look, until_s) if look.grid is not None else None
    return played or _by_length(frames, rate_hz, onsets)


def _sure(grid: Grid) -> float:
    """How sure a loop's grid is, by how far its onsets lie from chance."""
    return 1.0 - float(np.exp(-max(grid.excess, 0.0) / 3.0))


def _look(rise: Floats, onsets: Onsets, curve: pulse.Curve, sharp: Onsets) -> _Look:
    counted = metronome_s(onsets)
    periods = [found.period_s for found in pulse.find_pulses(curve, most=READINGS)]
    periods = periods if counted is None else [counted]
    enough = periods and len(onsets) >= TEMPO_FEWEST and strikes(onsets)
    grid = by_accents(onsets, _best_grid(onsets, curve, periods)) if enough else None
    return _Look(rise, onsets, curve, grid, sharp)


def strikes(onsets: Onsets) -> bool:
    """Whether anything strikes at all; the shimmer of a pad may keep a grid of its own."""
    return len(onsets) > 0 and bool(np.quantile(onsets.strength, 0.9) >= LEAST_STRIKE)


def _soft_look(mono: Samples, onsets: Onsets) -> _Look:
    """The second look, its beginnings sharpened by the first where that makes them tidier."""
    rise = soft_rise(mono)
    curve = pulse.autocorrelation(rise)
    soft = soft_onsets(rise)
    return max(
        (_look(rise, some, curve, onsets) for some in (soft, sharpened(soft, onsets))),
        key=_excess,
    )


def _excess(look: _Look) -> float:
    return look.grid.excess if look.grid is not None else -1.0


def _best_grid(onsets: Onsets, curve: pulse.Curve, periods_s: list[float]) -> Grid:
    """The grid of the likeliest period; where that leaves a doubt, of the likeliest whose grid
    holds as well.

    Beats in three parts may be beats in two or four of the same parts, the more so where speech
    lies over them; and a bar of seven comes back like four beats that hardly anything falls on.
    """
    first = _in_parts(onsets, periods_s[0])
    if len(periods_s) == 1 or (first.parts == 4 and first.hit_share > CLEAR_SHARE):
        return first
    tried = [
        first,
        *(_in_parts(onsets, period) for period in periods_s[1:] if _apart(period, first)),
    ]
    if first.parts == 3:
        tried += [fit_grid(onsets, parts * first.step_s) for parts in (2, 4)]
    scores, _ = pulse.scores(curve, np.array([grid.period_s for grid in tried]))
    holds = [SHARE_WORTH * one.hit_share - THIRDS_PRICE * (one.parts == 3) for one in tried]
    return tried[int(np.argmax(scores + np.array(holds)))]


def _apart(period_s: float, grid: Grid) -> bool:
    """Whether a period is another beat than the grid's, not its half or double."""
    return _octaves_apart(period_s / grid.period_s) > OCTAVE_WITHIN


def _octaves_apart(ratio: float) -> float:
    """How far a ratio is from 1, 2, a half and so on, in octaves."""
    octaves = np.log2(ratio)
    return float(abs(octaves - np.round(octaves)))


def _in_parts(onsets: Onsets, period_s: float) -> Grid:
    """Beats in four parts, or in three where that holds clearly more."""
    four = fit_grid(onsets, period_s, parts=4)
    if four.excess > CLEAR_EXCESS and four.hit_share > CLEAR_SHARE:
        return four
    three = fit_grid(onsets, period_s, parts=3)
    return three if three.excess > 1.15 * four.excess else four


def _free_or_played(look: _Look, grid: Grid, duration_s: float, until_s: float) -> Tempo:
    """One tempo where it holds throughout; beats that follow where it does not, as long as it does
    more than ring out."""
    sure = 1.0 - float(np.exp(-grid.excess / 6.0))
    even = _even(look, grid, duration_s, sure, None)
    changed = _changes(look, grid)
    if not changed and wander_s(look.onsets, grid) <= STEADY_WANDER_S:
        return even
    played = _played(look, until_s, least=0.0 if changed else PLAYED_GAIN * grid.excess)
    return played or replace(even, steady=not changed)


def _changes(look: _Look, grid: Grid) -> bool:
    """Whether some stretch of the sound keeps a tempo of its own."""
    return changes(follow_course(look.rise, look.onsets, grid))


def _even(look: _Look, grid: Grid, duration_s: float, sure: float, loop_beats: int | None) -> Tempo:
    """The facts of one even grid."""
    phase = _beat_phase_s(look, grid, at_start=loop_beats is not None)
    first = _first_beat_s(look.start_s, grid.period_s, phase)
    beats = np.arange(first, duration_s - 0.01, grid.period_s)
    alternative, octave_sure = _alternative(look.curve, grid.period_s)
    rival = None
    if loop_beats is None or grid.parts != 4:  # at two to three a loop would not end on a beat
        rival = _at_three_to_two(look.onsets, grid)
    if rival is not None:
        octave_sure = min(octave_sure, RATIO_DOUBT)
    return Tempo(
        60.0 / grid.period_s,
        sure * octave_sure,
        alternative,
        rival,
        first,
        True,
        0.0,
        _residual_s(look.onsets, beats, grid.period_s),
        loop_beats,
        beats,
    )


def _beat_phase_s(look: _Look, grid: Grid, *, at_start: bool) -> float:
    """Which of the grid's lines are beats: the strong ones, and the one where the sound begins."""
    if at_start:
        # Cut on the beat: what is left is the hands' doing and the attack's.
        return grid.phase_s if abs(grid.phase_s) > ON_THE_CUT_S else 0.0
    strength = np.sqrt(look.strength)
    strength = np.maximum(strength, np.roll(strength, -1))
    phases = grid.phase_s + np.arange(grid.parts) * grid.step_s
    worth = np.array([_mean_at(strength, phase, grid.period_s) for phase in phases])
    worth /= max(float(worth.max()), 1e-9)
    start = np.abs(distance(np.asarray(look.start_s - phases), grid.period_s, 0.0)) < TEMPO_NEAR_S
    return float(phases[int(np.argmax(worth + TEMPO_START_WORTH * start))])


def _mean_at(strength: Floats, phase_s: float, period_s: float) -> float:
    """Mean strength on the beats of a phase."""
    times = np.arange(phase_s % period_s, len(strength) / FRAMES_HZ, period_s)
    frames = np.round(times * FRAMES_HZ).astype(np.int64)
    frames = frames[frames < len(strength)]
    return float(strength[frames].mean()) if len(frames) else 0.0


def _first_beat_s(start_s: float, period_s: float, phase_s: float) -> float:
    """The first beat that is not before the first sound."""
    start = start_s - TEMPO_NEAR_S
    first = phase_s + np.ceil((start - phase_s) / period_s) * period_s
    return max(float(first), 0.0)


def _residual_s(onsets: Onsets, beats: Times, period_s: float) -> float:
    """Root-mean-square distance of the onsets heard on beats."""
    if not len(beats):
        return 0.0
    away = distance(onsets.times_s, period_s, float(beats[0]))
    near = away[np.abs(away) <= min(0.1 * period_s, 2 * TEMPO_NEAR_S)]
    return float(np.sqrt(np.mean(np.square(near)))) if len(near) else 0.0


def _alternative(curve: pulse.Curve, period_s: float) -> tuple[float, float]:
    """The likelier of half and double tempo, and how sure the told one is against it, 0 to 1."""
    periods = period_s * np.array([1.0, 2.0, 0.5])
    score, _ = pulse.scores(curve, periods)
    slower = bool(score[1] >= score[2])
    other = 1 if slower else 2
    odds = OCTAVE_ODDS * float(score[0] - score[other]) + (FASTER_ODDS if slower else -FASTER_ODDS)
    return 60.0 / float(periods[other]), float(1.0 / (1.0 + np.exp(-np.clip(odds, -20.0, 20.0))))


def _at_three_to_two(onsets: Onsets, grid: Grid) -> float | None:
    """The tempo of the same strokes counted otherwise, threes as twos or the other way; None where
    nothing speaks for it.

    Six lines to a bar are two beats of three lines or three of two, as accents come back. Figures
    of three sixteenths hide the beat from the autocorrelation: there the lines that hold clearly
    more tell it.
    """
    if grid.parts != 4:
        two, three, six = come_back(onsets, grid, 2, 3, 6)
        # The bar's own return is among those every three lines.
        return 30.0 / grid.step_s if two > (3.0 * three - six) / 2.0 else None
    if grid.hit_share > CLEAR_SHARE:
        return None
    tried = [fit_grid(onsets, grid.period_s * ratio) for ratio in (1.5, 2 / 3)]
    best = max(tried, key=lambda one: one.hit_share)
    return 60.0 / best.period_s if best.hit_share >= grid.hit_share + HOLDS_MORE else None


def _played(look: _Look, until_s: float, *, least: float = 0.0) -> Tempo | None:
    """The facts of beats that were followed; None when the onsets do not keep to them."""
    beats = follow_beats(look.onsets, until_s)
    if len(beats) < 2 * TEMPO_FEWEST:
        return None
    grid = _warped(look.onsets, beats)
    if grid.excess < max(least, ENOUGH_EXCESS_PLAYED) or grid.hit_share < ENOUGH_SHARE_PLAYED:
        return None
    bpm, drift, residual = tempo_line(beats)
    beats = snapped(beats[beats >= look.start_s - TEMPO_NEAR_S], look.sharp)
    beats = from_the_start(beats, look.sharp)
    alternative, _ = _alternative(look.curve, 60.0 / bpm)
    rival = None
    sure = np.interp(grid.hit_share, (ENOUGH_SHARE_PLAYED, WELL_FOLLOWED), FOLLOWED_SURE)
    if look.grid is not None and look.grid.excess >= TEMPO_ENOUGH_EXCESS:
        even_bpm = 60.0 / look.grid.period_s
        if _octaves_apart(bpm / even_bpm) > RIVAL_OCTAVES:
            rival, sure = even_bpm, sure * RIVAL_DOUBT
    first = max(float(beats[0]), 0.0) if len(beats) else None
    return Tempo(bpm, float(sure), alternative, rival, first, False, drift, residual, None, beats)


def _warped(onsets: Onsets, beats: Times) -> Grid:
    """How well onsets keep to quarters of the chain's own beats, in mean seconds."""
    index = np.interp(onsets.times_s, beats, np.arange(len(beats)))
    period = float(np.median(np.diff(beats)))
    inside = (onsets.times_s >= beats[0]) & (onsets.times_s <= beats[-1])
    straight = Onsets(index[inside] * period, onsets.strength[inside], onsets.groups[inside])
    return judged(straight, period_s=period, phase_s=0.0, parts=4)


def _by_length(frames: int, rate_hz: int, onsets: Onsets) -> Tempo:
    """What the bare length tells, or that the sound is not rhythmic."""
    told = told_by_length(frames, rate_hz)
    if told is None or len(onsets) < TEMPO_FEWEST or onsets.times_s[0] > LATE_START_S:
        return Tempo(why_not=_why_not(onsets))
    beats, bpm = told
    exact = beats * 60.0 * rate_hz / frames
    return Tempo(
        exact,
        BY_LENGTH_SURE,
        exact * 2 if bpm < pulse.PREFERRED_BPM else exact / 2,
        None,
        0.0,
        steady=True,
        loop_beats=beats,
        beats_s=np.arange(beats, dtype=np.float64) * 60.0 / exact,
    )


def _why_not(onsets: Onsets) -> str:
    if len(onsets) < TEMPO_FEWEST:
        return f"only {len(onsets)} sounds begin in it, too few for a beat"
    return "its onsets keep to no common grid"
