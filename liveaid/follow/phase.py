"""The phase of the beat, heard from the hands: a record let go from its cue is let go on a beat.

A record that has run so many beats from its cue says that the beat stands so far past a release.
Hands release within some 20 ms of the beat (Repp 2005, Sensorimotor synchronization) and bring a
record back to its cue as nearly as that.
"""

from __future__ import annotations

import numpy as np

from liveaid.follow.axis import CELLS_PER_BEAT, Floats

RELEASE_S = 0.045
"""Release and the cue it was brought back to, together."""
MEANT = 0.6
"""Share of runs that were let go from the cue and in time at all."""
ON_BEAT = 0.8
"""Of these, let go on a beat; the others on a half."""


def told(released: Floats, strokes: Floats | None, beat_s: float) -> Floats:
    """How well each place fits, 1 on average: `released` is the beat the run began at there.

    `strokes` are the beats the map names for letting go, rising; without any, every beat may be
    one, and a half beat now and then.
    """
    width = float(np.hypot(RELEASE_S / beat_s, 0.29 / CELLS_PER_BEAT))
    if strokes is None or not strokes.size:
        fit = ON_BEAT * _peaks(_off(released), width)
        fit += (1.0 - ON_BEAT) * 0.5 * _peaks(_off(2.0 * released) / 2.0, width)
        return 1.0 - MEANT + MEANT * fit
    after = np.searchsorted(strokes, released).clip(1, max(strokes.size - 1, 1))
    near = np.minimum(
        np.abs(released - strokes[after - 1]), np.abs(released - strokes[after % strokes.size])
    )
    span = max(float(strokes[-1] - strokes[0]), 1.0) + 1.0
    return 1.0 - MEANT + MEANT * _peaks(near, width) * (span / strokes.size)


def _off(beats: Floats) -> Floats:
    """How far from the nearest whole number."""
    return beats - np.round(beats)


def _peaks(off: Floats, width: float) -> Floats:
    return np.exp(-0.5 * (off / width) ** 2) / (width * 2.5066282746310002)
