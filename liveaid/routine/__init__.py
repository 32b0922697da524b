"""routine: the section map, how it is read and written, and whether two hands can play it.

May import: errors, files, record, numpy, pydantic, pydantic_core, yaml.
No clock, socket, thread. Files only in load, save, scene, source, opened, figure_book.
Used by every other room.

The map and its text:
model            the section map as frozen records, each value judged as it is built
source           a file's YAML as plain strings, with the line of every field
broken_yaml      why a file can't be read as YAML, in words for whoever wrote it
load             a map read from its file: the routine, or all that is wrong in it
save             a map written so that it is read back the same
rewrite          a map's text with its set pieces in another order, every other byte as it was
draft_text       the text of a drafted map, commented, a line a hand
config_file      a small settings file, read as a map is
problems         one thing wrong in a file: line, field, what was found, what would do
wording          how a refused value is put into words
near_words       the word that was meant where a wrong one stands
written_numbers  numbers as a performer writes them: 2, 1.5, 1 1/2
plain_data       a record's fields for JSON, rounded

The scene and its versions:
scene            where a scene's files are, and what it may reach
opened           the written map beside the placed one, and whether they still say the same
edits            what two versions of a map differ in
carry            an edited map placed on the deck files that are there already
digest           a short word for a map, and for what is played in a set piece

What the hands do:
act_line         one line of `acts:` or `juggle:` read into a record
figure_book      the figures of the trade and the performer's own
act_moves        lines and figures of one deck worked out in time
parts            named parts of sounds, and where they lie on the record
part_faults      parts that do not fit the sound file they were found in
notes            notes played on one steady tone
acts             every act with its place on the record and its fader
movement         where a record is at any beat while acts are played as written
fader_edges      when the fader has to be opened and shut
coming           the acts to come, in words and as lines to draw

When, how and whether:
once             what is worked out of a routine once and asked by many
timeline         when each set piece begins, when a deck falls silent and sounds again
left             where a set piece leaves a record, and whether it runs on to its next cue
way              how each record gets from cue to cue, and how much time there is
hands            where both hands have to be, and what that takes of every beat
keys             keys: read, moved, compared
harmony          how two sounds stand to each other in key and tempo
arc              the energy wanted at each time of the routine
shared_out       things shared out to as many wishes as can have one of their own
layout           where everything lies on the two deck files
check            can two hands play it, and does it work as a piece
arrange          the order and decks that cost the hands least
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
