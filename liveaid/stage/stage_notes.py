"""What the performer should know of the stage itself, in plain sentences. Pure, told the time.

From counts looked at once a second: a sentence stays for as long as its cause does, and a while
longer, so that it can be read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

STAYS_S = 5.0
"""How long a sentence stays after its cause has gone: two glances."""
LATE_S = 0.25
"""A loop held up this long shows every beat late; half a beat at 120 BPM."""
REFUSED_PER_S = 5
"""Fewer messages not understood than this a second are a stray sender, not a wrong map."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vitals:
    """How the stage stands at one moment: counts since the start, and states."""

    heard: int = 0
    refused: int = 0
    over_budget: int = 0
    by_the_system: int = 0
    turned_away: int = 0
    """Connections to the page that were closed because there were too many, or they were mute."""
    last_refused: str = ""
    over_budget_from: str = ""
    lag_s: float = 0.0
    ports: Mapping[str, str] | None = None
    """MIDI ports that are wanted and not open: name and what is the matter."""


class Notes:
    """The sentences of the moment."""

    def __init__(self) -> None:
        self._before: Vitals | None = None
        self._before_s = 0.0
        self._said: dict[str, tuple[str, float]] = {}
        self.rates: dict[str, float] = {}
        """Messages a second over the last look, for /health."""

    def look(self, vitals: Vitals, now: float) -> None:
        """Compare with the look before."""
        before, seconds = self._before or vitals, max(now - self._before_s, 1e-3)
        names = ("heard", "refused", "over_budget", "by_the_system")
        grown = {name: (getattr(vitals, name) - getattr(before, name)) / seconds for name in names}
        self.rates = {name: round(rate, 1) for name, rate in grown.items()}
        self._before, self._before_s = vitals, now
        for cause, sentence in _sentences(vitals, before, self.rates):
            self._said[cause] = (sentence, now)
        self._said = {
            cause: (sentence, said_s)
            for cause, (sentence, said_s) in self._said.items()
            if now - said_s < STAYS_S
        }

    def sentences(self) -> list[str]:
        """What to tell now, in the order it began."""
        return [sentence for sentence, _ in self._said.values()]


def _sentences(vitals: Vitals, before: Vitals, rates: Mapping[str, float]) -> list[tuple[str, str]]:
    found = []
    if rates["over_budget"] > 0:
        found.append((
            "over budget",
            f"More arrives than can be heard: {rates['over_budget']:.0f} messages a second are "
            f"left out, the oldest first, most from {vitals.over_budget_from}.",
        ))  # fmt: skip
    if rates["by_the_system"] > 0:
        found.append((
            "by the system",
            f"The system drops {rates['by_the_system']:.0f} datagrams a second before they can be "
            "read: this machine is too busy, or something floods it.",
        ))  # fmt: skip
    if rates["refused"] >= REFUSED_PER_S and rates["refused"] > rates["heard"]:
        found.append((
            "refused",
            f"{rates['refused']:.0f} messages a second are not understood ({vitals.last_refused}); "
            "`liveaid learn osc` makes a map for the sender.",
        ))  # fmt: skip
    if vitals.lag_s >= LATE_S:
        found.append((
            "lag", f"This machine is too busy: liveaid was held up for {vitals.lag_s:.1f} s."
        ))  # fmt: skip
    if vitals.turned_away > before.turned_away + 10:
        found.append((
            "turned away",
            "Something opens page after page here; those that say nothing are closed.",
        ))  # fmt: skip
    found += [(name, f"{name}: {state}.") for name, state in (vitals.ports or {}).items()]
    return found
