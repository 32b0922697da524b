"""An edited map on the deck files there are: every cue's second taken over from the last render.

What the deck files hold is what was rendered. A set piece whose sounds, tempo and length are as
they were then has its place on them, whatever else was edited: its name, its order, its strokes,
its prompt. Anything else needs a new render.
"""

from __future__ import annotations

from liveaid.routine.edits import matched
from liveaid.routine.model import SIDES, Piece, Plan, Rests, Routine, Side, Sound, Works

_SILENT = ("source", "licence", "cleared", "key", "tuning_cents")
"""What a sound may be told without sounding otherwise."""


def carried(now: Routine, then: Routine, placed: Routine) -> Routine | None:
    """The map `now`, placed on the deck files rendered from `then`; None when they do not hold it.

    `placed` is the map that render wrote; the files in the result are named as there.
    """
    if now.metre != then.metre or now.turntable.rpm != then.turntable.rpm:
        return None
    if any(_heard(now, name) != _heard(then, name) for name in _sounds(now)):
        return None
    same = matched(then, now)
    pieces: list[Piece] = []
    for index, piece in enumerate(now.pieces):
        plans: dict[str, Plan] = {}
        for side in SIDES:
            plan = _plan(now, index, side, then, placed, same.get(index))
            if plan is None:
                return None
            plans[side] = plan
        pieces.append(piece.model_copy(update=plans))
    told = {
        name: _told(sound, placed.sounds[name]) if name in placed.sounds else sound
        for name, sound in now.sounds.items()
    }
    return now.model_copy(
        update={
            "pieces": tuple(pieces), "sounds": told, "decks": placed.decks,
            "rendered": placed.rendered,
        }
    )  # fmt: skip


def _plan(
    now: Routine, index: int, side: Side, then: Routine, placed: Routine, own: int | None
) -> Plan | None:
    """One hand's plan with its seconds: from its own set piece, else from one that sounds alike."""
    plan = now.pieces[index].plan(side)
    if isinstance(plan, Rests):
        return plan
    others = [old for old in range(len(then.pieces)) if old != own]
    for old in ([own] if own is not None else []) + others:
        if _lies(now.pieces[index], then.pieces[old], side):
            lies = placed.pieces[old].plan(side)
            return plan.model_copy(update={word: getattr(lies, word) for word in plan.lies})
    return None


def _lies(new: Piece, old: Piece, side: Side) -> bool:
    """Whether what the new set piece wants of a deck is what lies there for the old one."""
    a, b = new.plan(side), old.plan(side)
    if isinstance(a, Rests) or isinstance(b, Rests) or a.hand != b.hand:
        return False
    if (a.sound, a.bars_in, new.tempo_bpm) != (b.sound, b.bars_in, old.tempo_bpm):
        return False
    if isinstance(a, Works) and isinstance(b, Works):
        return (new.bars, new.juggle, a.acts, _span(a)) == (old.bars, old.juggle, b.acts, _span(b))
    return new.bars <= old.bars


def _span(plan: Works) -> tuple[float, float] | None:
    """Length of the map's own span and its cue in it, to the microsecond."""
    if plan.span_s is None or plan.from_s is None or plan.cue_s is None:
        return None
    return round(plan.span_s, 6), round(plan.cue_s - plan.from_s, 6)


def _sounds(routine: Routine) -> set[str]:
    plans = (piece.plan(side) for piece in routine.pieces for side in SIDES)
    return {plan.sound for plan in plans if plan.sound}


def _heard(routine: Routine, name: str) -> Sound | None:
    sound = routine.sounds.get(name)
    return sound and sound.model_copy(update=dict.fromkeys(_SILENT))


def _told(sound: Sound, placed: Sound) -> Sound:
    """The sound as it is written now, with what the render found out, named from the placed map."""
    facts = {"file": placed.file}
    for word in ("tempo_bpm", "first_beat_s", "key"):
        if getattr(sound, word) is None:
            facts[word] = getattr(placed, word)
    return sound.model_copy(update=facts)
