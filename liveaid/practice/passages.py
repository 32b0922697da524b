"""Which parts of a guide mix a recording holds, and when: ends open, with repeats and skips.

The guide is cut into chunks of about two bars. Where each chunk could lie in the recording, and at
which speed, is found by laying its onsets over the recording's at every moment and at speeds
within the fader's reach. Then the best story is told: chunks that follow each other in guide and
recording alike cost nothing; leaving the order costs a fixed price, and less where a set piece
begins, since that is where performers leave it; what no chunk explains is not heard. Dynamic
programming over the recording's time (Needleman and Wunsch 1970, open at all ends).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import convolve1d

from liveaid.routine import Routine
from liveaid.routine.timeline import lead_in_s

Floats = NDArray[np.float64]

PASSAGES_STEP_S = 0.02
"""Chunks are laid at this step; what is finer is found afterwards."""
SPEEDS = np.round(np.arange(0.92, 1.0801, 0.01), 3)
"""A fader's 8 % either way."""
_FAR_SPEED = 0.5
"""Likeness that a chunk at the fader's end must have more, as a part of how far off it is: a faint
one is as alike at any speed, and by a wrong one the next would not be looked for where it is."""
HEARD = 0.36
"""Likeness from which a chunk is rather heard than not: between other music at the same tempo, at
0.38 and less, and a hall with its crowd, at 0.42 and more (mixes of our own)."""
_IN_PLACE = 0.2
"""A chunk right where its neighbour leads to is heard with so much less: it is looked for at one
place, not at all. There crowds and music at another tempo come to 0.13 in 95 of 100, and a church
full of claps leaves 0.2 to 0.4 of most chunks (own mixes, loops and words)."""
_SURELY, _SURELY_TOGETHER = 0.42, 1.4
"""A stretch is believed by one chunk as clear as this, other music with a beat coming to 0.38; or
by so much of all its chunks together above what is heard in place, other drums at a near tempo
coming to 1.2 and a church full of claps to 1.5 and more (own mixes)."""
_FAINT_SHARE, _UNHEARD_SHARE = 0.5, 0.2
_LEAVE, _LEAVE_AT_START = 0.9, 0.45
"""What leaving the order costs, in likeness, and where a set piece begins (mixes of our own)."""
_SLACK_S = 0.12
"""How far from the end of one chunk the next may begin and still go on."""
_GRID_S = 0.1
_COMMON = 0.3
"""What an onset in all bands alike counts beside one that is in some: a beat is like any other
beat, its sound is not."""
_SMOOTH = np.array([1.0, 2.0, 3.0, 3.0, 3.0, 2.0, 1.0]) / 15.0


@dataclass(frozen=True, slots=True)
class Chunk:
    """A stretch of the guide to be looked for, of one set piece."""

    piece: int
    start_s: float
    end_s: float
    first: bool
    """Whether the set piece begins with it."""


@dataclass(frozen=True, slots=True)
class Found:
    """A chunk found in the recording."""

    chunk: int
    at_s: float
    speed: float
    """Of the recording against the guide: above 1 faster."""
    likeness: float


def chunks_of(routine: Routine) -> list[Chunk]:
    """The guide mix in two bars each, a set piece's last one three where one bar is left over."""
    found, start_s = [], lead_in_s(routine)
    for index, piece in enumerate(routine.pieces):
        cuts = list(range(0, routine.bar_count(index), 2))
        if len(cuts) > 1 and piece.bars - cuts[-1] < 2:
            cuts.pop()
        bar_s = routine.metre * piece.beat_s
        for a, b in zip(cuts, [*cuts[1:], piece.bars], strict=True):
            found.append(Chunk(index, start_s + a * bar_s, start_s + b * bar_s, a == 0))
        start_s += routine.piece_s(index)
    return found


