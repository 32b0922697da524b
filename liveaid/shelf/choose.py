"""The one sound that is meant by a path, a name, or a part of a name."""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from liveaid.errors import UsageError
from liveaid.files.names import shown
from liveaid.shelf.columns import fold
from liveaid.shelf.shelf_sound import Lying, ShelfSound

_CHOOSE_LISTED = 6
"""Candidates named before the rest are only counted."""
Lies = TypeVar("Lies", bound=Lying | ShelfSound)


def choose(sounds: Sequence[Lies], meant: str) -> Lies:
    """The sound a performer means: its path, else its name, else the only one with that part.

    UsageError that lists the candidates, or the nearest names, when it is not one.
    """
    for found in _readings(sounds, meant):
        if len(found) == 1:
            return found[0]
        if found:
            raise UsageError(f"{shown(meant)}: which of these? {_list(found)}")
    names = [sound.name for sound in sounds]
    near = difflib.get_close_matches(meant, names, n=3, cutoff=0.5)
    guess = (
        f"did you mean {' or '.join(near)}?" if near else "`liveaid gather FOLDER` puts it there"
    )
    raise UsageError(f"{shown(meant)}: no such sound on the shelf; {guess}")


def lying_there(sound: ShelfSound) -> ShelfSound:
    """The sound with a place where a file is now put first, if there is one.

    A copy may have been deleted since the shelf last looked.
    """
    places = (sound.path, *sound.copies)
    there = sorted(places, key=lambda place: not os.path.isfile(place))
    return replace(sound, path=there[0], copies=tuple(there[1:]))


def _readings(sounds: Sequence[Lies], meant: str) -> Iterable[list[Lies]]:
    """What the text can mean, the strictest reading first."""
    path = os.path.abspath(meant)
    yield [sound for sound in sounds if path in (sound.path, *sound.copies)]
    file: list[tuple[Lies, str]] = [(sound, fold(shown(_file_or_part(sound)))) for sound in sounds]
    wanted = fold(shown(meant))
    yield [sound for sound, name in file if wanted in (name, os.path.splitext(name)[0])]
    yield [sound for sound, name in file if wanted in name]


def _file_or_part(sound: Lying | ShelfSound) -> str:
    part = isinstance(sound, ShelfSound) and sound.part is not None
    return sound.name if part else os.path.basename(sound.path)


def _list(found: Sequence[Lies]) -> str:
    listed = ", ".join(shown(sound.path) for sound in found[:_CHOOSE_LISTED])
    more = len(found) - _CHOOSE_LISTED
    return f"{listed} and {more} more" if more > 0 else listed
