"""Sections: what plays from bar to bar, and the open breaks where only the drums go on.

Each beat is judged by itself: how much of its sound lasts and how much strikes, against itself and
against the rest of the sound; how likely a voice is. The likeliest order of sections is then found
over all beats (Viterbi), a change costing least on a bar line.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from liveaid.study.onsets import Onsets
from liveaid.study.texture import TEXTURE_FRAMES_HZ, Texture

Values = npt.NDArray[np.float64]
Plays = Literal["drums alone", "voice alone", "voice", "full", "thin"]
PLAYS: tuple[Plays, ...] = get_args(Plays)

FEWEST_BEATS, FEWEST_CELLS = 8, 4
STROKES_A_BEAT = 0.5
"""Drums that strike less often keep no time."""
LEVEL = 12
"""Column of the level among a beat's facts."""
CELL_S = 1.0
"""Without a grid a second stands for a beat."""
CHANGE, OFF_BAR = 4.0, 2.5
"""Log odds that a section goes on from beat to beat, and what a change within a bar costs more.
Both tuned, with the weights below, on the first half of the songs of tests/bench/arranged.py."""


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of bars in which the same things play."""

    begin_s: float
    end_s: float
    plays: Plays
    beats: int


def edges_of(beats_s: Values, duration_s: float) -> Values:
    """Edges of the beats through the whole sound, of seconds where there are none."""
    if len(beats_s) < FEWEST_BEATS:
        return np.arange(0.0, duration_s + CELL_S / 2, CELL_S)
    last = float(beats_s[-1] + np.median(np.diff(beats_s)))
    return np.append(beats_s, min(last, duration_s))


def beat_facts(texture: Texture, onsets: Onsets, edges_s: Values) -> Values:
    """(beats, facts) in decades: how much of each group of pitch lasts in each beat, how much lasts
    and strikes against the sound's usual, its level, its attacks, how alike its spectra stay.
    """
    first = np.clip(np.round(edges_s * TEXTURE_FRAMES_HZ).astype(np.int64), 0, len(texture))
    lasting, striking = (_means(part, first) for part in (texture.lasting, texture.striking))
    whole = lasting + striking
    level = whole.sum(axis=1)
    loud = max(float(np.quantile(level, 0.8)), 1e-12)
    hits = np.searchsorted(onsets.times_s, edges_s)
    total = np.concatenate([[0.0], np.cumsum(onsets.strength, dtype=np.float64)])
    return np.concatenate(
        [
            _decades(lasting / (whole + 1e-4 * loud)),
            _decades(lasting / _usual(lasting, loud)),
            _decades(striking / _usual(striking, loud)),
            _decades(level / loud)[:, None],
            _decades(np.diff(total[hits]) / np.diff(edges_s) + 0.1)[:, None],
            _means(texture.alike, first),
        ],
        axis=1,
    )


def _usual(power: Values, loud: float) -> Values:
    """What a group has in the fuller beats."""
    return np.maximum(np.quantile(power, 0.7, axis=0), 1e-5 * loud)


def _means(power: npt.NDArray[np.float32], first: npt.NDArray[np.int64]) -> Values:
    """(beats, groups): mean power from each edge to the next."""
    total = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(power, axis=0, dtype=float)])
    count = np.maximum(np.diff(first), 1)
    return np.asarray((total[first[1:]] - total[first[:-1]]) / count[:, None])


def _decades(ratio: Values) -> Values:
    return np.asarray(np.log10(np.clip(ratio, 1e-4, 1e2)))


DRUMS = (
    -0.17, -0.75, -1.01, -0.45, -0.62, -0.28, -0.77, 0.04, -0.47, 0.59, -0.79, 0.36, -0.3, 0.98,
    -3.75, -2.68, -0.91,
)  # fmt: skip
DRUMS_BASE = 0.4
"""Log odds that only drums play in a beat, by its facts: logistic regression, to be learnt again
by tests/bench/learn.py --drums."""
SILENT_DECADES = -3.0
"""Beats 30 dB below the loud ones, before the first sound or after the last, tell of no drums."""
CLEAR_NOTES = -1.0
"""A beat of such log odds holds more than drums for certain, and with it the bar around it."""
USUAL_BAR = 4
"""Beats, where the bar is not known."""
THIN_DECADES, THIN_WORTH = -0.7, 4.0
"""A beat 7 dB below the loud ones is thin more likely than full."""


def find_sections(
    facts: Values, voice: Values, alone: Values, edges_s: Values, bar: tuple[int, int] | None
) -> tuple[Section, ...]:
    """The sections of a sound.

    `facts` as from `beat_facts`, `voice` the probability of a voice in each beat, `alone` that
    nothing else sounds, `edges_s` one more than beats, `bar` beats in a bar and the first bar's.
    """
    if len(facts) < FEWEST_CELLS:
        return ()
    bar_beats = USUAL_BAR if bar is None else bar[0]
    states = _likeliest(_odds(facts, voice, alone, bar_beats), bar)
    changes = np.flatnonzero(np.diff(states)) + 1
    edges = [0, *changes.tolist(), len(states)]
    return tuple(
        Section(float(edges_s[a]), float(edges_s[b]), PLAYS[int(states[a])], b - a)
        for a, b in itertools.pairwise(edges)
    )


def struck(sections: tuple[Section, ...], onsets: Onsets) -> tuple[Section, ...]:
    """The same, but drums alone that hardly strike, such as a gong's tail, are only thin."""
    return tuple(
        replace(one, plays="thin")
        if one.plays == "drums alone" and _strokes(one, onsets) < STROKES_A_BEAT * one.beats
        else one
        for one in sections
    )


