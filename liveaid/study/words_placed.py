"""Where the words of a known text are said.

Each word is a row of sounds by its letters (letter_sounds), between words there may be a pause; the
likeliest path through that row is found for the whole sound at once (a hidden Markov model's
Viterbi path: Rabiner 1989, "A tutorial on hidden Markov models"; forced alignment).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from liveaid.study.letter_sounds import (
    PAUSE,
    SOUND_EDGES_HZ,
    SOUND_FLOOR_DB,
    SOUND_LEVELS,
    VOWEL,
    sounds_of,
)
from liveaid.study.spectrum import FRAMES_HZ, Floats, band_edges_hz

Array = npt.NDArray[np.float64]

PLACED_FRAMES = 2
"""Frames of the spectrum to one step: 10 ms."""
VOWEL_STEPS, SOUND_STEPS = 5, 4
"""The fewest steps of a sound."""
TEMPER = 0.3
"""Steps 10 ms apart tell much the same: so much of each counts. This and the next two were tuned on
eight sentences of espeak-ng's voices and two of flite's."""
PAUSE_PRICE = 4.0
"""Nats that a pause costs where the text has no mark, and no pause where it has one."""
MARKS = ".,;:!?"
LOUD_PERCENT, QUIET_PERCENT = 95.0, 5.0
"""Of the steps: what is loud in a sound, and its background, which is taken away."""
MOST_CELLS = 100_000_000
"""Steps times states that are looked at; a longer text is not placed."""


@dataclass(frozen=True, slots=True)
class _Row:
    """The states a text goes through, each for a step at least."""

    sounds: list[str]
    words: list[int]
    """Index of the word each state belongs to; a pause stands before its word."""
    stays: npt.NDArray[np.bool_]
    """Whether a state may last longer than a step."""
    entering: Array
    """Nats gained by going on into each state from the one before."""
    passing: Array
    """Nats gained by going into each state past the pause before it; -inf where there is none."""


def placed(bands: Floats, said: Sequence[str]) -> tuple[tuple[float, float], ...] | None:
    """Begin and end of each word in seconds; None where there is too little sound, or too much.

    `bands`: (frames, BANDS) powers, FRAMES_HZ of them a second.
    """
    row = _row(said)
    heard = heard_db(bands[::PLACED_FRAMES])
    if len(row.sounds) - len(said) - 1 > len(heard) or len(row.sounds) * len(heard) > MOST_CELLS:
        return None
    path = _likeliest(row, _likelihood(heard, row.sounds))
    word_at = np.array(row.words)[path]
    sounding = np.array([sound != PAUSE for sound in row.sounds])[path]
    step_s = PLACED_FRAMES / FRAMES_HZ
    spans = []
    for word in range(len(said)):
        steps = np.flatnonzero((word_at == word) & sounding)
        spans.append((float(steps[0] * step_s), float((steps[-1] + 1) * step_s)))
    return tuple(spans)


def _row(said: Sequence[str]) -> _Row:
    sounds, words, stays, entering, passing = [PAUSE], [0], [True], [0.0], [-np.inf]
    for index, word in enumerate(said):
        for sound in sounds_of(word):
            steps = VOWEL_STEPS if sound == VOWEL else SOUND_STEPS
            after_pause = sounds[-1] == PAUSE
            sounds += [sound] * steps
            words += [index] * steps
            stays += [False] * (steps - 1) + [True]
            entering += [0.0] * steps
            marked = index > 0 and said[index - 1][-1] in MARKS
            past = -PAUSE_PRICE * marked if after_pause else -np.inf
            passing += [past] + [-np.inf] * (steps - 1)
        sounds.append(PAUSE)
        words.append(index + 1)
        stays.append(True)
        last = index == len(said) - 1
        entering.append(0.0 if last or word[-1] in MARKS else -PAUSE_PRICE)
        passing.append(-np.inf)
    return _Row(sounds, words, np.array(stays), np.array(entering), np.array(passing))


def heard_db(bands: Floats) -> Array:
    """(steps, 4): what the sound has in each band above its background, in dB of its loud steps."""
    edges = band_edges_hz()
    starts = [0, *(int(np.argmin(np.abs(edges[:-1] - hz))) for hz in SOUND_EDGES_HZ)]
    power = np.add.reduceat(bands.astype(np.float64), starts, axis=1)
    loud = max(float(np.percentile(power.sum(axis=1), LOUD_PERCENT)), 1e-12)
    power -= np.percentile(power, QUIET_PERCENT, axis=0)
    least = 10.0 ** (SOUND_FLOOR_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(power / loud, least)))


def _likelihood(heard_db: Array, sounds: Sequence[str]) -> Array:
    """(steps, states): log likelihood of each step in each state, tempered."""
    by_sound = {}
    for sound, known in SOUND_LEVELS.items():
        mean, deviation = np.array(known.mean_db), np.array(known.deviation_db)
        stray = (heard_db - mean) / deviation
        by_sound[sound] = -0.5 * (stray**2).sum(axis=1) - np.log(deviation).sum()
    return np.asarray(TEMPER * np.stack([by_sound[sound] for sound in sounds], axis=1))


def _likeliest(row: _Row, likelihood: Array) -> npt.NDArray[np.intp]:
    """The state of each step on the likeliest path from the first pause to the last."""
    steps, states = likelihood.shape
    best = np.full(states, -np.inf)
    best[:2] = likelihood[0, :2]
    came = np.zeros((steps, states), dtype=np.int8)
    ways = np.full((3, states), -np.inf)
    for step in range(1, steps):
        ways[0] = np.where(row.stays, best, -np.inf)
        ways[1, 1:] = best[:-1] + row.entering[1:]
        ways[2, 2:] = best[:-2] + row.passing[2:]
        came[step] = ways.argmax(axis=0)
        best = ways.max(axis=0) + likelihood[step]
    path = np.empty(steps, dtype=np.intp)
    at = states - 1 if best[-1] >= best[-2] else states - 2
    for step in range(steps - 1, -1, -1):
        path[step] = at
        at -= int(came[step, at])
    return path
