"""Figures as practice's records are written: each rounded by its unit."""

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
