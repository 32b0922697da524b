"""Every kind of fault, seeded, on simulated hands: the benchmark's table in small.

Thresholds lie below the benchmark's bars, since one short look each is only a smoke alarm.
"""

from itertools import accumulate

import numpy as np
import pytest

from liveaid.follow import Follower
from liveaid.simulate import Fault, Network, perform

BUSY = Network(rate_hz=50.0, jitter_s=0.003, loss=0.01, duplicates=0.01, reorder=0.01)


def _shares(routine, performance):
    """Share of looks, every tenth of a second, with set piece and with beat right."""
    follower, messages, heard = Follower(routine), list(performance.messages), 0
    starts = list(accumulate((routine.beats(i) for i in range(len(routine.pieces))), initial=0))
    times = np.arange(messages[0].now_s + 0.1, performance.duration_s, 0.1)
    right = []
    for now, piece, beat in zip(times, *performance.truth.places(times), strict=True):
        while heard < len(messages) and messages[heard].now_s <= now:
            message = messages[heard]
            follower.hear(message.side, position=message.position_s, now=message.now_s)
            heard += 1
        if piece >= 0:
            prompt = follower.prompt(now=now)
            off = starts[prompt.piece.index] + prompt.beat_position - starts[piece] - beat
            right.append((prompt.piece.index == piece, abs(off) <= 1.0))
    return np.mean(right, axis=0)


@pytest.mark.parametrize(
    ("name", "fault", "piece_share", "beat_share"),
    [
        ("four", None, 0.99, 0.99),
        ("juggles", None, 0.99, 0.99),
        ("three", "skip", 0.98, 0.98),
        ("four", "early", 0.98, 0.97),
        ("fortyfive", "needle-jump", 0.98, 0.98),
        ("refrain", "drop-out", 0.99, 0.99),
        ("refrain", "repeat", 0.98, 0.96),
        ("three", "restart", 0.97, 0.97),
        ("fortyfive", "middle", 0.97, 0.95),
    ],
)
def test_a_fault_is_lived_through(routine_named, name, fault, piece_share, beat_share):
    routine = routine_named(name)
    faults = () if fault is None else (Fault(kind=fault),)
    performance = perform(routine, seed=71, faults=faults, network=BUSY)
    piece, beat = _shares(routine, performance)
    assert piece >= piece_share
    assert beat >= beat_share
