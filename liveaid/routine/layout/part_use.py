"""A set piece whose hand goes from part to part of one or several sounds: what is laid on the deck.

The parts lie next to one another, silence between, as `routine/parts.py` says; so what `check`
judged before the render is what the render lays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from liveaid.routine import Routine, Side, Works
from liveaid.routine.acts import worked_out
from liveaid.routine.layout.evened import Evened
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.model import SoundPart, without_place
from liveaid.routine.parts import has_beat, known_parts, speed_of


@dataclass(frozen=True, slots=True, kw_only=True)
class PartIn:
    """One part in the stretch that a set piece has on the record."""

    label: str
    segment: Segment
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
        return max(part.offset_s + part.segment.length_s for part in self.parts)


def unplaced(routine: Routine, index: int, side: Side) -> Routine:
    """The routine with what one set piece says of places on one deck left out, to be laid anew."""
    piece = routine.pieces[index]
    plan = piece.plan(side)
    if not isinstance(plan, Works) or not plan.places:
        return routine
    changed = piece.model_copy(update={side: without_place(plan)})
    pieces = (*routine.pieces[:index], changed, *routine.pieces[index + 1 :])
    return routine.model_copy(update={"pieces": pieces})


def _told_evenly(routine: Routine, even: Mapping[str, Evened]) -> Routine:
    """The routine with the parts of followed sounds in even seconds: they last as long as beats do
    there, so what is laid out by them keeps to the set piece's tempo throughout."""
    sounds = {
        name: routine.sounds[name].model_copy(
            update={
                "parts": {
                    label: _even_part(part, way)
                    for label, part in routine.sounds[name].parts.items()
                }
            }
        )
        for name, way in even.items()
    }
    return routine.model_copy(update={"sounds": {**routine.sounds, **sounds}}) if even else routine


def _even_part(part: SoundPart, way: Evened) -> SoundPart:
    seconds = {"from_s": part.from_s, "to_s": part.to_s, "attack_s": part.attack_s}
    told = {name: None if at is None else way.to_even(at) for name, at in seconds.items()}
    return part.model_copy(update=told)


def parts_laid(
    routine: Routine, index: int, side: Side, materials: Mapping[str, Material]
) -> PartsLaid | None:
    """The parts that one deck's acts are played on; None where they name none."""
    plan = routine.pieces[index].plan(side)
    if not isinstance(plan, Works):
        return None
    even = {
        name: found
        for name, material in materials.items()
        if (found := material.evened) is not None
        and routine.sounds[name].tempo_bpm is not None
        and has_beat(routine.sounds[name])
    }
    routine = _told_evenly(routine, even)
    known = known_parts(routine, index, plan)
    work = worked_out(unplaced(routine, index, side), index, side)
    if not work.parts or not all(
        label in known and known[label].sound in materials for label in work.parts
    ):
        return None
    laid = [
        PartIn(
            label=label,
            segment=Segment(
                sound=known[label].sound,
                speed=speed_of(routine, index, known[label]),
                start_s=known[label].part.from_s,
                length_s=at.to_s - at.from_s,
                even=known[label].sound in even,
            ),
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