def found_in(guide: Floats, take: Floats, hop_s: float, chunks: Sequence[Chunk]) -> list[Found]:
    """The chunks heard in the recording, in its order of time; onset bands of both, at `hop_s`."""
    guide, take = (
        _thinned(_shape(bands), round(PASSAGES_STEP_S / hop_s)) for bands in (guide, take)
    )
    spectrum = _Laid(take)
    curves, speeds = [], []
    for chunk in chunks:
        here = guide[round(chunk.start_s / PASSAGES_STEP_S) : round(chunk.end_s / PASSAGES_STEP_S)]
        likeness = np.stack([spectrum.likeness(_at_speed(here, speed)) for speed in SPEEDS])
        best = (likeness - _FAR_SPEED * np.abs(SPEEDS - 1.0)[:, None]).argmax(0)
        curves.append(np.take_along_axis(likeness, best[None], 0)[0])
        speeds.append(SPEEDS[best])
    return _story(np.array(curves), np.array(speeds), chunks)


def _thinned(bands: Floats, factor: int) -> Floats:
    count = len(bands) // factor
    return np.asarray(bands[: count * factor].reshape(count, factor, -1).mean(1))


def _shape(bands: Floats) -> Floats:
    """What tells one bar from another: onsets as such, and beside it which bands they are in."""
    root = np.sqrt(bands)
    root = convolve1d(root, _SMOOTH, axis=0, mode="nearest")
    common = root.mean(1, keepdims=True)
    return np.hstack([root - common, np.sqrt(_COMMON * bands.shape[1]) * common])


def _at_speed(bands: Floats, speed: float) -> Floats:
    """The same onsets, so much faster."""
    count = max(4, round(len(bands) / speed))
    at = np.linspace(0, len(bands) - 1, count)
    low = np.floor(at).astype(int)
    high = np.minimum(low + 1, len(bands) - 1)
    part = (at - low)[:, None]
    return np.asarray((1 - part) * bands[low] + part * bands[high])


class _Laid:
    """The recording, made ready for laying patterns over it at every step."""

    def __init__(self, take: Floats) -> None:
        self.take = take
        self.size = next_fast_len(2 * len(take))
        self.spectrum = rfft(take, self.size, axis=0)
        self.sums = np.concatenate([np.zeros((1, take.shape[1])), np.cumsum(take, 0)])
        self.squares = np.concatenate([[0.0], np.cumsum((take**2).sum(1))])

    def likeness(self, pattern: Floats) -> Floats:
        """Correlation of the pattern with the recording from each step on, 0 where it runs out."""
        size, steps = len(pattern), len(self.take)
        if size >= steps:
            return np.zeros(steps)
        pattern = pattern - pattern.mean(0)
        product = irfft(
            self.spectrum * np.conj(rfft(pattern, self.size, axis=0)), self.size, axis=0
        )
        product = product[: steps - size + 1].sum(1)
        sums = self.sums[size:] - self.sums[:-size]
        power = self.squares[size:] - self.squares[:-size] - (sums**2).sum(1) / size
        alike = product / np.sqrt(np.maximum(power, 1e-9) * max(float((pattern**2).sum()), 1e-9))
        return np.concatenate([alike, np.zeros(size - 1)])


def _story(curves: Floats, speeds: Floats, chunks: Sequence[Chunk]) -> list[Found]:
    """The chunks of the best story, by dynamic programming over a coarser grid of time."""
    step = round(_GRID_S / PASSAGES_STEP_S)
    cells = curves.shape[1] // step
    shaped = curves[:, : cells * step].reshape(len(chunks), cells, step)
    at = np.arange(cells)[None, :] * step + shaped.argmax(2)
    speed = np.take_along_axis(speeds, at, 1)
    lasts_s = np.array([[chunk.end_s - chunk.start_s] for chunk in chunks])
    ends = np.rint((at * PASSAGES_STEP_S + lasts_s / speed) / _GRID_S).astype(int)
    told = _Told(shaped.max(2) - HEARD, np.minimum(cells, ends), chunks)
    for cell in range(cells):
        told.tell(cell)
    found = [
        Found(
            k, float(at[k, t] * PASSAGES_STEP_S), float(speed[k, t]), float(told.gain[k, t] + HEARD)
        )
        for k, t in told.best_story()
    ]
    return [one for run in _runs(found, chunks) for one in _clear_of_others(run)]


