"""Where every set piece stands in the two laid-out deck files, and the section map that says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from liveaid.routine import SIDES, Decks, Piece, Routine, Runs, Side, Sound, Works
from liveaid.routine.layout.deck import DeckLayout
from liveaid.routine.layout.part_use import PartIn
from liveaid.routine.model import DeckFile, SoundPart


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """One deck in one set piece, in frames of its deck file."""

    side: Side
    piece: int
    works: bool
    sound: str
    begin: int
    end: int
    cue: int
    left_at: int
    """Where the record stands afterwards."""
    parts: tuple[PartIn, ...] = ()
    """The parts that lie in it, where it is made of some."""

    @property
    def span(self) -> int:
        """Frames from the begin to the end."""
        return self.end - self.begin


Stands: TypeAlias = dict[tuple[int, Side], Stand]


def stands_of(layouts: Mapping[Side, DeckLayout], *, rate_hz: int) -> Stands:
    """Where each set piece stands on each deck, by set piece and side; without those that rest."""
    stands: Stands = {}
    for side, layout in layouts.items():
        for laid in layout.laid:
            for used in laid.passage.uses:
                use = used.use
                begin = laid.begin + round(used.offset_s * rate_hz)
                stands[use.piece, side] = Stand(
                    side=side,
                    piece=use.piece,
                    works=use.works,
                    sound=use.sound,
                    begin=begin,
                    end=begin + round(use.length_s * rate_hz),
                    cue=laid.begin + round(used.cue_s * rate_hz),
                    left_at=laid.begin + round(used.left_at_s * rate_hz),
                    parts=use.parts,
                )
    return stands


def placed_routine(
    routine: Routine, stands: Stands, *, rate_hz: int, decks: Decks, files: Mapping[str, str]
) -> Routine:
    """The routine with every cue's deck-file second, for a map kept where `files` fit.

    `files` has each sound's path as the placed map must write it.
    """
    pieces = tuple(_placed(piece, i, stands, rate_hz) for i, piece in enumerate(routine.pieces))
    sounds: dict[str, Sound] = {
        name: sound.model_copy(update={"file": files[name]})
        for name, sound in routine.sounds.items()
    }
    return routine.model_copy(update={"decks": decks, "sounds": sounds, "pieces": pieces})


def deck_files(left: str, right: str) -> Decks:
    """The two decks' files, as a section map names them."""
    return Decks(left=DeckFile(file=left), right=DeckFile(file=right))


def _placed(piece: Piece, index: int, stands: Stands, rate_hz: int) -> Piece:
    plans: dict[str, Runs | Works] = {}
    for side in SIDES:
        plan, stand = piece.plan(side), stands.get((index, side))
        if stand is not None and not isinstance(plan, Runs | Works):
            raise ValueError(f"{piece.name}: the {side} deck rests, yet it has a place")
        if stand is None:
            continue
        if isinstance(plan, Runs):
            plans[side] = plan.model_copy(update={"at_s": stand.begin / rate_hz})
        elif isinstance(plan, Works):
            own_cue = stand.cue / rate_hz if stand.cue != stand.begin else None
            plans[side] = plan.model_copy(
                update={
                    "from_s": stand.begin / rate_hz,
                    "to_s": stand.end / rate_hz,
                    "own_cue_s": own_cue,
                    "places": _places(stand, rate_hz),
                }
            )
    return piece.model_copy(update=plans)


def _places(stand: Stand, rate_hz: int) -> dict[str, SoundPart]:
    """Where each part lies in the deck file, to a hundredth of a frame."""
    at_s = stand.begin / rate_hz
    return {
        part.label: SoundPart(
            from_s=round(at_s + part.offset_s, 7),
            to_s=round(at_s + part.offset_s + part.length_s, 7),
            attack_s=round(at_s + part.begin_s, 7) if part.begin_s > part.offset_s else None,
        )
        for part in stand.parts
    }
