"""Where the words of a known text are said.

Each word is a row of sounds by its letters (letter_sounds), between words there may be a pause; the
likeliest path through that row is found for the whole sound at once (a hidden Markov model's
Viterbi path, with durations: Rabiner 1989, "A tutorial on hidden Markov models"; forced
alignment).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from liveaid.study.letter_sounds import (
    PAUSE,
    SOUND_EDGES_HZ,
    SOUND_FLOOR_DB,
    SOUND_LASTS,
    SOUND_LASTS_STRAY,
    SOUND_LEVELS,
    sounds_of,
)
from liveaid.study.spectrum import FRAMES_HZ, Floats, band_edges_hz

Array = npt.NDArray[np.float64]
Spans: TypeAlias = tuple[tuple[float, float], ...]

PLACED_FRAMES = 2
"""Frames of the spectrum to one step: 10 ms."""
TEMPER = 0.3
"""Steps 10 ms apart tell much the same: so much of each counts. This and the next were tuned on
eight sentences of espeak-ng's voices and two of flite's."""
PAUSE_PRICE = 4.0
"""Nats that a pause costs where the text has no mark, and no pause where it has one."""
MARKS = ".,;:!?"
LOUD_PERCENT, QUIET_PERCENT = 95.0, 5.0
"""Of the steps: what is loud in a sound, and its background, which is taken away."""
MOST_STEPS = 60
"""A sound that lasts longer, as when it is sung, is as likely as one of so many steps."""
MOST_CELLS = 50_000_000
"""Steps times sounds that are looked at; a longer text is not placed."""


NAMED_PACE, ONE_WORD_PACE = (0.55, 1.6), (0.55, 2.4)
"""What a file's name says takes so many times as long as usual; a shout of one word is drawn out.
Right names of two and more words: .59 to 1.41, of one: .97 to 2.3, in seven voices. That it must
also sound more like the name than like its letters backwards left 36 of 40 other right names, and
56 of 240 that say something else."""


@dataclass(frozen=True, slots=True)
class _Row:
    """The sounds of a text in order, with a pause before each word and after the last."""

    sounds: list[str]
    words: list[int]
    """Index of the word each sound belongs to."""
    entering: Array
    """Nats gained by going on into each sound from the one before."""
    passing: Array
    """Nats gained by going into each sound past the pause before it; -inf where there is none."""


@dataclass(frozen=True, slots=True)
class Speech:
    """What is heard of speech, step by step, whatever its words are."""

    by_sound: dict[str, Array]
    """(steps,): log likelihood of each step under each sound there is."""
    steps: int
    sounding: int
    """Steps that are no pause; they tell how fast a text is spoken."""


def speech_of(bands: Floats) -> Speech:
    """`bands`: (frames, BANDS) powers, FRAMES_HZ of them a second."""
    heard = heard_db(bands[::PLACED_FRAMES])
    by_sound = {sound: _log_likelihood(heard, sound) for sound in SOUND_LEVELS}
    sounding = int((by_sound[PAUSE] < np.max(list(by_sound.values()), axis=0)).sum())
    return Speech(by_sound, len(heard), sounding)


def placed(speech: Speech, said: Sequence[str]) -> Spans | None:
    """Begin and end of each word in seconds; None where there is too little sound, or too much."""
    row = _row(said)
    found = _path(speech, row)
    return _spans(found[0], row, len(said)) if found else None


def placed_if_said(speech: Speech, named: Sequence[str]) -> Spans | None:
    """The same of words that may be what is said; None where they are not.

    They are where they take about as long as what is spoken, and are likelier than the same read
    backwards, which is of the same letters and as long.
    """
    usual = sum(SOUND_LASTS[sound] for word in named for sound in sounds_of(word))
    least, most = ONE_WORD_PACE if len(named) == 1 else NAMED_PACE
    if not least <= speech.sounding / max(usual, 1.0) <= most:
        return None
    row = _row(named)
    found = _path(speech, row)
    backwards = _path(speech, _row([word[::-1] for word in reversed(named)]))
    if not found or not backwards or found[1] < backwards[1]:
        return None
    return _spans(found[0], row, len(named))


def _spans(path: Sequence[int], row: _Row, count: int) -> Spans:
    step_s = PLACED_FRAMES / FRAMES_HZ
    heard_in = [row.words[sound] if row.sounds[sound] != PAUSE else -1 for sound in path]
    spans = []
    for word in range(count):
        steps = np.flatnonzero(np.equal(heard_in, word))
        spans.append((float(steps[0] * step_s), float((steps[-1] + 1) * step_s)))
    return tuple(spans)


def _path(speech: Speech, row: _Row) -> tuple[list[int], float] | None:
    """The sound of each step on the likeliest path, and its log likelihood; None where there is
    too little sound, or too much."""
    if len(row.sounds) > speech.steps or len(row.sounds) * speech.steps > MOST_CELLS:
        return None
    likelihood = TEMPER * np.stack([speech.by_sound[sound] for sound in row.sounds], axis=1)
    return _likeliest(row, likelihood, _lasting(row.sounds, speech.sounding))


def _row(said: Sequence[str]) -> _Row:
    sounds, words, entering, passing = [PAUSE], [0], [0.0], [-np.inf]
    for index, word in enumerate(said):
        own = sounds_of(word)
        marked = said[index - 1][-1] in MARKS  # before the first word nothing is passed
        sounds += [*own, PAUSE]
        words += [index] * len(own) + [index + 1]
        needless = index < len(said) - 1 and word[-1] not in MARKS
        entering += [0.0] * len(own) + [-PAUSE_PRICE * needless]
        passing += [-PAUSE_PRICE * marked] + [-np.inf] * len(own)
    return _Row(sounds, words, np.array(entering), np.array(passing))


def heard_db(bands: Floats) -> Array:
    """(steps, 4): what the sound has in each band above its background, in dB of its loud steps."""
    edges = band_edges_hz()
    starts = [0, *(int(np.argmin(np.abs(edges[:-1] - hz))) for hz in SOUND_EDGES_HZ)]
    power = np.add.reduceat(bands.astype(np.float64), starts, axis=1)
    loud = max(float(np.percentile(power.sum(axis=1), LOUD_PERCENT)), 1e-12)
    power -= np.percentile(power, QUIET_PERCENT, axis=0)
    least = 10.0 ** (SOUND_FLOOR_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(power / loud, least)))


def _log_likelihood(heard: Array, sound: str) -> Array:
    """(steps,): of each step where this sound is heard."""
    known = SOUND_LEVELS[sound]
    deviation = np.array(known.deviation_db)
    stray = (heard - np.array(known.mean_db)) / deviation
    return np.asarray(-0.5 * (stray**2).sum(axis=1) - np.log(deviation).sum())


def _lasting(sounds: Sequence[str], sounding: int) -> Array:
    """(sounds, MOST_STEPS): log likelihood that each lasts one step, two, and so on.

    `sounding` as in `Speech`. A pause may last as long as it likes.
    """
    usual = np.array([SOUND_LASTS.get(sound, 0.0) for sound in sounds])
    rate = max(sounding, 1) / max(float(usual.sum()), 1.0)
    steps = np.log(np.arange(1, MOST_STEPS + 1))
    with np.errstate(divide="ignore"):
        stray = (steps - np.log(rate * usual)[:, None]) / SOUND_LASTS_STRAY
    return np.asarray(np.where(usual[:, None] > 0.0, -0.5 * stray**2, 0.0))


def _likeliest(row: _Row, likelihood: Array, lasting: Array) -> tuple[list[int], float]:
    """The sound of each step on the likeliest path from the first pause to the last, and the
    path's log likelihood.

    Sounds last by a law of their own (a hidden semi-Markov model): every sound is looked at by how
    many steps it has lasted so far.
    """
    steps, sounds = likelihood.shape
    best = np.full((sounds, MOST_STEPS), -np.inf)
    best[:2, 0] = likelihood[0, :2]
    age = np.full(sounds, MOST_STEPS)  # of those that have lasted MOST_STEPS and more
    lasted = np.zeros((steps, sounds), dtype=np.int32)
    passed = np.zeros((steps, sounds), dtype=bool)
    entered, past = np.full(sounds, -np.inf), np.full(sounds, -np.inf)
    for step in range(1, steps + 1):
        leaving = best + lasting
        longest = leaving.argmax(axis=1)
        left = leaving.max(axis=1)
        lasts = np.where(longest == MOST_STEPS - 1, age, longest + 1)
        if step == steps:
            break
        entered[1:] = left[:-1] + row.entering[1:]
        past[2:] = left[:-2] + row.passing[2:]
        passed[step] = past > entered
        lasted[step, 1:] = lasts[:-1]
        lasted[step, 2:] = np.where(passed[step, 2:], lasts[:-2], lasted[step, 2:])
        newly = best[:, -2] > best[:, -1]
        age = np.where(newly, MOST_STEPS, age + 1)
        best[:, -1] = np.maximum(best[:, -2], best[:, -1])
        best[:, 1:-1] = best[:, :-2].copy()
        best[:, 0] = np.maximum(entered, past)
        best += likelihood[step][:, None]
    sound = sounds - 1 if left[-1] >= left[-2] else sounds - 2
    path, until, count = [], steps, int(lasts[sound])
    nats = float(left[sound])
    while True:
        path += [sound] * count
        until -= count
        if until <= 0:
            return path[::-1], nats
        count = int(lasted[until, sound])
        sound -= 2 if passed[until, sound] else 1
