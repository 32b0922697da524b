"""How late a sender's positions and the click are, and takes with that taken out.

A position arrives some time after the record was there, each deck by its own; the click is heard
some time after the moment it was set for. Both shift every act against a count alike, so neither
is an error of the hands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from liveaid.practice.mixer_trace import FaderHeard, MixerTrace
from liveaid.practice.trace import DeckTrace, Trace
from liveaid.routine import SIDES

Clock: TypeAlias = Literal["left", "right", "click"]
"""What a beat was told by: one deck's record, or the count-in's clicks."""
Measured: TypeAlias = Literal["left", "right", "mixer", "click"]
"""What a calibration measures, in its order."""
MEASURED: tuple[Measured, ...] = ("left", "right", "mixer", "click")

LONGEST_S = 0.5
"""A delay above this is a sender that does not work, not one to be reckoned with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delays:
    """Seconds by which positions arrive late, and by which the click is heard late."""

    left_s: float = 0.0
    right_s: float = 0.0
    click_s: float = 0.0
    mixer_s: float = 0.0
    """By which the mixer's messages arrive late; 0 also where it was left out."""
    measured: bool = False
    """Whether a calibration found them; else they are only taken to be none."""

    def of(self, what: Measured) -> float:
        """One delay: of a deck's positions, the mixer's messages or the click."""
        return float(getattr(self, f"{what}_s"))

    def corrected(self, trace: Trace) -> Trace:
        """The trace at the times its records were there."""
        return {
            side: DeckTrace(deck.now_s - self.of(side), deck.position_s)
            for side, deck in trace.items()
        }

    def corrected_mixer(self, mixer: Sequence[FaderHeard]) -> MixerTrace:
        """The mixer's messages at the times its faders were there."""
        return tuple(one._replace(now_s=one.now_s - self.mixer_s) for one in mixer)

    def heard_s(self, set_for_s: float | None) -> float | None:
        """When a click is heard that was set for a moment."""
        return None if set_for_s is None else set_for_s + self.click_s

    def to_json(self) -> dict[str, Any]:
        """Plain values, milliseconds."""
        found: dict[str, Any] = {f"{c}_ms": round(1000 * self.of(c), 2) for c in MEASURED}
        return {**found, "measured": self.measured}


NO_DELAYS = Delays()


def delays_from(found: Mapping[str, Any] | None) -> Delays:
    """The delays written by `to_json`; none known without."""
    if not found:
        return NO_DELAYS
    # Takes from before the mixer's was measured do not have it.
    late = {f"{one}_s": found.get(f"{one}_ms", 0.0) / 1000.0 for one in MEASURED}
    return Delays(**late, measured=bool(found["measured"]))


def says(delays: Delays) -> str:
    """One line on what was known, for every report."""
    if not delays.measured:
        return "delays not measured: `liveaid rehearse --calibrate` does"
    told = ", ".join(f"{side} {1000 * delays.of(side):.0f} ms" for side in SIDES)
    mixer = f", mixer {1000 * delays.mixer_s:.0f} ms" if delays.mixer_s else ""
    return f"delays taken out: {told}{mixer}, click {1000 * delays.click_s:.0f} ms"
