"""What the collector of unreachable objects goes through while the stage runs."""

from __future__ import annotations

import gc


def keep_what_is_loaded() -> None:
    """What is loaded by now stays: going through it again would hold up a lamp.

    Collected once more after it is set aside: CPython goes through the oldest objects only when a
    quarter as many have come as there were the last time it did, and what was loaded, a hundred
    thousand, would count among them (gc.set_threshold in the library's reference).
    """
    gc.collect()
    gc.freeze()
    gc.collect()
