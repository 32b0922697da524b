"""Where everything lies on the two deck files, worked out from facts of the sounds, without audio.

`check` and `arrange` lay a routine out by this in milliseconds; `render` makes the audio it says.
From the map to the decks, in this order:

material   what must be known of each sound: length, grid, first onset
evened     a sound whose tempo moves, told as if it did not
part_use   the named parts that one hand's acts go between
uses       what each set piece wants of which sound
passage    uses that share one stretch of a deck; what runs on into what
winding    the order along the deck that winds least
angles     where each cue's sticker comes up, so that a juggle's two are alike
deck       the frames of everything on one deck
lay        both decks of a routine
placed     where each set piece stands, and the section map that says so
"""
