"""One push or pull: the least time a hand needs for it, and how it goes when it is done in time.

The least time is that of a movement at the hand's hardest acceleration half the way and its hardest
braking the other half: way = a (t / 2)^2, so t = 2 sqrt(way / a), as long as its fastest moment,
sqrt(way * a), is below the hand's fastest speed v; beyond, t = way / v + v / a. A turn-round needs
no time of its own: the one stroke brakes to a stand, the next speeds up from it.

A stroke played in its own time goes from rest to rest as unhurried hands do, with the least jerk:
x(u) = way (10 u^3 - 15 u^4 + 6 u^5), u from 0 to 1 (Flash and Hogan, "The coordination of arm
movements", J Neurosci 5 (1985)). Its fastest moment is the middle, at 1.875 times its mean speed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def stroke_s(turns: float, *, turns_per_s: float, turns_per_s2: float) -> float:
    """The least seconds for a stroke over so many turns, from rest to rest."""
    way = abs(turns)
    if math.sqrt(way * turns_per_s2) <= turns_per_s:
        return 2.0 * math.sqrt(way / turns_per_s2)
    return way / turns_per_s + turns_per_s / turns_per_s2


def stroke_place(share: Floats) -> Floats:
    """Part of the way done, 0 to 1, at each share of the stroke's time, 0 to 1."""
    u = np.clip(share, 0.0, 1.0)
    done: Floats = u * u * u * (10.0 + u * (6.0 * u - 15.0))
    return done


def spin_back_place(share: Floats) -> Floats:
    """Part of the way a thrown record has gone at each share of its time: it slows evenly.

    Thrown at twice its mean speed and braked to a stand by the slipmat: x(u) = u (2 - u).
    """
    u = np.clip(share, 0.0, 1.0)
    done: Floats = u * (2.0 - u)
    return done
