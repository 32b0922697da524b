"""How sure a clean rate is: the score interval for a proportion."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Annotated, Any

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from liveaid.practice.written import rounded


@dataclass(frozen=True, slots=True)
class Rate:
    """So many clean takes of so many, with the interval the true rate lies in."""

    clean: int
    takes: Annotated[int, Field(alias="of")]
    low: Annotated[float, rounded(3)]
    high: Annotated[float, rounded(3)]

    @property
    def part(self) -> float:
        """The clean part, 0 to 1; a half before the first take."""
        return self.clean / self.takes if self.takes else 0.5


class Rated:
    """A record with a rate, whose words are written among its own."""

    __slots__ = ()

    @model_serializer(mode="wrap")
    def _with_its_rate(self, words_of: SerializerFunctionWrapHandler) -> dict[str, Any]:
        words = words_of(self)
        return {**words.pop("rate"), **words}


def clean_rate(clean: int, takes: int, *, confidence: float = 0.95) -> Rate:
    """The clean rate of `takes` takes and its two-sided interval, low and high in 0 to 1.

    Wilson, "Probable inference, the law of succession, and statistical inference", JASA 22
    (1927): centre (p + z^2/2n) / (1 + z^2/n), half width
    z sqrt(p(1-p)/n + z^2/4n^2) / (1 + z^2/n). Without takes anything is possible: 0 to 1.
    ValueError when `clean` is not within 0 to `takes`.
    """
    if not 0 <= clean <= takes or not 0 < confidence < 1:
        raise ValueError(f"{clean} clean of {takes} takes at {confidence}: no such rate")
    if takes == 0:
        return Rate(0, 0, 0.0, 1.0)
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    part, weight = clean / takes, z * z / takes
    centre = (part + weight / 2) / (1 + weight)
    half = math.sqrt(part * (1 - part) * weight + weight * weight / 4) / (1 + weight)
    low = 0.0 if clean == 0 else centre - half
    high = 1.0 if clean == takes else centre + half
    return Rate(clean, takes, low, high)
