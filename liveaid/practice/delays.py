"""How late a sender's positions and the click are, and takes with that taken out.

A position arrives some time after the record was there, each deck by its own; the click is heard
some time after the moment it was set for. Both shift every act against a count alike, so neither
is an error of the hands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from liveaid.practice.trace import DeckTrace, Trace
from liveaid.routine import SIDES

Clock: TypeAlias = Literal["left", "right", "click"]
"""What a beat was told by: one deck's record, or the count-in's clicks."""
CLOCKS: tuple[Clock, ...] = ("left", "right", "click")

LONGEST_S = 0.5
"""A delay above this is a sender that does not work, not one to be reckoned with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delays:
    """Seconds by which positions arrive late, and by which the click is heard late."""

    left_s: float = 0.0
    right_s: float = 0.0
    click_s: float = 0.0
    measured: bool = False
    """Whether a calibration found them; else they are only taken to be none."""

    def of(self, clock: Clock) -> float:
        """One clock's delay: a deck's positions or the click."""
        return float(getattr(self, f"{clock}_s"))

    def corrected(self, trace: Trace) -> Trace:
        """The trace at the times its records were there."""
        return {
            side: DeckTrace(deck.now_s - self.of(side), deck.position_s)
            for side, deck in trace.items()
        }

    def heard_s(self, set_for_s: float | None) -> float | None:
        """When a click is heard that was set for a moment."""
        return None if set_for_s is None else set_for_s + self.click_s

    def to_json(self) -> dict[str, Any]:
        """Plain values, milliseconds."""
        found: dict[str, Any] = {f"{c}_ms": round(1000 * self.of(c), 2) for c in CLOCKS}
        return {**found, "measured": self.measured}


NO_DELAYS = Delays()


def delays_from(found: Mapping[str, Any] | None) -> Delays:
    """The delays written by `to_json`; none known without."""
    if not found:
        return NO_DELAYS
    late = {f"{clock}_s": found[f"{clock}_ms"] / 1000.0 for clock in CLOCKS}
    return Delays(**late, measured=bool(found["measured"]))


def says(delays: Delays) -> str:
    """One line on what was known, for every report."""
    if not delays.measured:
        return "delays not measured: `liveaid rehearse --calibrate` does"
    told = ", ".join(f"{side} {1000 * delays.of(side):.0f} ms" for side in SIDES)
    return f"delays taken out: {told}, click {1000 * delays.click_s:.0f} ms"
