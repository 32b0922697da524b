"""How loud one passage came out, and what levelling did to it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Level:
    """What levelling did to one passage."""

    loudness_lufs: float | None
    """Afterwards; None for silence."""
    true_peak_dbtp: float | None
    """Afterwards; None for silence."""
    gain_db: float
    limited_db: float
    """How much the highest peak was turned down."""

    def short_of(self, wanted_lufs: float) -> float:
        """LU by which the passage stays below what was wanted, 0 when it does not."""
        return 0.0 if self.loudness_lufs is None else max(0.0, wanted_lufs - self.loudness_lufs)
