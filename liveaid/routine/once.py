"""What is worked out of a routine once, for as long as it lives: its fields never change."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar

from liveaid.routine.model import Routine

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")


def once(
    work: Callable[Concatenate[Routine, Asked], Answer],
) -> Callable[Concatenate[Routine, Asked], Answer]:
    """The same function, its answers kept beside each routine: many rooms ask the same.

    A map that is edited while it is performed is a new routine each time; the old one is not kept.
    """
    known: dict[int, dict[object, Answer]] = {}

    @wraps(work)
    def answer(routine: Routine, /, *args: Asked.args, **named: Asked.kwargs) -> Answer:
        answers = known.get(id(routine))
        if answers is None:
            answers = known[id(routine)] = {}
            # Called as the routine goes, before its identity can be another's.
            weakref.finalize(routine, known.pop, id(routine), None).atexit = False
        asked = (args, tuple(named.items()))
        if asked not in answers:
            answers[asked] = work(routine, *args, **named)
        return answers[asked]

    return answer
