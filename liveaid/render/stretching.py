"""A stretch of a sound brought to tempo with its key kept, in a process of its own.

The stretcher holds the interpreter's lock throughout, so it runs in a worker process. Its onsets
come out up to a millisecond or two off. The same cut, resampled, has exact timing, so the
stretched one is moved by the lag between the two energies' rises.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.files.workers import Task, Workers
from liveaid.render.edges import Samples
from liveaid.render.to_tempo import Recorded, resampled

SETTLE_S = 0.25
"""Deck seconds before and after the cut that the stretcher is given."""
MOST_LAG_S = 0.012
"""A lag beyond this is no lag of the stretcher's."""
SEED = 1
"""The stretcher shuffles phases; the same sound must come out the same."""

Stretch: TypeAlias = Callable[[Samples, float, int], Samples]
"""stretch(sound, speed, rate_hz): the sound `speed` times as fast, its key kept."""


def stretch_here(sound: Samples, speed: float, rate_hz: int) -> Samples:
    """The sound `speed` times as fast with its key kept, in this process."""
    from python_stretch import Signalsmith

    stretcher = Signalsmith.Stretch(SEED)
    stretcher.preset(2, float(rate_hz))
    stretcher.setTimeFactor(speed)
    made = stretcher.process(np.ascontiguousarray(sound.T))
    return np.ascontiguousarray(np.asarray(made, dtype=np.float32).T)


def stretch_apart(workers: Workers) -> Stretch:
    """`stretch_here` in a worker process; LiveaidError when it fails or takes too long."""

    def apart(sound: Samples, speed: float, rate_hz: int) -> Samples:
        limit_s = 30.0 + len(sound) / rate_hz
        workers.submit(Task(("stretch", ""), stretch_here, (sound, speed, rate_hz), limit_s))
        outcome = workers.next()
        if outcome.fault:
            raise LiveaidError(f"time-stretch: {outcome.fault}")
        return np.asarray(outcome.value, dtype=np.float32)

    return apart


def stretched(
    sound: Recorded,
    *,
    start_s: float,
    speed: float,
    rate_hz: int,
    before: int,
    frames: int,
    stretch: Stretch = stretch_here,
) -> Samples:
    """As `to_tempo.resampled`, but key and timbre stay; `speed` from 0.25 to 4."""
    settle = round(SETTLE_S * rate_hz)
    wide = {"start_s": start_s, "before": before + settle, "frames": frames + settle}
    exact = resampled(sound, speed=speed, rate_hz=rate_hz, **wide)  # type: ignore[arg-type]
    if abs(speed - 1.0) < 1e-9:
        return exact[settle : settle + before + frames]
    ahead, behind = round((before + settle) * speed), round((frames + settle) * speed)
    plain = resampled(
        sound, start_s=start_s, speed=1.0, rate_hz=rate_hz, before=ahead, frames=behind
    )
    made = stretch(plain, speed, rate_hz)
    shift = round(ahead / speed) - (before + settle)
    made = _moved(made, shift, len(exact))
    made = _moved(made, lag(exact, made, rate_hz=rate_hz), len(exact))
    return made[settle : settle + before + frames]


def lag(exact: Samples, made: Samples, *, rate_hz: int) -> int:
    """Frames by which the onsets of `made` come after those of `exact`, signed."""
    most = round(MOST_LAG_S * rate_hz)
    a, b = _rises(exact, rate_hz), _rises(made, rate_hz)
    padded = np.pad(b, most)
    scores = _correlated(padded, a, 2 * most + 1)
    if scores.max() <= 0.0:
        return 0
    return int(np.argmax(scores)) - most


def _correlated(
    long: NDArray[np.float64], short: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """The inner product of `short` with `long` at each of `count` places, by FFT."""
    size = 1 << int(np.ceil(np.log2(len(long) + len(short))))
    spectrum = np.fft.rfft(long, size) * np.conj(np.fft.rfft(short, size))
    return np.asarray(np.fft.irfft(spectrum, size)[:count])


def _rises(sound: Samples, rate_hz: int) -> NDArray[np.float64]:
    """How fast the energy grows, frame by frame: high where something begins, 0 where it fades."""
    width = round(0.003 * rate_hz)
    energy = np.cumsum(np.pad(np.square(sound.astype(np.float64)).sum(axis=1), (width, width)))
    around = energy[2 * width :], energy[width:-width], energy[: -2 * width]
    after, before = around[0] - around[1], around[1] - around[2]
    floor = 1e-4 * max(after.max(initial=0.0), 1e-12)
    return np.asarray(np.maximum(np.log((after + floor) / (before + floor)), 0.0))


def _moved(sound: Samples, by: int, length: int) -> Samples:
    """The sound `by` frames earlier (later when negative), cut or filled to `length`."""
    begin = max(by, 0)
    inside = sound[begin : max(by + length, 0)]
    before = min(max(-by, 0), length)
    return np.pad(inside, ((before, length - before - len(inside)), (0, 0)))
