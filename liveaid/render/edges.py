"""Edges of a passage: no click where sound begins and ends, and the attack on the cue untouched.

The fade in lies before the cue and the fade out after the end, in what the sound has there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FILE_END_S = 0.003
"""Seconds faded out where a sound's file stops."""

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
