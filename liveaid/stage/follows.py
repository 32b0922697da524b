"""What the stage asks of a follower, and how what was heard is told to it."""

from __future__ import annotations

from typing import Protocol

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine, Side
from liveaid.stage.mishaps import Mishaps
from liveaid.stage.osc import Heard
from liveaid.stage.settings import Settings
from liveaid.stage.words import PLACE_WORDS, Said


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

    def hear_word(self, word: str, *, now: float, piece: int | None = None) -> None:
        """The performer's word about where in the routine they are."""

    def wake_at(self) -> float | None:
        """When the prompt next changes if nothing more is heard."""

    def prompt(self, *, now: float) -> Prompt:
        """What the performer is to be told."""


def follower_for(routine: Routine, settings: Settings) -> Follows:
    """The follower of a routine, for the sender's map and with what is known of the performer."""
    from liveaid.follow import Follower

    return Follower(routine, sends=settings.osc_map.sends, habits=settings.habits)


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


class Guarded:
    """A follower that cannot stop the stage: what it raises is noted, and it is asked again."""

    def __init__(self, follower: Follows, mishaps: Mishaps) -> None:
        self._follower = follower
        self._mishaps = mishaps

    def hear(self, heard: Heard) -> None:
        """One thing a sender told."""
        with self._mishaps.noting("follower"):
            tell(self._follower, heard)

    def hear_word(self, said: Said) -> bool:
        """A word about where the performer is; False where it is none, or cannot be heard."""
        if said.word not in PLACE_WORDS:
            return False
        with self._mishaps.noting("follower"):
            self._follower.hear_word(said.word, now=said.now_s, piece=said.piece)
            return True
        return False

    def wake_at(self) -> float | None:
        """When the prompt next changes if nothing more is heard."""
        with self._mishaps.noting("follower"):
            return self._follower.wake_at()
        return None

    def prompt(self, now: float) -> Prompt | None:
        """What the performer is to be told; None when the follower fails."""
        with self._mishaps.noting("follower"):
            return self._follower.prompt(now=now)
        return None
