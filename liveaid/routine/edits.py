"""What two versions of a section map differ in, by set pieces and fields."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from liveaid.routine.digest import piece_digest
from liveaid.routine.model import SIDES, Plan, Rests, Routine

_MOST_SHOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One difference: where, what stood there, what stands there now. None: nothing."""

    piece: int | None
    """Set piece of the new version, from 0; of the old one where it is gone; None: not in one."""
    name: str
    """The set piece's name, as it is now where it is there; outside of them a sound's, or empty."""
    field: str
    """`tempo`, `left.bars_in`, `sounds.bells.file`; empty for a set piece or sound as a whole."""
    was: str | None
    now: str | None

    def __str__(self) -> str:
        kind = "sound" if self.piece is None else f"set piece {self.piece + 1}"
        where = f"{kind} {self.name}" if self.name else ""
        if not self.field:
            return f"{where} is {'new' if self.was is None else 'gone'}"
        where = f"{where}: {self.field}" if where else self.field
        if self.field == "place":
            return f"{where[: -len(': place')]} was number {self.was}"
        if self.was is None:
            return f"{where} is now {self.now}"
        if self.now is None:
            return f"{where} was {self.was}, now nothing"
        return f"{where} was {self.was}, now {self.now}"


def edits(then: Routine, now: Routine) -> tuple[Edit, ...]:
    """All that changed from one version to another, in the order of the new map."""
    names = new_names(then, now)
    named = (
        Edit(piece=None, name=new, field="name", was=old, now=new) for old, new in names.items()
    )
    then = called(then, names)
    return (*named, *_outside(then, now), *_pieces(then, now))


def new_names(then: Routine, now: Routine) -> dict[str, str]:
    """The sounds that only got another name: old name to new."""
    gone = {name: sound for name, sound in then.sounds.items() if name not in now.sounds}
    names: dict[str, str] = {}
    for new, sound in now.sounds.items():
        old = next((o for o, was in gone.items() if was == sound and o not in names), None)
        if new not in then.sounds and old is not None:
            names[old] = new
    return names


def called(routine: Routine, names: Mapping[str, str]) -> Routine:
    """The same routine with some of its sounds under other names."""

    def plan(one: Plan) -> Plan:
        new = None if isinstance(one, Rests) else names.get(one.sound or "")
        return one if new is None else one.model_copy(update={"sound": new})

    pieces = (p.model_copy(update={s: plan(p.plan(s)) for s in SIDES}) for p in routine.pieces)
    sounds = {names.get(name, name): sound for name, sound in routine.sounds.items()}
    return routine.model_copy(update={"pieces": tuple(pieces), "sounds": sounds})


def _outside(then: Routine, now: Routine) -> Iterator[Edit]:
    for name in dict.fromkeys((*now.sounds, *then.sounds)):
        if (name in now.sounds) is not (name in then.sounds):
            was, is_now = (name if name in one.sounds else None for one in (then, now))
            yield Edit(piece=None, name=name, field="", was=was, now=is_now)
    both = set(then.sounds) & set(now.sounds)
    for field, was, now_is in _differing(_flat(then, both), _flat(now, both)):
        yield Edit(piece=None, name="", field=field, was=was, now=now_is)


def _pieces(then: Routine, now: Routine) -> Iterator[Edit]:
    same = matched(then, now)
    stayed = _in_order([same[index] for index in sorted(same)])
    for index, piece in enumerate(now.pieces):
        old = same.get(index)
        if old is None:
            yield Edit(piece=index, name=piece.name, field="", was=None, now=piece.name)
            continue
        if old not in stayed:
            place = Edit(
                piece=index, name=piece.name, field="place", was=str(old + 1), now=str(index + 1)
            )
            yield place
        before, after = (
            one.model_dump(mode="json", by_alias=True) for one in (then.pieces[old], piece)
        )
        for field, was, now_is in _differing(before, after):
            yield Edit(piece=index, name=piece.name, field=field, was=was, now=now_is)
    for old, piece in enumerate(then.pieces):
        if old not in same.values():
            yield Edit(piece=old, name=piece.name, field="", was=piece.name, now=None)


def matched(then: Routine, now: Routine) -> dict[int, int]:
    """Each set piece of the new version that was in the old one: by name, else by what is played.

    A renamed set piece is known by what the hands do in it, nearest place first.
    """
    same: dict[int, int] = {}
    names = {piece.name: index for index, piece in reversed(list(enumerate(then.pieces)))}
    for index, piece in enumerate(now.pieces):
        if piece.name in names and names[piece.name] not in same.values():
            same[index] = names[piece.name]
    free = [old for old in range(len(then.pieces)) if old not in same.values()]
    for index in range(len(now.pieces)):
        if index in same:
            continue
        played = piece_digest(now, index)
        alike = [old for old in free if piece_digest(then, old) == played]
        if alike:
            same[index] = min(alike, key=lambda old: abs(old - index))
            free.remove(same[index])
    return same


def _in_order(places: list[int]) -> set[int]:
    """The old places that kept their order; the others were moved."""
    blocks = difflib.SequenceMatcher(None, sorted(places), places, autojunk=False)
    return {
        places[block.b + step]
        for block in blocks.get_matching_blocks()
        for step in range(block.size)
    }


def _flat(routine: Routine, sounds: Collection[str]) -> dict[str, Any]:
    """All that stands outside the set pieces; of the sounds those of these names."""
    tree = routine.model_dump(mode="json", by_alias=True)
    tree["sounds"] = {name: told for name, told in tree["sounds"].items() if name in sounds}
    tree.pop("pieces")
    tree.pop("rendered", None)
    return tree


def _differing(
    then: Mapping[str, Any], now: Mapping[str, Any]
) -> Iterator[tuple[str, str | None, str | None]]:
    """Each field that says something else now, with what it said and what it says."""
    before, after = _fields(then), _fields(now)
    for field in dict.fromkeys((*after, *before)):
        if before.get(field) != after.get(field):
            yield field, before.get(field), after.get(field)


def _fields(tree: Mapping[str, Any], above: str = "") -> dict[str, str]:
    """Every field that says something, as text, by its path."""
    found: dict[str, str] = {}
    for name, value in tree.items():
        path = f"{above}.{name}" if above else name
        if isinstance(value, dict):
            found |= _fields(value, path)
        elif value is not None and value != [] and value != "":
            found[path] = _text(value)
    return found


def _text(value: Any) -> str:
    text = {True: "yes", False: "no"}[value] if isinstance(value, bool) else _plain(value)
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, list):
        return ", ".join(map(_plain, value))
    return str(value)
