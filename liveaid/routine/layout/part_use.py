"""A set piece whose hand goes from part to part of one or several sounds: what is laid on the deck.

The parts lie next to one another, silence between, as `routine/parts.py` says; so what `check`
judged before the render is what the render lays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from liveaid.routine import Routine, Side, Works
from liveaid.routine.acts import worked_out
from liveaid.routine.layout.material import Material
from liveaid.routine.parts import known_parts, speed_of


@dataclass(frozen=True, slots=True, kw_only=True)
class PartIn:
    """One part in the stretch that a set piece has on the record."""

    label: str
    sound: str
    speed: float
    start_s: float
    """Second of the sound at which it begins."""
    length_s: float
    """Deck seconds."""
    offset_s: float
    """Deck seconds from the stretch's begin to its own."""
    begin_s: float
    """Deck seconds from the stretch's begin to where acts on it begin."""


@dataclass(frozen=True, slots=True)
class PartsLaid:
    """All parts of one set piece on one deck, in order along the record."""

    parts: tuple[PartIn, ...]
    cue_s: float
    """Deck seconds from the stretch's begin to where the first act begins."""
    left_s: float
    """Where the last act leaves the record."""

    @property
    def length_s(self) -> float:
        """Deck seconds of the stretch."""
        return max(part.offset_s + part.length_s for part in self.parts)


def unplaced(routine: Routine, index: int, side: Side) -> Routine:
    """The routine with what one set piece says of places on one deck left out, to be laid anew."""
    piece = routine.pieces[index]
    plan = piece.plan(side)
    if not isinstance(plan, Works) or not plan.places:
        return routine
    bare: dict[str, object] = {"places": {}, "from_s": None, "to_s": None, "own_cue_s": None}
    changed = piece.model_copy(update={side: plan.model_copy(update=bare)})
    pieces = (*routine.pieces[:index], changed, *routine.pieces[index + 1 :])
    return routine.model_copy(update={"pieces": pieces})


def parts_laid(
    routine: Routine, index: int, side: Side, materials: Mapping[str, Material]
) -> PartsLaid | None:
    """The parts that one deck's acts are played on; None where they name none."""
    plan = routine.pieces[index].plan(side)
    if not isinstance(plan, Works):
        return None
    known = known_parts(routine, index, plan)
    work = worked_out(unplaced(routine, index, side), index, side)
    if not work.parts or not all(
        label in known and known[label].sound in materials for label in work.parts
    ):
        return None
    laid = [
        PartIn(
            label=label,
            sound=known[label].sound,
            speed=speed_of(routine, index, known[label]),
            start_s=known[label].part.from_s,
            length_s=at.to_s - at.from_s,
            offset_s=at.from_s,
            begin_s=at.begin_s,
        )
        for label, at in work.parts.items()
    ]
    return PartsLaid(
        parts=tuple(sorted(laid, key=lambda part: part.offset_s)),
        cue_s=work.acts[0].from_s,
        left_s=work.acts[-1].to_s,
    )
