"""What is practised: a routine or a stretch of one, on which deck files, and how strictly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from liveaid.practice.delays import NO_DELAYS, Delays
from liveaid.practice.limits import Limits
from liveaid.practice.stretch import cut, stretch
from liveaid.routine import Routine
from liveaid.routine.digest import piece_digest


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What is practised: the routine as it is followed, and how it is scored."""

    routine: Routine
    """The whole one, or one made of the set piece alone."""
    piece: str = ""
    """The stretch's name; empty for the routine as a whole."""
    first: int = 0
    """The set piece's place in the whole routine."""
    gone_beats: tuple[int, ...] = ()
    """Beats of each set piece that lie before the stretch; none where it is whole."""
    limits: Limits = field(default_factory=Limits)
    sender: str = ""
    """What writes the positions: the name of its OSC map."""
    delays: Delays = NO_DELAYS
    """What is known of its delays, and of the click's."""
    decks_part: float = 1.0
    """Part of full tempo that the deck files on the decks were made for; 1: the stage's own."""
    decks: Mapping[float, Routine] = field(default_factory=dict)
    """The stretch as it is followed on each set of deck files, by the part they were made for;
    empty where there are only the stage's own."""

    @property
    def asked(self) -> Routine:
        """What is practised as the map has it, whatever deck files are on the decks."""
        return self.decks.get(1.0, self.routine)

    def on_decks(self, part: float) -> Aim:
        """The same on the deck files made for a part of full tempo."""
        return replace(self, routine=self.decks[part], decks_part=part)


def aim_of(routine: Routine, piece: str, limits: Limits | None = None) -> Aim | None:
    """The aim by a stretch's name (see stretch), empty for all; None for no such stretch."""
    what = stretch(routine, piece)
    if what is None:
        return None
    gone = tuple(part.from_bar * routine.metre for part in what.parts)
    return Aim(
        routine=cut(routine, what), piece=what.name, first=what.first, gone_beats=gone,
        limits=limits or Limits(),
    )  # fmt: skip


def played_in(aim: Aim) -> dict[str, str]:
    """The digest of what each set piece asks for, by its number in the whole routine."""
    return {
        str(aim.first + index): piece_digest(aim.asked, index)
        for index in range(len(aim.asked.pieces))
    }