def _runs(found: Sequence[Found], chunks: Sequence[Chunk]) -> list[list[Found]]:
    """What was found as stretches in which one chunk leads straight to the next."""
    runs: list[list[Found]] = []
    for one in found:
        last = runs[-1][-1] if runs else None
        if last is not None and one.chunk == last.chunk + 1:
            chunk = chunks[last.chunk]
            ends_s = last.at_s + (chunk.end_s - chunk.start_s) / last.speed
            if abs(one.at_s - ends_s) <= 2 * _SLACK_S:
                runs[-1].append(one)
                continue
        runs.append([one])
    return runs


def _clear_of_others(run: Sequence[Found]) -> Sequence[Found]:
    """A stretch without what at its ends is far fainter than the rest of it, or within it all but
    unheard: that is other music. None of it where neither one chunk is heard for sure nor all of
    them together."""
    heard = np.array([one.likeness for one in run])
    together = float((heard - (HEARD - _IN_PLACE)).sum())
    if heard.max() < _SURELY and together < _SURELY_TOGETHER:
        return []
    usual, count = float(np.median(heard)), np.arange(1, len(run) + 1)
    first, last = (
        int(np.max(count, where=np.cumsum(part) / count < _FAINT_SHARE * usual, initial=0))
        for part in (heard, heard[::-1])
    )
    there = range(first, len(run) - last)
    return [run[k] for k in there if heard[k] >= _UNHEARD_SHARE * usual]


class _Told:
    """The best stories up to each cell of time: of each chunk as the last one, and of any."""

    def __init__(self, gain: Floats, ends: NDArray[np.int64], chunks: Sequence[Chunk]) -> None:
        count, cells = gain.shape
        self.gain, self.ends, self.cells = gain, ends, cells
        self.leave = np.array([_LEAVE_AT_START if c.first else _LEAVE for c in chunks])
        self.before = np.full((count, cells), -1)
        """What came before a chunk that begins in a cell: chunk * cells + cell, -1 nothing."""
        self.done = np.full((count, cells + 1), -np.inf)
        self.done_by = np.full((count, cells + 1), -1)
        """Of each chunk that has ended by a cell, where it began."""
        self.any = np.zeros(cells + 1)
        self.any_by = np.full(cells + 1, -1)

    def tell(self, cell: int) -> None:
        """Every chunk that could begin in a cell, given what came before it."""
        if cell and self.any[cell - 1] > self.any[cell]:
            self.any[cell], self.any_by[cell] = self.any[cell - 1], self.any_by[cell - 1]
        total = self.any[cell] - self.leave
        came = np.full(len(total), self.any_by[cell])
        straight, by = self._going_on(cell)
        straight = straight + _IN_PLACE
        goes_on = straight > total
        total, came = np.where(goes_on, straight, total), np.where(goes_on, by, came)
        total = total + self.gain[:, cell]
        self.before[:, cell] = came
        for k, reached in enumerate(total.tolist()):
            self._end(k, cell, reached)

    def _going_on(self, cell: int) -> tuple[Floats, NDArray[np.int64]]:
        """Of each chunk, the best story in which the one before it has just ended."""
        slack = round(_SLACK_S / _GRID_S) + 1
        low = max(0, cell - slack)
        near = self.done[:-1, low : cell + slack + 1]
        which = near.argmax(1) if len(near) else np.zeros(0, int)
        rows = np.arange(len(near))
        by = rows * self.cells + self.done_by[rows, low + which]
        return np.concatenate([[-np.inf], near[rows, which]]), np.concatenate([[-1], by])

    def _end(self, k: int, cell: int, total: float) -> None:
        end = int(self.ends[k, cell])
        if total > self.done[k, end]:
            self.done[k, end], self.done_by[k, end] = total, cell
        if total > self.any[end]:
            self.any[end], self.any_by[end] = total, k * self.cells + cell

    def best_story(self) -> list[tuple[int, int]]:
        """Chunks and the cells they begin in, in order of time."""
        code, path = int(self.any_by[int(self.any.argmax())]), []
        while code >= 0:
            path.append(divmod(code, self.cells))
            code = int(self.before[path[-1]])
        return path[::-1]
