"""Figures as they are written: in a record rounded by their unit, in a sentence as words."""

from __future__ import annotations

import math
from typing import Annotated, TypeAlias

from pydantic import PlainSerializer


def rounded(digits: int) -> PlainSerializer:
    """A figure written with so many digits; one that is not finite as none."""
    return PlainSerializer(
        lambda value: float(round(value, digits)) if math.isfinite(value) else None
    )


Ms: TypeAlias = Annotated[float, rounded(2)]
"""Milliseconds."""
Percent: TypeAlias = Annotated[float, rounded(2)]
Fine: TypeAlias = Annotated[float, rounded(4)]
"""Seconds, beats or turns."""


WORTH_MS = 5.0
"""Off by less on the whole is on time: a sender's messages come some milliseconds apart."""


def early_or_late(off_ms: float, *, worth_ms: float = 0.5) -> str:
    """`4 ms late`, `7 ms early`; `on time` below what is worth telling."""
    if abs(off_ms) < worth_ms:
        return "on time"
    return f"{abs(off_ms):.0f} ms {'late' if off_ms > 0 else 'early'}"
