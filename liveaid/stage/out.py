"""What else follows along or tells where the records are: from `configs/out-*.yaml` and options."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field

from liveaid.routine import SIDES, Side
from liveaid.routine.config_file import ConfigRecord
from liveaid.stage.address import parse_address
from liveaid.stage.clock_out import ClockOut
from liveaid.stage.prompt_sender import PromptSender
from liveaid.stage.timecode_in import TimecodeIn
from liveaid.stage.watcher import Watcher

Name = Annotated[str, Field(min_length=1, max_length=200)]


class Player(ConfigRecord):
    """A player whose time code tells one deck's position."""

    port: Name
    """Its MIDI port, by name or a unique part of it."""
    offset: float = 0.0
    """Seconds of the deck file at time code zero."""


class Players(ConfigRecord):
    """The two decks' players."""

    left: Player | None = None
    right: Player | None = None

    def of(self, side: Side) -> Player | None:
        """One side's."""
        return self.left if side == "left" else self.right


class Out(ConfigRecord):
    """The file."""

    title: str = ""
    osc: tuple[Name, ...] = ()
    """Who is told the prompt: HOST:PORT each."""
    clock: tuple[Name, ...] = ()
    """MIDI ports that are sent clock."""
    timecode: Players = Players()

    def with_options(
        self, *, osc: Sequence[str], clock: Sequence[str], timecode: Sequence[str]
    ) -> Out:
        """With what was asked for on the command line besides; `timecode` is SIDE=PORT."""
        told = dict(one.split("=", 1) for one in timecode)
        players = self.timecode.model_copy(
            update={side: Player(port=port) for side, port in told.items()}
        )
        return self.model_copy(
            update={
                "osc": (*self.osc, *osc),
                "clock": (*self.clock, *clock),
                "timecode": players,
            }
        )

    def watchers(self, midi_api: str) -> list[Watcher]:
        """What does it. UsageError for an address that is none, StageError for an unknown host."""
        found: list[Watcher] = []
        if self.osc:
            found.append(PromptSender([parse_address(text) for text in self.osc]))
        found += [ClockOut(port, midi_api) for port in self.clock]
        for side in SIDES:
            player = self.timecode.of(side)
            if player is not None:
                found.append(TimecodeIn(side, player.port, offset_s=player.offset, api=midi_api))
        return found
