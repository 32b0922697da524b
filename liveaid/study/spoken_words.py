"""Speech and shouts cut into words, each with the attack a hand puts the needle on.

A phrase lies between pauses. Within it words are parted where the level dips between two syllables
(after Mermelstein 1975, "Automatic segmentation of speech into syllabic units", who looks for dips
beneath the hull of the loudness). Fluent speech has no pauses between words, so that two may come
as one, or a long one as two; where the text is known, words are looked for by what they sound like
(words_placed).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from liveaid.sound.read import Samples
from liveaid.study.onsets import Onsets
from liveaid.study.phrases import find_phrases
from liveaid.study.spectrum import FRAMES_HZ, RATE_HZ, Floats, Spectrum, band_powers
from liveaid.study.words_placed import placed, placed_if_said, speech_of

WORDS_SMOOTH_S = 0.025
DEEP_DB = 9.0
"""A dip so deep parts two words. Tuned on words that espeak-ng spoke one by one."""
WORDS_SHORTEST_S = 0.09
PULL_S = 0.06
"""An onset within so much of a word's begin is its attack."""
WORDS_SILENT_DB = 30.0
"""Below the phrase's loudest: the pause between two words."""


@dataclass(frozen=True, slots=True)
class SpokenWord:
    """A word: where it begins, is first heard with force, and ends, in seconds."""

    begin_s: float
    attack_s: float
    end_s: float
    text: str = ""
    """What is said, where the text was given."""


def find_words(
    mono: Samples, spectrum: Spectrum, onsets: Onsets, text: str = "", *, named: str = ""
) -> tuple[SpokenWord, ...]:
    """The words in speech at RATE_HZ whose spectrum and onsets are known, in order; `text` says
    which, where that is known, else `named`, where it may be what is said. None for silence."""
    spans = find_phrases(spectrum.level_db, onsets, len(mono) / RATE_HZ)
    said, known = _words_of(text), None
    if spans and (said or _words_of(named)):
        speech = speech_of(band_powers(mono))
        if said:
            known = placed(speech, said)
        else:
            said = _words_of(named)
            known = placed_if_said(speech, said)
    if known is None:
        level = _smooth(spectrum.level_db)
        known = tuple(piece for span in spans for piece in _cut(span, _dips(level, *span), level))
        said = [""] * len(known)
    return tuple(
        SpokenWord(begin, _attack(onsets, begin, end), end, name)
        for (begin, end), name in zip(known, said, strict=True)
    )


def _words_of(text: str) -> list[str]:
    return [word for word in text.split() if any(letter.isalnum() for letter in word)]


def _smooth(level_db: Floats) -> npt.NDArray[np.float64]:
    power = 10.0 ** (level_db.astype(np.float64) / 10.0)
    smooth = scipy.ndimage.gaussian_filter1d(power, WORDS_SMOOTH_S * FRAMES_HZ / 2)
    return np.asarray(10.0 * np.log10(np.maximum(smooth, 1e-12)))


def _dips(level: npt.NDArray[np.float64], begin_s: float, end_s: float) -> list[float]:
    """Seconds of every deep dip within a phrase, none nearer to an edge than the shortest word.

    A dip is so deep as it lies below the lower of the two heights beside it.
    """
    edge = round(WORDS_SHORTEST_S * FRAMES_HZ)
    first, last = round(begin_s * FRAMES_HZ), round(end_s * FRAMES_HZ)
    some = level[first:last]
    low = scipy.ndimage.minimum_filter1d(some, 2 * edge + 1, mode="nearest")
    at = np.flatnonzero(some[edge:-edge] <= low[edge:-edge]) + edge
    at = at[np.diff(at, prepend=-edge) >= edge]
    bounds = np.concatenate([[0], at, [len(some)]])
    heights = [some[a:b].max() for a, b in pairwise(bounds)]
    return [
        float((place + first) / FRAMES_HZ)
        for place, left, right in zip(at, heights[:-1], heights[1:], strict=True)
        if min(left, right) - some[place] >= DEEP_DB
    ]


def _cut(
    span: tuple[float, float], dips_s: list[float], level: npt.NDArray[np.float64]
) -> list[tuple[float, float]]:
    """A phrase in words: each ends where the level sinks, the next begins where it rises again."""
    edges = [span[0]]
    for dip_s in dips_s:
        edges += _silence(level, dip_s, span)
    edges.append(span[1])
    return list(zip(edges[::2], edges[1::2], strict=True))


def _silence(
    level: npt.NDArray[np.float64], at_s: float, span: tuple[float, float]
) -> tuple[float, float]:
    """Where the silence about a dip begins and ends; twice the dip where there is none."""
    first, last = (round(edge * FRAMES_HZ) for edge in span)
    least = level[first:last].max() - WORDS_SILENT_DB
    at = round(at_s * FRAMES_HZ)
    left = right = at
    while left > first and level[left] < least:
        left -= 1
    while right < last - 1 and level[right] < least:
        right += 1
    return left / FRAMES_HZ, right / FRAMES_HZ


def _attack(onsets: Onsets, begin_s: float, end_s: float) -> float:
    """The strongest onset about a word's begin, else its begin."""
    near = np.flatnonzero(
        (onsets.times_s >= begin_s - PULL_S / 3)
        & (onsets.times_s <= min(begin_s + PULL_S, end_s - WORDS_SHORTEST_S / 2))
    )
    if not len(near):
        return begin_s
    return float(onsets.times_s[near[np.argmax(onsets.strength[near])]])
