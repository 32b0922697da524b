"""Both deck files as they pass under their needles, through the mixer: what a take sounded like.

Reads what the records passed as the guide mix does (`hand_heard.passing`), only that the places
come from elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np

from liveaid.render.edges import Samples
from liveaid.render.guide import ReadDeck, below_ceiling
from liveaid.render.hand_heard import Floats, passing
from liveaid.routine import Side


def moved_mix(
    places_s: Mapping[Side, Floats],
    gains: Mapping[Side, Floats],
    read: ReadDeck,
    *,
    rate_hz: int,
) -> Samples:
    """The mix as samples of shape (frames, 2), true peak below the ceiling.

    `places_s` has each deck's place at every frame, and one frame before and after them; `gains`
    what the mixer lets through at every frame.
    """
    frames = len(next(iter(gains.values())))
    mix = np.zeros((frames, 2), dtype=np.float32)
    for side, places in places_s.items():
        heard = passing(places * rate_hz, partial(read, side), rate_hz=rate_hz)
        mix += heard * gains[side][:, np.newaxis].astype(np.float32)
    return below_ceiling(mix)
