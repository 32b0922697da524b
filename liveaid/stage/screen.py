"""How large the page's screen is and from how far it is read, as the command line says it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from liveaid.errors import UsageError
from liveaid.stage.watcher import Watcher

_SCREEN = {"in": 1.0, '"': 1.0, "": 1.0, "cm": 1 / 2.54, "mm": 1 / 25.4}
"""Inches in a unit."""
_AWAY = {"m": 1.0, "": 1.0, "cm": 0.01, "ft": 0.3048}
"""Metres in a unit."""
SCREEN_INCHES = (2.0, 200.0)
AWAY_M = (0.2, 30.0)


def inches(text: str) -> float:
    """A screen's diagonal such as ``6in`` or ``15 cm``. UsageError for anything else."""
    return _read("--screen", text, _SCREEN, SCREEN_INCHES, "a diagonal such as 6in or 15cm")


def metres(text: str) -> float:
    """A distance such as ``3m`` or ``80 cm``. UsageError for anything else."""
    return _read("--away", text, _AWAY, AWAY_M, "a distance such as 3m or 80cm")


def _read(
    option: str, text: str, units: Mapping[str, float], bounds: tuple[float, float], would_do: str
) -> float:
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*([a-z\"]*)\s*", text)
    value = None
    if found and found[2] in units:
        value = float(found[1].replace(",", ".")) * units[found[2]]
    if value is None or not bounds[0] <= value <= bounds[1]:
        raise UsageError(f"{option} {text}: {would_do} would do")
    return value


@dataclass(frozen=True, slots=True)
class Screen(Watcher):
    """Told to every page that was not told its own; None: not said."""

    inches: float | None = None
    away_m: float | None = None

    def status(self) -> Mapping[str, Any]:
        """The key `screen`."""
        return {"screen": {"inches": self.inches, "away_m": self.away_m}}
