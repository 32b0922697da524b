"""What the stage asks of a follower, and how what was heard is told to it."""

from __future__ import annotations

from typing import Protocol

from liveaid.follow.prompt import Prompt
from liveaid.routine import Side
from liveaid.stage.osc import Heard


class Follows(Protocol):
    """What the stage asks of the follower; liveaid.follow.Follower is one. Times are monotonic."""

    def hear(self, side: Side, *, position: float, now: float) -> None:
        """A deck's position, in deck-file seconds."""

    def hear_speed(self, side: Side, *, speed: float, now: float) -> None:
        """A deck's speed, 1.0 nominal."""

    def hear_pitch(self, side: Side, *, percent: float, now: float) -> None:
        """A deck's pitch, in per cent."""

    def hear_crossfader(self, *, value: float, now: float) -> None:
        """The crossfader, 0 left to 1 right."""

    def hear_level(self, side: Side, *, level: float, now: float) -> None:
        """A channel's level, 0 to 1."""

    def wake_at(self) -> float | None:
        """When the prompt next changes if nothing more is heard."""

    def prompt(self, *, now: float) -> Prompt:
        """What the performer is to be told."""


def tell(follower: Follows, heard: Heard) -> None:
    """Hand one thing heard to the follower, by what it is."""
    value, now = heard.value, heard.now_s
    if heard.what == "crossfader":
        follower.hear_crossfader(value=value, now=now)
        return
    assert heard.side is not None
    match heard.what:
        case "position":
            follower.hear(heard.side, position=value, now=now)
        case "speed":
            follower.hear_speed(heard.side, speed=value, now=now)
        case "pitch":
            follower.hear_pitch(heard.side, percent=value, now=now)
        case "level":
            follower.hear_level(heard.side, level=value, now=now)
