"""Where and how the stage listens and shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from liveaid.follow import Habits
from liveaid.routine import Side
from liveaid.stage.address import HTTP_ADDRESS, OSC_ADDRESS, Address
from liveaid.stage.lamp_layout import NO_LAMPS, LampLayout
from liveaid.stage.osc_map import DEFAULT_MAP, OscMap
from liveaid.stage.share import Share


@dataclass(frozen=True, slots=True)
class Controller:
    """One controller: its ports, and how its lamps and pads are laid out."""

    midi: str | None = None
    """The lamps' port, by name or a unique part of it; None: the lamps are only told in words."""
    layout: LampLayout = NO_LAMPS
    pads: str | None = None
    """The pads' port, where its name has nothing in common with the lamps'."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Where and how the stage listens and shows."""

    osc: Address = OSC_ADDRESS
    http: Address | None = HTTP_ADDRESS
    """None: no page."""
    osc_map: OscMap = DEFAULT_MAP
    file_s: Mapping[Side, float] = field(default_factory=dict)
    """Seconds of each deck file, for maps that give positions as a fraction of it."""
    controllers: tuple[Controller, ...] = (Controller(),)
    """At least one: the first is the main one, whose lamps the terminal shows too."""
    midi_api: str = "auto"
    token: str | None = None
    """What a page has to bring along; needed where `http` is not this machine alone."""
    habits: Habits | None = None
    """What is known of the performer from takes, for the follower to start from; None: nothing."""
    share: Share | None = None
    """A secure address for phones and tablets nearby."""

    @property
    def main(self) -> Controller:
        """The controller whose lamps the terminal shows too."""
        return self.controllers[0]
