"""Parts of a sound worth a hand's while: words and hits, each with where its attack is.

Answers in seconds of the sound. Speech and singing are cut into words (spoken_words), which are
called by what is said where a text beside the sound, or its file's name, tells that. All else is
cut into its hits: each begins a little before an onset and ends where it has died down, or where
the next one begins.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from liveaid.routine.act_line import DETAILS
from liveaid.sound.read import Samples
from liveaid.study.measure import measure, studied_mono
from liveaid.study.onsets import find_onsets
from liveaid.study.spectrum import RATE_HZ, analyse
from liveaid.study.spoken_words import SpokenWord, find_words

PARTS_LEAD_S = 0.010
"""A part begins this much before its attack, so that none of it is lost (common practice)."""
DOWN_DB = 30.0
"""A part is over where it is so much softer than its loudest moment (common practice)."""
PARTS_SHORTEST_S = 0.050
"""Nothing shorter can be found by a hand: 10 degrees of the sticker (common practice)."""
FAINT_DB = 34.0
"""Nothing so much softer than the loudest part is a part (common practice)."""
MOST_TEXT = 100_000
"""Of a text beside a sound not more is read."""
SHOUT = 0.9
"""A short sound with so much of a voice in it is a shout or a word. Of 53 shouts that espeak-ng and
flite spoke 50 have as much, of 133 recorded samples 5."""
_PARTS_STEP_S = 0.005
_BELOW_HZ, _ABOVE_HZ = 500.0, 2500.0


@dataclass(frozen=True, slots=True)
class PartFound:
    """One part as the study proposes it."""

    name: str
    from_s: float
    to_s: float
    attack_s: float


def parts_of(path: Path, said: str = "") -> tuple[PartFound, ...]:
    """The parts of one sound, in order; `said`: what is spoken in it, where that is known.

    Else a text file of the same name beside it says it, or the file's own name, where its words
    take about as long as what is spoken and sound like it. Unreadable when there is no sound to
    read.
    """
    said = said or text_beside(path)
    facts = measure(path)
    mono = studied_mono(path)
    shout = facts.kind == "sample" and facts.voice >= SHOUT
    if said or shout or facts.kind == "a cappella":
        return word_parts(_words(mono, said, text_in_name(path)))
    return find_hits(mono, RATE_HZ, facts.onsets_s)


def text_beside(path: Path) -> str:
    """The text kept beside a sound, `call.txt` for `call.wav`; empty where there is none."""
    file = path.with_suffix(".txt")
    if not file.is_file():
        return ""
    with file.open(encoding="utf-8", errors="replace") as stream:
        return stream.read(MOST_TEXT)


def text_in_name(path: Path) -> str:
    """The words a file's name tells: `hot-chestnuts_02.wav` says `hot chestnuts`."""
    return " ".join(re.sub(r"[\d_\-.]+", " ", path.stem).split())


# --- words --------------------------------------------------------------------------------------


def _words(mono: Samples, said: str, named: str) -> tuple[SpokenWord, ...]:
    spectrum = analyse(mono)
    onsets = find_onsets(mono, spectrum)
    return find_words(mono, spectrum, onsets, said, named="" if said else named)


def word_parts(words: Sequence[SpokenWord]) -> tuple[PartFound, ...]:
    """Words as parts that a line of `acts:` can name."""
    names = _one_each(_plain(word.text) for word in words)
    ends = [0.0, *(word.end_s for word in words)]
    starts = [
        max(min(word.begin_s, word.attack_s) - PARTS_LEAD_S, before, 0.0)
        for word, before in zip(words, ends, strict=False)
    ]
    return tuple(
        PartFound(name, round(start, 3), round(word.end_s, 3), round(max(word.attack_s, start), 3))
        for name, start, word in zip(names, starts, words, strict=True)
    )


def _plain(text: str) -> str:
    """A word as a name: its letters and figures from the first letter on, small."""
    return re.sub(r"^[\d_]+|[^\w]", "", text.lower())


def _one_each(words: Iterator[str]) -> list[str]:
    """Each word as a name of its own; words that acts use themselves are numbered from 1, as those
    are that nothing is known of."""
    counts: Counter[str] = Counter()
    names = []
    for word in words:
        name = word or "word"
        counts[name] += 1
        plain = counts[name] == 1 and word and name not in DETAILS
        names.append(name if plain else f"{name}{counts[name]}")
    return names


# --- hits ---------------------------------------------------------------------------------------


def find_hits(mono: Samples, rate_hz: int, onsets_s: Sequence[float]) -> tuple[PartFound, ...]:
    """The hits of a sound, in order, named by how bright they are; `onsets_s` rising."""
    if not onsets_s:
        return ()
    level = _levels(mono, rate_hz)
    duration = len(mono) / rate_hz
    starts = [at for at in onsets_s if 0.0 <= at < duration]
    spans = [
        span
        for at, until in pairwise([*starts, duration])
        if (span := _span(level, at, until)) is not None
    ]
    loud = [float(level[_at(attack) : _at(end) + 1].max()) for _, end, attack in spans]
    kept = [
        span
        for span, peak in zip(spans, loud, strict=True)
        if peak > max(loud) * 10.0 ** (-FAINT_DB / 20.0)
    ]
    counts: Counter[str] = Counter()
    found = []
    for start, end, attack in kept:
        sort = _sort(mono[round(start * rate_hz) : round(end * rate_hz)], rate_hz)
        counts[sort] += 1
        found.append(PartFound(f"{sort}{counts[sort]}", start, end, attack))
    return tuple(found)


def _at(seconds: float) -> int:
    return round(seconds / _PARTS_STEP_S)


def _levels(mono: Samples, rate_hz: int) -> npt.NDArray[np.float64]:
    """Root mean square of every 5 ms."""
    edges = np.round(
        np.arange(0.0, len(mono) / rate_hz + _PARTS_STEP_S, _PARTS_STEP_S) * rate_hz
    ).astype(int)
    power = np.concatenate([[0.0], np.cumsum(mono.astype(np.float64) ** 2)])
    sums = np.diff(power[np.minimum(edges, len(mono))])
    levels: npt.NDArray[np.float64] = np.sqrt(np.maximum(sums, 0.0) / np.diff(edges))
    return np.append(levels, 0.0)


def _span(
    level: npt.NDArray[np.float64], at: float, until: float
) -> tuple[float, float, float] | None:
    """From, to and attack of the part that begins at an onset; None where there is none."""
    inside = level[_at(at) : _at(until)]
    if not inside.any():
        return None
    peak = int(inside.argmax())
    softer = np.flatnonzero(inside[peak:] < inside[peak] * 10.0 ** (-DOWN_DB / 20.0))
    end = until - PARTS_LEAD_S
    if len(softer):
        end = min(end, at + (peak + int(softer[0])) * _PARTS_STEP_S)
    if end - at < PARTS_SHORTEST_S:
        return None
    return round(max(at - PARTS_LEAD_S, 0.0), 3), round(end, 3), round(at, 3)


def _sort(part: Samples, rate_hz: int) -> str:
    power = np.abs(np.fft.rfft(part)) ** 2
    hz = np.fft.rfftfreq(len(part), 1.0 / rate_hz)
    middle = float((power * hz).sum() / max(power.sum(), 1e-20))
    return "low" if middle < _BELOW_HZ else "mid" if middle < _ABOVE_HZ else "high"
