"""routine: the section map, how it is read and written, and whether two hands can play it.

May import: errors, files, record, numpy, pydantic, pydantic_core, yaml.
No clock, socket, thread. Files only in load, save, scene, consent, config_file, figure_book.
Used by every other room.
"""

from liveaid.routine.load import load_routine
from liveaid.routine.model import (
    SIDES,
    Decks,
    Idea,
    Piece,
    Plan,
    Rests,
    Routine,
    Runs,
    Side,
    Sound,
    Works,
    other_side,
)
from liveaid.routine.problems import Problem, RoutineError
from liveaid.routine.save import save_routine

__all__ = [
    "SIDES",
    "Decks",
    "Idea",
    "Piece",
    "Plan",
    "Problem",
    "Rests",
    "Routine",
    "RoutineError",
    "Runs",
    "Side",
    "Sound",
    "Works",
    "load_routine",
    "other_side",
    "save_routine",
]
