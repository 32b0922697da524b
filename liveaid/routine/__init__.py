"""routine: the section map, how it is read and written, and whether two hands can play it.

May import: errors, files, record, numpy, pydantic, pydantic_core, yaml.
No clock, socket, thread. Files only in load, save, scene, source, opened, figure_book.
Used by every other room.

act_line     one line of `acts
act_moves    the lines of one deck in one set piece as moves in order of beat
acts         acts: what a hand does with a record on each beat, and when the fader is open
arc          the energy arc
arrange      the order and deck choice that cost two hands and the ears least
carry        an edited map on the deck files there are
check        can two hands play this routine, and does it work as a piece?
coming       the acts to come, in words and as lines to draw
config_file  a small settings file, read like a map: all that is wrong in it at once
digest       A section map, and what is played in one of its set pieces, as a short word
draft_text   A drafted map as a performer would write it
edits        what two versions of a section map differ in, by set pieces and fields
fader_edges  when the fader has to be moved for one deck's acts
harmony      how two sounds stand to each other in key and in tempo, told alike by check
keys         keys as the trade writes them: read, shift, and say how two stand to each other
layout       where everything lies on the two deck files, worked out from facts of the sounds
left         where a set piece leaves a record
near_words   the word that was meant
model        the section map as frozen records
movement     where a record is and how fast it moves while acts are played exactly as written
notes        notes played on one steady tone: by the pitch fader, or each laid out on the record
opened       A scene opened
part_faults  parts held against the sound files they were found in
parts        parts of sounds as a set piece's hand finds them
plain_data   what a report holds as plain data
problems     what is wrong in a section map: one small record a finding, apart from its printing
rewrite      A section map's text with its set pieces in another order
shared_out   things shared out to as many wishes as can have one of their own
source       the YAML text of a section map as a tree of plain strings
timeline     when each set piece and beat falls, at pitch 0
way          the way of each record through the routine
wording      how a mistake in a settings file or section map is put
written_numbers  numbers as a performer writes them, read and written back
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
