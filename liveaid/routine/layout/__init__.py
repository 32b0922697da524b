"""Where everything lies on the two deck files, worked out from facts of the sounds, without audio.

`check` and `arrange` lay a routine out by this in milliseconds; `render` makes the audio it says.

evened.py     a sound whose tempo moves, told as if it did not
material.py   what must be known of each sound: length, grid, first onset
uses.py       what each set piece wants of which sound
part_use.py   the parts that one hand's acts go between
passage.py    uses that share one stretch of a deck; what runs on into what
winding.py    the order along the deck that winds least
deck.py       the frames of everything on one deck
lay.py        both decks of a routine
placed.py     where each set piece stands, and the section map that says so
"""
