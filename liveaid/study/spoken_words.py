"""Speech and shouts cut into words, each with the attack a hand puts the needle on.

A phrase lies between pauses. Within it words are parted where the level dips between two syllables
(after Mermelstein 1975, "Automatic segmentation of speech into syllabic units", who looks for dips
beneath the hull of the loudness). Fluent speech has no pauses between words: where the text is
known the deepest dips are taken, as many as the words want; where it is not, the dips that are
deep enough, so that two words may come as one, or a long one as two.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from liveaid.study.onsets import Onsets
from liveaid.study.phrases import find_phrases
from liveaid.study.spectrum import FRAMES_HZ, Floats, Spectrum

WORDS_SMOOTH_S = 0.025
DEEP_DB = 9.0
"""A dip so deep parts two words. Tuned on words that espeak-ng spoke one by one."""
STRAY = 0.35
"""Standard deviation of the log of a word's length against its letters', from the same words."""
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
    spectrum: Spectrum, onsets: Onsets, duration_s: float, text: str = ""
) -> tuple[SpokenWord, ...]:
    """The words in speech whose spectrum and onsets are known, in order; `text` says which, where
    that is known. None for silence."""
    said = text.split()
    spans = find_phrases(spectrum.level_db, onsets, duration_s)
    level = _smooth(spectrum.level_db)
    dips = [dip for span in spans for dip in _dips(level, *span)]
    known = chosen(said, spans, dips) if said and spans else None
    dips = [dip for dip in dips if dip.depth_db >= DEEP_DB] if known is None else known
    pieces = [piece for span in spans for piece in _cut(span, dips, level)]
    names = said if len(said) == len(pieces) else [""] * len(pieces)
    return tuple(
        SpokenWord(begin, _attack(onsets, begin, end), end, name)
        for (begin, end), name in zip(pieces, names, strict=True)
    )


@dataclass(frozen=True, slots=True)
class _Dip:
    at_s: float
    depth_db: float
    """Below the lower of the two heights beside it."""


def chosen(
    said: list[str], spans: tuple[tuple[float, float], ...], dips: list[_Dip]
) -> list[_Dip] | None:
    """The dips that part these words best; None where the phrases are more than the words.

    A dip is worth its depth, and words last about as long as they are spelt (dynamic programming
    over words and places). The pauses between phrases part words in any case.
    """
    more = len(said) - len(spans)
    if more < 0 or more > len(dips):
        return None
    forced = {end for _, end in spans[:-1]}
    places = sorted([*((dip.at_s, dip.depth_db) for dip in dips), *((end, 0.0) for end in forced)])
    places = [(spans[0][0], 0.0), *places, (spans[-1][1], 0.0)]
    letters = [len(word) + 1.0 for word in said]
    rate = sum(end - begin for begin, end in spans) / sum(letters)
    worth: dict[tuple[int, int], tuple[float, int]] = {(0, 0): (0.0, 0)}
    for word, spelt in enumerate(letters):
        for to in range(word + 1, len(places)):
            tried = []
            for begin in range(to - 1, -1, -1):
                if (word, begin) in worth:
                    lasts = max(places[to][0] - places[begin][0], 1e-3)
                    stray = np.log(lasts / (rate * spelt)) / STRAY
                    depth = min(places[to][1], WORDS_SILENT_DB) / DEEP_DB
                    tried.append((worth[word, begin][0] + depth - 0.5 * stray**2, begin))
                if places[begin][0] in forced:
                    break
            if tried:
                worth[word + 1, to] = max(tried)
    at, cuts = len(places) - 1, set()
    if (len(said), at) not in worth:
        return None
    for word in range(len(said), 0, -1):
        at = worth[word, at][1]
        cuts.add(places[at][0])
    return [dip for dip in dips if dip.at_s in cuts]


def _smooth(level_db: Floats) -> npt.NDArray[np.float64]:
    power = 10.0 ** (level_db.astype(np.float64) / 10.0)
    smooth = scipy.ndimage.gaussian_filter1d(power, WORDS_SMOOTH_S * FRAMES_HZ / 2)
    return np.asarray(10.0 * np.log10(np.maximum(smooth, 1e-12)))


def _dips(level: npt.NDArray[np.float64], begin_s: float, end_s: float) -> list[_Dip]:
    """Every dip within a phrase with its depth, none nearer to an edge than the shortest word."""
    edge = round(WORDS_SHORTEST_S * FRAMES_HZ)
    first, last = round(begin_s * FRAMES_HZ) + edge, round(end_s * FRAMES_HZ) - edge
    if last - first < 3:
        return []
    some = level[first - edge : last + edge]
    low = scipy.ndimage.minimum_filter1d(some, 2 * edge + 1, mode="nearest")
    at = np.flatnonzero(some[edge:-edge] <= low[edge:-edge]) + edge
    at = at[np.diff(at, prepend=-edge) >= edge]
    bounds = np.concatenate([[0], at, [len(some)]])
    heights = [some[a:b].max(initial=-200.0) for a, b in pairwise(bounds)]
    return [
        _Dip(
            float((place + first - edge) / FRAMES_HZ),
            float(min(left, right) - some[place]),
        )
        for place, left, right in zip(at, heights[:-1], heights[1:], strict=True)
    ]


def _cut(
    span: tuple[float, float], dips: list[_Dip], level: npt.NDArray[np.float64]
) -> list[tuple[float, float]]:
    """A phrase in words: each ends where the level sinks, the next begins where it rises again."""
    edges = [span[0]]
    for dip in dips:
        if span[0] < dip.at_s < span[1]:
            quiet, loud = _silence(level, dip.at_s, span)
            edges += [quiet, loud]
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
