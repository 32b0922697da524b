"""What is heard of a record that a hand moves as the map's acts say: both ways, through the fader.

The deck file is read at every place the record passes, at the speed it passes it: forward,
backward, from rest to rest. Reading is by a windowed sinc whose cutoff goes down as the record
goes faster than nominal, so that nothing folds back. A record that hardly moves is hardly heard:
below HAND_HEARD_STANDS_SPEED it fades with its speed, as under a needle, so that a stand leaves no
step.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from liveaid.render.edges import Samples
from liveaid.routine.acts import Act, joined
from liveaid.routine.movement import places_s

HAND_HEARD_STANDS_SPEED = 0.1
"""Below this part of nominal a record fades: 440 Hz would be 44 Hz (common practice, no source)."""
CUT_S = 0.002
"""Seconds the crossfader takes to open or close, half of it on either side of the written beat
(common practice, no source)."""
_REACH = 16
"""Frames on either side that the interpolation looks at."""
_HAND_HEARD_BLOCK = 8192
_WINDOW_AT = np.linspace(0.0, _REACH, 8193)
_WINDOW = np.i0(9.0 * np.sqrt(1.0 - (_WINDOW_AT / _REACH) ** 2)) / np.i0(9.0)
"""Kaiser's window with beta 9: side lobes some 90 dB down (Kaiser and Schafer, 1980)."""

Floats = NDArray[np.float64]
ReadHere = Callable[[int, int], Samples]
"""read(frame, count): the deck file there."""


def heard_spans(
    acts: Sequence[Act], read: ReadHere, *, beat_s: float, rate_hz: int
) -> Iterator[tuple[int, Samples]]:
    """Every stretch with the fader open: its first frame from the set piece's start, and its sound.

    The first frame may be below 0 for a pick-up, or for the first half of an opening. Where the map
    leaves no time to bring the record from one place to the next, the stretch ends and another
    begins.
    """
    half = 0.5 * CUT_S
    for group in _without_jumps(acts):
        for opens, closes in joined(span for act in group for span in act.open):
            begin = round((opens * beat_s - half) * rate_hz)
            end = round((closes * beat_s + half) * rate_hz) + 1
            times_s = np.arange(begin, end) / rate_hz
            sound = _moved(group, read, times_s, beat_s=beat_s, rate_hz=rate_hz)
            gain = fader_gain(times_s, opens * beat_s, closes * beat_s)
            yield begin, sound * gain[:, np.newaxis].astype(np.float32)


def _without_jumps(acts: Sequence[Act]) -> Iterator[Sequence[Act]]:
    """The acts in stretches within which the record never jumps."""
    first = 0
    for place, act in enumerate(acts):
        if act.way_s and act.beats <= 0.0:
            yield acts[first:place]
            first = place + 1
    yield acts[first:]


def fader_gain(times_s: Floats, opens_s: float, closes_s: float) -> Floats:
    """The gain: half at the moments the fader is to open and close, all and nothing beside them."""
    rises = (times_s - opens_s) / CUT_S + 0.5
    falls = (closes_s - times_s) / CUT_S + 0.5
    gain: Floats = np.clip(np.minimum(rises, falls), 0.0, 1.0)
    return gain


def _moved(
    acts: Sequence[Act], read: ReadHere, times_s: Floats, *, beat_s: float, rate_hz: int
) -> Samples:
    """The deck file as it passes under the needle at those times."""
    step = 1.0 / rate_hz
    around = np.concatenate([[times_s[0] - step], times_s, [times_s[-1] + step]])
    return passing(places_s(acts, around / beat_s) * rate_hz, read, rate_hz=rate_hz)


def passing(places: Floats, read: ReadHere, *, rate_hz: int) -> Samples:
    """The deck file as it passes under the needle, a frame for each place but the first and last.

    `places` in frames of the deck file, one for each frame of what is heard and one on either side.
    """
    speed = 0.5 * np.abs(places[2:] - places[:-2])
    at = places[1:-1]
    heard = np.empty((len(at), 2), dtype=np.float32)
    for first in range(0, len(at), _HAND_HEARD_BLOCK):
        some = slice(first, first + _HAND_HEARD_BLOCK)
        low = int(np.floor(at[some].min())) - _REACH
        high = int(np.ceil(at[some].max())) + _REACH + 1
        heard[some] = read_between(read(low, high - low), at[some] - low, speed[some])
    return heard * _moving_gain(speed, rate_hz)[:, np.newaxis]


def _moving_gain(speed: Floats, rate_hz: int) -> NDArray[np.float32]:
    """How much of a record is heard by its speed, evened out over a cut's time, so that one that
    is let go or caught at once makes no step."""
    frames = round(CUT_S * rate_hz)
    gain = np.clip(speed / HAND_HEARD_STANDS_SPEED, 0.0, 1.0)
    wide = np.pad(gain, frames, mode="edge")
    box = np.ones(frames) / frames
    even = np.convolve(np.convolve(wide, box, mode="same"), box, mode="same")
    return even[frames : frames + len(gain)].astype(np.float32)


def read_between(samples: Samples, at: Floats, speed: Floats) -> Samples:
    """Samples at places between frames; `speed` in frames a frame sets the cutoff.

    A sinc in a Kaiser window over _REACH frames on either side, brought to unit sum.
    """
    first = np.floor(at).astype(np.int64)
    offsets = np.arange(1 - _REACH, _REACH + 1)
    apart = (first - at)[:, np.newaxis] + offsets
    cutoff = 1.0 / np.maximum(speed, 1.0)[:, np.newaxis]
    kernel = np.sinc(apart * cutoff) * np.interp(np.abs(apart), _WINDOW_AT, _WINDOW)
    kernel /= kernel.sum(axis=1, keepdims=True)
    taken = samples[np.clip(first[:, np.newaxis] + offsets, 0, len(samples) - 1)]
    return np.asarray(np.einsum("ij,ijc->ic", kernel.astype(np.float32), taken), dtype=np.float32)
