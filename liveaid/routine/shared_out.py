"""Things shared out to as many wishes as can have one of their own."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import TypeVar

Thing = TypeVar("Thing", bound=Hashable)


def shared_out(wishes: Sequence[Sequence[Thing]]) -> list[Thing | None]:
    """For each wish a thing that would do and that no other is given; None for those left out.

    `wishes`: what would do for each, the best first. Augmenting paths (Kuhn 1955).
    """
    holder: dict[Thing, int] = {}

    def give(wish: int, tried: set[Thing]) -> bool:
        for thing in wishes[wish]:
            if thing in tried:
                continue
            tried.add(thing)
            if thing not in holder or give(holder[thing], tried):
                holder[thing] = wish
                return True
        return False

    for wish in range(len(wishes)):
        give(wish, set())
    given = {wish: thing for thing, wish in holder.items()}
    return [given.get(wish) for wish in range(len(wishes))]
