"""Where and how the stage listens and shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from liveaid.follow import Habits
from liveaid.routine import Side
from liveaid.stage.address import HTTP_ADDRESS, OSC_ADDRESS, Address
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.osc_map import DEFAULT_MAP, OscMap
from liveaid.stage.share import Share


@dataclass(frozen=True, slots=True)
class Controller:
    """One more controller, by its port's name."""

    midi: str
    layout: LampLayout


@dataclass(frozen=True, slots=True)
class Settings:
    """Where and how the stage listens and shows."""

    osc: Address = OSC_ADDRESS
    http: Address | None = HTTP_ADDRESS
    """None: no page."""
    osc_map: OscMap = DEFAULT_MAP
    file_s: Mapping[Side, float] = field(default_factory=dict)
    """Seconds of each deck file, for maps that give positions as a fraction of it."""
    layout: LampLayout = field(default_factory=lambda: LampLayout.model_validate({"lamps": {}}))
    midi: str | None = None
    """The lamps' port, by name or a unique part of it; None: no controller."""
    pads: str | None = None
    """The pads' port, where its name has nothing in common with the lamps'."""
    also: Sequence[Controller] = ()
    """More controllers."""
    midi_api: str = "auto"
    token: str | None = None
    """What a page has to bring along; needed where `http` is not this machine alone."""
    habits: Habits | None = None
    """What is known of the performer from takes, for the follower to start from; None: nothing."""
    share: Share | None = None
    """A secure address for phones and tablets nearby."""
