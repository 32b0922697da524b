"""The section map of two laid-out deck files: where each set piece stands on them."""

from __future__ import annotations

from collections.abc import Mapping

from liveaid.routine import Decks, Plan, Routine, Runs, Side, Works
from liveaid.routine.layout.deck import DeckLayout, Laid
from liveaid.routine.layout.part_use import PartIn
from liveaid.routine.layout.passage import UseIn
from liveaid.routine.model import SoundPart


def placed_routine(
    routine: Routine,
    layouts: Mapping[Side, DeckLayout],
    *,
    rate_hz: int,
    decks: Decks,
    files: Mapping[str, str],
) -> Routine:
    """The routine with every cue's deck-file second, for a map kept where `files` fit.

    `files` has each sound's path as the placed map must write it.
    """
    plans: dict[int, dict[str, Plan]] = {}
    for side, layout in layouts.items():
        for laid in layout.laid:
            for used in laid.passage.uses:
                plan = routine.pieces[used.use.piece].plan(side)
                plans.setdefault(used.use.piece, {})[side] = _placed(plan, laid, used, rate_hz)
    pieces = tuple(
        piece.model_copy(update=plans.get(index, {})) for index, piece in enumerate(routine.pieces)
    )
    sounds = {
        name: sound.model_copy(update={"file": files[name]})
        for name, sound in routine.sounds.items()
    }
    return routine.model_copy(update={"decks": decks, "sounds": sounds, "pieces": pieces})


def _placed(plan: Plan, laid: Laid, used: UseIn, rate_hz: int) -> Plan:
    """What a hand does, with its whole frames of the deck file as seconds."""
    begin = laid.begin + round(used.offset_s * rate_hz)
    if isinstance(plan, Runs):
        return plan.model_copy(update={"at_s": begin / rate_hz})
    if not isinstance(plan, Works):
        raise ValueError(f"set piece {used.use.piece}: the deck rests, yet it has a place")
    cue = laid.begin + round(used.cue_s * rate_hz)
    places = {part.label: _place(part, begin / rate_hz) for part in used.use.parts}
    return plan.model_copy(
        update={
            "from_s": begin / rate_hz,
            "to_s": (begin + round(used.use.segment.length_s * rate_hz)) / rate_hz,
            "own_cue_s": cue / rate_hz if cue != begin else None,
            "places": places,
        }
    )


def _place(part: PartIn, at_s: float) -> SoundPart:
    """Where a part lies in the deck file, to a hundredth of a frame."""
    begins_s, ends_s = part.offset_s, part.offset_s + part.segment.length_s
    return SoundPart(
        from_s=round(at_s + begins_s, 7),
        to_s=round(at_s + ends_s, 7),
        attack_s=round(at_s + part.begin_s, 7) if part.begin_s > begins_s else None,
    )
