"""The guide mix: how the routine should sound when played as written, at pitch 0.

What each deck's needle would read, through the crossfader. A hand whose acts are written out is
heard moving the record as they say. In a set piece whose technique is a blend the deck that comes
in is brought up over the first half and the one that leaves is taken down over the second half, at
equal power; in any other, both stand open from the first beat to the last.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
from numpy.typing import NDArray

from liveaid.render.edges import Samples
from liveaid.render.hand_heard import CUT_S, heard_spans
from liveaid.render.level import CEILING_DBTP, MARGIN_DB
from liveaid.render.limiter import ratio, true_peak_db
from liveaid.render.stroke_sounds import StrokeSound, heard_in
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.layout.deck import DeckLayout
from liveaid.routine.layout.passage import Passage
from liveaid.routine.timeline import lead_in_s, starts_s

END_S = 0.5
"""Seconds of silence at the end."""

ReadDeck = Callable[[Side, int, int], Samples]
"""read(side, frame, count): what the needle reads there."""


def guide_frames(routine: Routine, *, rate_hz: int) -> int:
    """Frames of the guide mix: the routine at pitch 0 with its pick-up, and a moment of silence
    after it."""
    return round((lead_in_s(routine) + routine.duration_s + END_S) * rate_hz)


def guide_mix(routine: Routine, read: ReadDeck, *, rate_hz: int) -> Samples:
    """The whole routine as one sound of shape (frames, 2), true peak below the ceiling.

    `routine` is the placed one. It begins with the pick-up, where the first set piece has one.
    """
    mix = np.zeros((guide_frames(routine, rate_hz=rate_hz), 2), dtype=np.float32)
    for index in range(len(routine.pieces)):
        for heard in heard_in(routine, index, rate_hz=rate_hz):
            if not written_out(routine.pieces[index], heard.side):
                _add(mix, routine, index, heard, read, rate_hz)
        for side in SIDES:
            if written_out(routine.pieces[index], side):
                _add_acts(mix, routine, index, side, read, rate_hz)
    return below_ceiling(mix)


def below_ceiling(mix: Samples) -> Samples:
    """The mix, turned down as a whole where its true peak is above the ceiling."""
    over = true_peak_db(mix) - (CEILING_DBTP - MARGIN_DB) if mix.any() else 0.0
    return mix if over <= 0.0 else mix * ratio(-over)


def deck_reader(
    layouts: Mapping[Side, DeckLayout], sound_of: Callable[[Passage], Samples], *, head: int
) -> ReadDeck:
    """Reads both decks as laid out; `head` frames of each passage's samples lie before it."""

    def read(side: Side, frame: int, count: int) -> Samples:
        out = np.zeros((count, 2), dtype=np.float32)
        for laid in layouts[side].laid:
            begin = laid.begin - head - frame
            samples = sound_of(laid.passage)
            if begin < count and begin + len(samples) > 0:
                inside = samples[max(-begin, 0) : count - begin]
                out[max(begin, 0) : max(begin, 0) + len(inside)] += inside
        return out

    return read


def _add_acts(
    mix: Samples, routine: Routine, index: int, side: Side, read: ReadDeck, rate_hz: int
) -> None:
    """What is heard of a deck whose acts are written out."""
    start = round((lead_in_s(routine) + starts_s(routine)[index]) * rate_hz)
    beat_s = routine.pieces[index].beat_s
    acts = acts_of(routine, index, side)
    spans = heard_spans(acts, partial(read, side), beat_s=beat_s, rate_hz=rate_hz)
    for begin, sound in spans:
        first = max(start + begin, 0)
        inside = sound[first - start - begin : len(mix) - start - begin]
        mix[first : first + len(inside)] += inside


def _add(
    mix: Samples,
    routine: Routine,
    index: int,
    heard: StrokeSound,
    read: ReadDeck,
    rate_hz: int,
) -> None:
    lead_s = lead_in_s(routine)
    begin, end = round((lead_s + heard.begin_s) * rate_hz), round((lead_s + heard.end_s) * rate_hz)
    sound = read(heard.side, heard.frame, end - begin)
    gain = np.ones(len(sound), dtype=np.float32)
    around = [_sounds(routine, near, heard.side) for near in (index - 1, index + 1)]
    if routine.pieces[index].is_called("blend") and not heard.worked:
        gain *= _blended(len(sound), comes=not around[0], goes=not around[1])
    opened = min(round(CUT_S * rate_hz), len(sound) // 2)
    if heard.worked:
        gain[:opened] *= _ramp(opened)
    if opened and (heard.worked or not around[1]):
        gain[len(gain) - opened :] *= _ramp(opened)[::-1]
    mix[begin:end] += sound * gain[:, np.newaxis]


def _sounds(routine: Routine, index: int, side: Side) -> bool:
    """Whether there is such a set piece, and the deck sounds in it."""
    return 0 <= index < len(routine.pieces) and side in routine.pieces[index].sounding


def _blended(frames: int, *, comes: bool, goes: bool) -> NDArray[np.float32]:
    """The crossfader's gain over a blend for a deck that comes in with it, or leaves after it:
    equal power, so the sum stays as loud."""
    gain = np.ones(frames, dtype=np.float32)
    half = frames // 2
    quarter = np.sin(np.linspace(0.0, np.pi / 2.0, half, dtype=np.float32))
    if comes and half:
        gain[:half] *= quarter
    if goes and half:
        gain[frames - half :] *= quarter[::-1]
    return gain


def _ramp(frames: int) -> NDArray[np.float32]:
    return np.linspace(0.0, 1.0, frames, dtype=np.float32)