def _strokes(one: Section, onsets: Onsets) -> int:
    first, stop = np.searchsorted(onsets.times_s, (one.begin_s - 0.02, one.end_s - 0.02))
    return int(stop - first)


def _odds(facts: Values, voice: Values, alone: Values, bar_beats: int) -> Values:
    """(beats, PLAYS): log-likelihood of each kind of section."""
    drums = np.clip(facts @ np.array(DRUMS) + DRUMS_BASE, -6.0, 6.0)
    drums = between_notes(drums, bar_beats)
    sounds = facts[:, LEVEL] > SILENT_DECADES
    sounded, goes_on = (np.maximum.accumulate(each) for each in (sounds, sounds[::-1]))
    drums = np.where(sounded & goes_on[::-1], drums, np.minimum(drums, 0.0))
    sung, bare = (
        np.log(np.clip(p, 0.02, 0.98) / np.clip(1 - p, 0.02, 0.98)) for p in (voice, alone)
    )
    thin = np.clip(THIN_WORTH * (THIN_DECADES - facts[:, LEVEL]), -3.0, 3.0)
    thin -= np.maximum(drums, 0.0)  # drums by themselves are quiet as often as not
    nothing = np.zeros(len(facts))
    by = {
        "drums alone": drums - np.maximum(sung, 0.0),
        "voice alone": sung + bare,
        "voice": sung - np.maximum(bare, 0.0),
        "full": nothing,
        "thin": thin,
    }
    return np.stack([by[plays] for plays in PLAYS], axis=1)


def between_notes(drums: Values, bar_beats: int) -> Values:
    """The same log odds of drums alone, but a gap of less than a bar between clear notes is as they
    are: a stab or a bass note in every bar leaves beats to the drums, and yet it is no break.

    Grey-scale opening over a bar (Serra, "Image Analysis and Mathematical Morphology", 1982).
    """
    around = np.pad(drums, bar_beats - 1, constant_values=np.inf)
    least = np.lib.stride_tricks.sliding_window_view(around, bar_beats).min(axis=1)
    clear = np.lib.stride_tricks.sliding_window_view(least, bar_beats).max(axis=1)
    return np.where(clear <= CLEAR_NOTES, clear, drums)


def _likeliest(odds: Values, bar: tuple[int, int] | None) -> npt.NDArray[np.int64]:
    """The best run of states through the beats (Viterbi); a change costs least on a bar line."""
    best = odds[0].copy()
    came = np.zeros(odds.shape, dtype=np.int64)
    for beat in range(1, len(odds)):
        on_line = bar is None or (beat - bar[1]) % bar[0] == 0
        change = best.max() - CHANGE - (0.0 if on_line else OFF_BAR)
        came[beat] = np.where(best >= change, np.arange(len(best)), int(best.argmax()))
        best = np.maximum(best, change) + odds[beat]
    states = np.empty(len(odds), dtype=np.int64)
    states[-1] = int(best.argmax())
    for beat in range(len(odds) - 1, 0, -1):
        states[beat - 1] = came[beat, states[beat]]
    return states
