"""Beats of played material: each beat may be a little longer or shorter than the one before.

The bar-pointer model at the level of the beat (Krebs, Böck, Widmer, "An efficient state space model
for joint tempo and meter tracking", ISMIR 2015): a pointer runs through the beat at one of a set of
tempi and may change tempo only on the beat. There a whole beat can be weighed at once, so the best
path is found over beats instead of frames. What is weighed is where in the beat onsets fall.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.ndimage
import scipy.signal

from liveaid.study.onsets import Onsets, strongest_near

Times = npt.NDArray[np.float64]
Worth = npt.NDArray[np.float32]

BEATS_FRAMES_HZ = 50.0
SLOWEST_BPM, FASTEST_BPM = 42.0, 215.0
PATTERN = (
    9.2, 2.8, 0.3, 0.15, 0.15, 0.2, 0.7, 0.35, 0.45, 0.2, 0.15, 0.3,
    4.2, 1.5, 0.2, 0.15, 0.7, 0.45, 1.3, 0.55, 0.25, 0.15, 0.2, 0.6,
)  # fmt: skip
"""How strongly onsets fall on each 24th of a beat, mean 1. Counted on the first 27 scores of
tests/bench/played.py as played there, floored at 0.15 for what hands do that no rule does."""
TRUST = 0.5
"""Onsets of one beat are not independent witnesses. Tuned on the same scores, as are the next two:
0.5 to 1.0, 0.05 to 0.1 and 0 to 0.2 made little difference."""
GIVE = 0.06
"""Standard deviation of the log of one beat's length against the one's before."""
HABIT = 0.05
HABIT_BPM, HABIT_OCTAVES = 105.0, 0.8
"""Tempo preference is bell-shaped over log tempo (Parncutt 1994; Moelants 2002)."""
AROUND_S = 4.0
STRONGEST = 2.5
"""An onset counts as at most so many of middling strength."""
SNAP_S = 0.04
BEATS_LONGEST_S = 3600.0
"""Beyond, one second of following costs more than it tells."""
_LENGTHS = np.arange(
    int(np.ceil(BEATS_FRAMES_HZ * 60 / FASTEST_BPM)), int(BEATS_FRAMES_HZ * 60 / SLOWEST_BPM) + 1
)
"""Frames in a beat, one for each tempo the pointer may run at."""
_START = -1


def follow_beats(onsets: Onsets, duration_s: float) -> Times:
    """Beat times through the whole sound, drawn to the onsets beside them; empty for too few."""
    heard = _events(onsets, int(min(duration_s, BEATS_LONGEST_S) * BEATS_FRAMES_HZ) + 1)
    if len(onsets) < 4 or len(heard) < 2 * _LENGTHS[-1]:
        return np.zeros(0)
    frames = best_chain(beat_worth(heard))
    return snapped(frames / BEATS_FRAMES_HZ, onsets)


def _events(onsets: Onsets, frames: int) -> Times:
    """(frames,): weight of the onsets about each frame, those of middling strength being 1."""
    heard = np.zeros(frames)
    if not len(onsets):
        return heard
    weight = np.sqrt(np.maximum(onsets.strength, 1e-9)).astype(np.float64)
    weight = np.minimum(weight / np.median(weight), STRONGEST)
    whole, part = np.divmod(onsets.times_s * BEATS_FRAMES_HZ, 1.0)
    for frame, share in ((whole.astype(np.int64), 1 - part), (whole.astype(np.int64) + 1, part)):
        inside = frame < frames
        np.add.at(heard, frame[inside], (weight * share)[inside])
    return heard


def beat_worth(heard: Times) -> Worth:
    """(frames, lengths): log-likelihood of a beat of each length that starts at each frame.

    Onsets are points whose rate rises and falls with the place in the beat, about the rate of the
    seconds around: what is measured is how much better the pattern tells them than that rate.
    """
    rate = scipy.ndimage.uniform_filter1d(heard, round(AROUND_S * BEATS_FRAMES_HZ), mode="nearest")
    longest = int(_LENGTHS[-1])
    worth = np.empty((len(heard), len(_LENGTHS)), dtype=np.float32)
    for column, length in enumerate(_LENGTHS):
        expected = pattern_at(int(length))
        for source, weights, sign in ((heard, np.log(expected), 1), (rate, expected - 1.0, -1)):
            padded = np.pad(source, (0, int(length) - 1))
            part = scipy.signal.correlate(padded, weights, "valid")
            worth[:, column] = part if sign > 0 else worth[:, column] - part
    worth *= TRUST
    octaves = np.log2(60.0 * BEATS_FRAMES_HZ / _LENGTHS / HABIT_BPM)
    worth -= (HABIT * np.square(octaves / HABIT_OCTAVES) * _LENGTHS / BEATS_FRAMES_HZ).astype(
        np.float32
    )
    worth[-longest:] *= 0.5  # beats that the sound's end cuts short
    return worth


def pattern_at(length: int) -> Times:
    """The pattern at each frame of a beat so many frames long."""
    place = np.arange(length) / length * len(PATTERN)
    return np.interp(place, np.arange(len(PATTERN) + 1), (*PATTERN, PATTERN[0]))


def best_chain(worth: Worth) -> Times:
    """Frames of the beats on the best path through (frames, lengths) of worth (Viterbi)."""
    frames, lengths = len(worth), _LENGTHS.astype(np.int64)
    stray = np.log(lengths[:, None] / lengths[None, :]) / GIVE
    change = (-0.5 * np.square(stray)).astype(np.float32)  # (next, before)
    column = np.arange(len(lengths))
    longest = int(lengths[-1])
    # Row t of `ready`: the best a beat of each length can build on when it starts at frame t.
    ready = np.full((frames + longest, len(lengths)), -np.inf, dtype=np.float32)
    ready[:longest] = -1e6
    came = np.full((frames, len(lengths)), _START, dtype=np.int16)
    best, end = -np.inf, (0, 0)
    for frame in range(frames):
        from_ = frame - lengths
        before = np.maximum(from_, 0)
        here = np.where(from_ >= 0, ready[before, column] + worth[before, column], -1e6)
        tried = change + here
        which = tried.argmax(axis=1)
        reached = tried[column, which]
        if frame <= longest:
            fresh = reached < 0.0
            reached[fresh], which[fresh] = 0.0, _START
        ready[frame], came[frame] = reached, which
        if frame >= frames - longest and here.max() > best:
            best, end = float(here.max()), (frame, int(here.argmax()))
    return _path(came, lengths, *end)


def _path(
    came: npt.NDArray[np.int16], lengths: npt.NDArray[np.int64], frame: int, at: int
) -> Times:
    """The beats of a path, from its last one back."""
    beats = [frame]
    while True:
        frame -= int(lengths[at])
        beats.append(frame)
        at = int(came[frame, at])
        if at == _START:
            return np.array(beats[::-1], dtype=np.float64)


def from_the_start(beats: Times, onsets: Onsets) -> Times:
    """The chain with the beats before its first that onsets lie on: it costs a chain nothing to
    begin late, so it may have missed one or two."""
    while len(beats) > 4 and len(onsets):
        expected = beats[0] - float(np.median(np.diff(beats[:5])))
        nearest = onsets.times_s[np.argmin(np.abs(onsets.times_s - expected))]
        if abs(nearest - expected) > SNAP_S:
            break
        beats = np.concatenate([[nearest], beats])
    return beats


def snapped(beats: Times, onsets: Onsets) -> Times:
    """Each beat on the strongest onset within reach, the others moved as their neighbours."""
    if len(beats) < 3:
        return beats
    beside = strongest_near(onsets, beats, before_s=SNAP_S, after_s=SNAP_S)
    found = np.flatnonzero(beside >= 0)
    if len(found) < 2:
        return beats
    shift = onsets.times_s[beside[found]] - beats[found]
    return np.asarray(beats + np.interp(np.arange(len(beats)), found, shift))


def tempo_line(beats: Times) -> tuple[float, float, float]:
    """Mean tempo in BPM, its change from end to end in per cent, and the residual in seconds.

    A parabola through beat times by number: its slope is the period, its bend the drift. The
    residual is the root-mean-square distance from the straight line of one steady tempo.
    """
    index = np.arange(len(beats), dtype=np.float64)
    straight = np.polyfit(index, beats, 1)
    bend, slope, _ = np.polyfit(index, beats, 2) if len(beats) > 3 else (0.0, *straight)
    first, last = slope, slope + 2 * bend * index[-1]
    drift = 100.0 * (first / last - 1.0) if first > 0 and last > 0 else 0.0
    residual = np.sqrt(np.mean(np.square(beats - np.polyval(straight, index))))
    return 60.0 / float(straight[0]), float(drift), float(residual)
