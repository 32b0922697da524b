"""Tables that a script has learnt and a hand has copied: a digit or a sign that slipped is noticed.

Each is held to its sum, the sum of what is without signs, and the sum of each value times its
place from 1. Whoever learns a table anew writes the new sums here. What the tables are worth is
measured by `tests/bench/learn.py` and `alike.py`.
"""

import numpy as np
import pytest

from liveaid.study import character, imprint, voice_weights

ENERGY = np.array([row[1:] for row in character.ENERGY])
TABLES = {
    "voice, means": (voice_weights.MEAN, 47, (141.103, 245.597, 4399.353)),
    "voice, spreads": (voice_weights.SCALE, 47, (241.893, 241.893, 3147.364)),
    "voice": ((*voice_weights.VOICE, voice_weights.VOICE_BASE), 95, (0.731, 30.973, 267.542)),
    "other": ((*voice_weights.OTHER, voice_weights.OTHER_BASE), 95, (4.144, 29.408, 211.686)),
    "timbre, means": (imprint.USUAL_VALUES, 33, (93.52, 127.24, 1143.62)),
    "timbre, spreads": (imprint.SPREAD, 33, (213.83, 213.83, 1766.77)),
    "energy, means": (ENERGY[:, 0], 6, (6.609, 38.991, -14.388)),
    "energy, spreads": (ENERGY[:, 1], 6, (21.153, 21.153, 92.11)),
    "energy, weights": (ENERGY[:, 2], 6, (5.61, 6.97, 21.88)),
    "energy, limits": (character.LIMITS, 4, (3.23, 7.45, 17.28)),
}


@pytest.mark.parametrize("name", TABLES)
def test_a_learnt_table_is_as_it_was_learnt(name: str):
    values, length, sums = TABLES[name]
    table = np.asarray(values, dtype=np.float64)
    places = np.arange(1, len(table) + 1)
    assert len(table) == length
    assert (table.sum(), np.abs(table).sum(), table @ places) == pytest.approx(sums, abs=5e-4)


def test_spreads_are_spreads():
    for table in (voice_weights.SCALE, imprint.SPREAD, ENERGY[:, 1]):
        assert np.all(np.asarray(table) > 0.0)
    assert list(character.LIMITS) == sorted(character.LIMITS)
