"""Edges of a passage: no click where sound begins and ends, and the attack on the cue untouched.

The fade in lies before the cue and the fade out after the end, in what the sound has there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FILE_END_S = 0.003
"""Seconds faded out where a sound's file stops."""
MOST_LEVELLED_DB = 12.0
"""The most a part is turned up to be as loud as its neighbours (common practice, no source)."""

Samples = NDArray[np.float32]
"""Sound of shape (frames, 2)."""


def rise(frames: int) -> NDArray[np.float32]:
    """A raised cosine from 0 towards 1, of shape (frames, 1)."""
    steps = (np.arange(frames) + 0.5) / max(frames, 1)
    return (0.5 - 0.5 * np.cos(np.pi * steps)).astype(np.float32)[:, np.newaxis]


def faded(sound: Samples, *, head: int, tail: int) -> Samples:
    """A copy with its first `head` frames faded in and its last `tail` frames faded out."""
    sound = sound.copy()
    head, tail = min(head, len(sound)), min(tail, len(sound))
    sound[:head] *= rise(head)
    if tail:
        sound[-tail:] *= rise(tail)[::-1]
    return sound


def side_by_side(parts: list[Samples], *, tail: int, rate_hz: int) -> list[Samples]:
    """Parts of several sounds with silence between them, as loud as each other, none cut off hard.

    Loudness here is the mean square: a word is too short for a gated measure. None is turned by
    more than MOST_LEVELLED_DB, so that what is meant to be faint stays fainter.
    """
    loud = [float(np.sqrt(np.mean(part**2))) for part in parts]
    most, aim = 10.0 ** (MOST_LEVELLED_DB / 20.0), max(loud)
    out: list[Samples] = []
    for part, level in zip(parts, loud, strict=True):
        gain = min(aim / level, most) if level > 0.0 else 1.0
        kept = len(part) - tail
        end = min(round(FILE_END_S * rate_hz), kept)
        levelled = part * np.float32(gain)
        levelled[kept - end : kept] *= rise(end)[::-1]
        levelled[kept:] = 0.0
        out.append(levelled)
    return out


def joined(parts: list[Samples], *, head: int, tail: int) -> Samples:
    """Parts end to end, each with `head` extra frames before and `tail` after what it is for.

    Each crosses into the next in the `head` frames before the joint, so that the attack on the
    joint is the next part's own. The result keeps the first part's head and the last one's tail.
    """
    whole = parts[0]
    for part in parts[1:]:
        joint = len(whole) - tail
        cross = rise(head)
        mixed = whole[joint - head : joint] * (1.0 - cross) + part[:head] * cross
        whole = np.concatenate([whole[: joint - head], mixed, part[head:]])
    return whole
