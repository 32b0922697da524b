"""follow: where in the routine the performer is, from both decks' positions.

May import: record, routine. No clock, file, socket, thread.
Used by stage, practice, simulate.
Method: a few counted guesses (multiple hypothesis tracking, Reid 1979), scored by gestures.

follower    hears, believes, tells: the room's front door
plan        the routine in plain numbers: what each deck does in every set piece
deck_line   one deck's line of motion, from its messages alone
gesture     what a hand does with it: held, runs, by hand
likeness    how well a gesture fits a place, in nats
guess       one guess: how it counts on and scores
senders     whether what is sent can be meant as it is read
exchanged   whether both decks fit better with left and right exchanged
search      where else the performer may be, and what leaving the order costs
belief      all guesses, the one told, and how sure it is
numbers     every free number, with what it was estimated from
habits      what takes say of one performer
hearing     both decks together: who is heard, silence, the tempo
mixer       what the faders say
elapsed     the stage clock
state       waiting, before, following, unsure, silent, over
next_cue    a deck's next cue and the way there
tell        from a place to a prompt
prompt      the prompt as records and JSON
"""

from liveaid.follow.follower import Follower
from liveaid.follow.habits import Habits
from liveaid.follow.hearing import Sends
from liveaid.follow.prompt import Prompt

__all__ = ["Follower", "Habits", "Prompt", "Sends"]
