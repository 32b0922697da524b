"""Parts of a sound worth a hand's while: words and hits, each with where its attack is.

Answers in seconds of the sound. Speech and singing are split at their pauses and attacks, a break
into its hits: each part begins a little before an onset and ends where it has died down, or where
the next one begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

PARTS_LEAD_S = 0.010
"""A part begins this much before its attack, so that none of it is lost (common practice)."""
DOWN_DB = 30.0
"""A part is over where it is so much softer than its loudest moment (common practice)."""
PARTS_SHORTEST_S = 0.050
"""Nothing shorter can be found by a hand: 10 degrees of the sticker (common practice)."""
FAINT_DB = 34.0
"""Nothing so much softer than the loudest part is a part (common practice)."""
_PARTS_STEP_S = 0.005
_BELOW_HZ, _ABOVE_HZ = 500.0, 2500.0


@dataclass(frozen=True, slots=True)
class PartFound:
    """One part as the study proposes it."""

    name: str
    from_s: float
    to_s: float
    attack_s: float


def find_parts(
    mono: Samples, rate_hz: int, onsets_s: Sequence[float], *, speech: bool
) -> tuple[PartFound, ...]:
    """The parts of a sound, in order; `onsets_s` rising. `speech`: named as words, else as hits by
    how bright they are. Empty for silence."""
    if not onsets_s:
        return ()
    level = _levels(mono, rate_hz)
    duration = len(mono) / rate_hz
    starts = [at for at in onsets_s if 0.0 <= at < duration]
    spans = [
        span
        for at, until in zip(starts, [*starts[1:], duration], strict=True)
        if (span := _span(level, at, until)) is not None
    ]
    loud = [float(level[_at(a) : _at(b) + 1].max()) for a, b, _ in spans]
    kept = [
        span
        for span, peak in zip(spans, loud, strict=True)
        if peak > max(loud) * 10.0 ** (-FAINT_DB / 20.0)
    ]
    names = _names(mono, rate_hz, kept, speech=speech)
    return tuple(PartFound(name, *span) for name, span in zip(names, kept, strict=True))


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
    inside = level[_at(at) : max(_at(until), _at(at) + 1)]
    if not len(inside) or inside.max() <= 0.0:
        return None
    peak = int(inside.argmax())
    softer = np.flatnonzero(inside[peak:] < inside[peak] * 10.0 ** (-DOWN_DB / 20.0))
    end = at + (peak + int(softer[0])) * _PARTS_STEP_S if len(softer) else until - PARTS_LEAD_S
    end = min(end, until - PARTS_LEAD_S) if until > at + 2 * PARTS_LEAD_S else until
    if end - at < PARTS_SHORTEST_S:
        return None
    return round(max(at - PARTS_LEAD_S, 0.0), 3), round(end, 3), round(at, 3)


def _names(
    mono: Samples, rate_hz: int, spans: Sequence[tuple[float, float, float]], *, speech: bool
) -> list[str]:
    """A name for each: words in order, hits by brightness and order."""
    counts: dict[str, int] = {}
    names = []
    for start, end, _ in spans:
        word = (
            "word"
            if speech
            else _sort(mono[round(start * rate_hz) : round(end * rate_hz)], rate_hz)
        )
        counts[word] = counts.get(word, 0) + 1
        names.append(f"{word}{counts[word]}")
    return names


def _sort(part: Samples, rate_hz: int) -> str:
    power = np.abs(np.fft.rfft(part)) ** 2
    hz = np.fft.rfftfreq(len(part), 1.0 / rate_hz)
    middle = float((power * hz).sum() / max(power.sum(), 1e-20))
    return "low" if middle < _BELOW_HZ else "mid" if middle < _ABOVE_HZ else "high"
